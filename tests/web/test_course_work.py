"""The pages of course work, from roster to report, as the people who use them would."""

import csv
import io
import re
from datetime import timedelta

from sqlalchemy import select

from server.marking.verdict import Status
from server.store.audit_chain import Action, AuditEvent
from server.store.courses import Assignment, Section, SectionRole, students_of
from server.store.database import Database
from server.store.people import Role, find_user
from tests.factories import NOON, make_assignment, make_marked, make_section, make_user
from tests.web.lab import ClientFor, Lab

ROSTER = "Email,Name\nnew@larkmoor.example,<b>New</b> Person\n"


def test_a_roster_is_shown_then_stored_and_its_link_sets_a_password_once(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    client = client_for(lab.instructor)
    address = f"/sections/{lab.assignment.section_id}/roster"
    preview = client.post(f"{address}/preview", data={"text": ROSTER})
    assert "New accounts: 1" in preview.text
    assert "<b>New</b>" not in preview.text
    with database.read() as session:
        assert find_user(session, "new@larkmoor.example") is None
    assert client.post(address, data={"text": ROSTER}).status_code == 303
    links = client.post(f"{address}/links").content.decode("utf-8-sig")
    (row,) = list(csv.reader(io.StringIO(links)))[1:]
    link = row[2].removeprefix("http://testserver")
    nobody = client_for(None)
    assert "Set the password" in nobody.get(link).text
    secret = link.split("=", 1)[1]
    short = nobody.post("/password", data={"link": secret, "password": "short"})
    assert short.status_code == 422
    form = {"link": secret, "password": "quince-press-9"}
    assert nobody.post("/password", data=form).status_code == 303
    assert nobody.post("/password", data=form).status_code == 422
    signed = nobody.post(
        "/sign-in", data={"email": "new@larkmoor.example", "password": "quince-press-9"}
    )
    assert signed.status_code == 303


def test_a_faulty_roster_changes_nothing_and_stays_typed(lab: Lab, client_for: ClientFor) -> None:
    client = client_for(lab.instructor)
    address = f"/sections/{lab.assignment.section_id}/roster/preview"
    answer = client.post(address, data={"text": "Email,Name\nnobody,X"})
    assert answer.status_code == 422
    assert "Line 2: nobody is not an email address." in answer.text
    assert "nobody,X" in answer.text


def test_joining_by_code(lab: Lab, client_for: ClientFor, database: Database) -> None:
    section_id = lab.assignment.section_id
    client_for(lab.instructor).post(f"/sections/{section_id}/roster/code")
    with database.read() as session:
        code = session.get_one(Assignment, lab.assignment.id).section.join_code
    form = {"name": "Ada B", "email": "ada@larkmoor.example", "password": "quince-press-9"}
    nobody = client_for(None)
    assert nobody.post("/join", data={**form, "code": "WRONG"}).status_code == 422
    assert nobody.post("/join", data={**form, "code": code}).status_code == 303
    # An account that exists can't be taken over with a code.
    taken = nobody.post("/join", data={**form, "code": code, "password": "another-one-1"})
    assert taken.status_code == 422
    with database.read() as session:
        assert "Ada B" in {user.name for user in students_of(session, section_id)}


def test_an_override_needs_a_reason_which_the_student_reads(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        make_marked(session, lab.assignment, lab.student, R1=Status.MET, R2=Status.NOT_MET)
    client = client_for(lab.instructor)
    address = f"/assignments/{lab.assignment.id}/students/{lab.student.id}"
    for points, reason in (("x", "why"), ("-1", "why"), ("3", "why"), ("nan", "why"), ("1", " ")):
        answer = client.post(f"{address}/points", data={"points": points, "reason": reason})
        assert answer.status_code == 422, (points, reason)
    done = client.post(f"{address}/points", data={"points": "1,5", "reason": "shown at the bench"})
    assert done.status_code == 303
    standing = client_for(lab.student).get(f"/sections/{lab.assignment.section_id}/standing").text
    assert "shown at the bench" in standing
    assert "1.5" in standing
    log = client.get(f"/sections/{lab.assignment.section_id}/log").text
    assert "1.5 points: shown at the bench" in log
    assert client.post(f"{address}/points/back").status_code == 303


def test_who_is_excused_owes_nothing_and_reads_why(database: Database, lab: Lab) -> None:
    """Beside full marks at one exercise, the other is past due: half of the share, then all."""
    with database.write() as session:
        section = session.get_one(Section, lab.assignment.section_id)
        yesterday = NOON - timedelta(days=1)
        past = make_assignment(
            session, section, opens_at=yesterday - timedelta(days=7), due_at=yesterday
        )
        make_marked(session, lab.assignment, lab.student, R1=Status.MET)
    teacher, student = lab.client_for(lab.instructor), lab.client_for(lab.student)
    address = f"/assignments/{past.id}/students/{lab.student.id}"
    book, own = (f"/sections/{past.section_id}/{page}" for page in ("gradebook.csv", "standing"))

    def row() -> str:
        lines = teacher.get(book).text.splitlines()
        return next(line for line in lines if lab.student.email in line)

    assert "0.5" in row()
    refused = teacher.post(f"{address}/excuse", data={"excuse": " "})
    assert (refused.status_code, "Say why" in refused.text) == (422, True)
    done = teacher.post(f"{address}/excuse", data={"excuse": "Jury duty that week"})
    assert done.status_code == 303
    page = teacher.get(address).text
    assert "Jury duty that week" in page
    assert "<dd>excused</dd>" in page
    assert ",excused" in row()
    assert ",enrolled,1.0," in row()
    assert "Excused: Jury duty that week" in student.get(own).text
    assert "excused" in student.get("/").text
    assert "missing" not in student.get("/").text
    assert teacher.post(f"{address}/excuse/back").status_code == 303
    assert "0.5" in row()


def test_looks_at_grades_are_written_down_but_not_the_students_own(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        submission = make_marked(session, lab.assignment, lab.student, R1=Status.MET)
    for _ in range(2):
        client_for(lab.instructor).get(f"/submissions/{submission.id}")
        client_for(lab.student).get(f"/submissions/{submission.id}")
    with database.read() as session:
        (event,) = session.scalars(select(AuditEvent))
        assert (event.actor, event.person) == (lab.instructor.log_id, lab.student.log_id)
        assert event.action is Action.SAW_SUBMISSION


def test_an_exercise_is_set_and_changed(client_for: ClientFor, database: Database) -> None:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
    client = client_for(teacher)
    address = f"/sections/{section.id}/assignments"
    form = {"exercise": "wash-sump", "opens": "2026-10-05T08:00", "due": "2026-10-12T23:59"}
    wrong = client.post(address, data={**form, "due": "2026-10-01T08:00"})
    assert wrong.status_code == 422
    assert "would be due before it opens" in wrong.text
    assert client.post(address, data={**form, "exercise": "none"}).status_code == 422
    assert client.post(address, data={**form, "late": "20", "attempts": "3"}).status_code == 303
    assert "set for this section already" in client.post(address, data=form).text
    with database.read() as session:
        (assignment,) = session.scalars(select(Assignment))
    assert (assignment.late_per_day, assignment.attempts) == (0.2, 3)
    page = client.get(f"/assignments/{assignment.id}/settings").text
    assert re.search(r'name="due" value="2026-10-12T23:59"', page)
    assert "In force now:</strong> from attempt 1 verdict and sentence; from attempt 2 " in page


def test_the_report_hides_names_unless_permitted_and_reaches_the_submission(
    client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        students = [make_user(session, name=f"Secret Name {n}") for n in range(4)]
        section = make_section(session, *((each, SectionRole.STUDENT) for each in students))
        assignment = make_assignment(session, section, exercise="wash-sump")
        program = {"version": 1, "name": "p"}
        for n, each in enumerate(students):
            met = Status.MET if n else Status.NOT_MET
            submission = make_marked(session, assignment, each, R1=met, R2a=Status.MET)
            submission.program = program
        head = make_user(session, Role.DEPARTMENT)
    client = client_for(head)
    report = client.get(f"/reports/{section.course_id}")
    assert report.status_code == 200
    assert "3 of 4" in report.text
    assert "small class" in report.text
    work = client.get(f"/reports/{section.course_id}/work?exercise=wash-sump&requirement=R1").text
    assert "Secret Name" not in work
    found = re.search(r'href="(/reports/\d+/submissions/\d+)"', work)
    assert found is not None
    assert "Secret Name" not in client.get(found[1]).text
    with database.write() as session:
        session.get_one(type(head), head.id).sees_names = True
    assert "Secret Name 0" in client.get(f"/reports/{section.course_id}/work").text


def test_the_lab_hour_says_who_is_stuck(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        for attempt in (1, 2):
            at = NOON - timedelta(minutes=10 - attempt)
            make_marked(
                session, lab.assignment, lab.student, attempt, at, R1=Status.MET, R2=Status.NOT_MET
            )
    page = client_for(lab.instructor).get(f"/sections/{lab.assignment.section_id}/lab").text
    assert "R2, 2 times" in page
    assert "nothing in this hour" in page


def test_a_comment_on_a_rung_reaches_the_student(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    desk = lab.desk(lab.student)
    desk.build(("// [R1]\nfill_pump := start_pb;",))
    submitted = desk.submit()
    desk.verdict(submitted)
    address = submitted.headers["HX-Redirect"]
    teacher = client_for(lab.instructor)
    form = {"rung": "1", "text": "What <i>stops</i> the pump?"}
    assert teacher.post(f"{address}/comments", data={**form, "rung": "2"}).status_code == 422
    assert teacher.post(f"{address}/comments", data=form).status_code == 303
    page = desk.client.get(address).text
    assert "On rung 1, " in page
    assert "What &lt;i&gt;stops&lt;/i&gt; the pump?" in page
    assert "Add comment" not in page


def test_the_home_page_leads_to_what_is_due_next(lab: Lab, database: Database) -> None:
    desk = lab.desk(lab.student)
    with database.write() as session:
        section = session.get_one(Section, lab.assignment.section_id)
        later = make_assignment(session, section, exercise="later-sump")
        later.title, later.late_per_day = "Later sump", 0.1
        later.due_at = NOON + timedelta(days=9, hours=2)
        closed = make_assignment(session, section, exercise="closed-sump")
        closed.title, closed.due_at = "Closed sump", NOON - timedelta(days=2)
        closed.opens_at = NOON - timedelta(days=9)
        closed.closes_at = NOON - timedelta(days=1)
    home = desk.client.get("/").text
    assert "9 days 2 hours left · late costs 10" in home
    assert home.index(lab.assignment.title) < home.index("Later sump") < home.index("Done: 1 ")
    assert home.index("Done: 1 exercise<") < home.index("Closed sump")
    assert "Continue" not in home
    desk.build(("lamp := sump_high;",))
    continues = f'<a class="button" href="{desk.address}#program">Continue'
    assert continues in desk.client.get("/").text


def test_no_button_submits_once_the_attempts_are_used(lab: Lab, database: Database) -> None:
    desk = lab.desk(lab.student)
    with database.write() as session:
        assignment = session.get_one(Assignment, lab.assignment.id)
        assignment.attempts = 1
        make_marked(session, assignment, lab.student, R1=Status.MET)
    page = desk.page()
    assert "Your one attempt is used." in page
    assert "Submit the program" not in page
