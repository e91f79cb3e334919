"""What an instructor agrees with one student, on the page of that student."""

import csv
import io
import re
from datetime import timedelta

from server.marking.verdict import Status
from server.store.audit_chain import AuditEvent
from server.store.corrections import excuse
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.people import User
from server.store.roster import enrol
from server.store.student_changes import set_owes_from
from tests.factories import NOON, make_assignment, make_marked, make_user
from tests.web.lab import ClientFor, Lab

NOTE = "letter of the accessibility office"
FORM = {"begins": "2026-08-24", "ends": "2026-12-18", "days": "3", "attempts": "1", "note": NOTE}


def test_an_accommodation_is_for_instructors_and_its_student(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        grader = make_user(session)
        enrol(session, lab.assignment.section, grader, SectionRole.GRADER)
    teacher = client_for(lab.instructor)
    address = f"/sections/{lab.assignment.section_id}/students/{lab.student.id}"
    refused = teacher.post(f"{address}/accommodations", data=FORM | {"days": "0", "attempts": "0"})
    assert refused.status_code == 422
    assert "gives nothing" in refused.text
    assert NOTE in refused.text
    assert teacher.post(f"{address}/accommodations", data=FORM).status_code == 303
    assert NOTE in teacher.get(address).text
    # Due on Monday 12 October for the class.
    own = client_for(lab.student)
    assert "Thu 15 Oct 2026" in own.get(f"/assignments/{lab.assignment.id}").text
    assert own.get("/my-data.json").json()["accommodations"][0]["note"] == NOTE
    theirs = client_for(grader).get(address).text
    assert (NOTE in theirs, "Accommodations" in theirs) == (False, False)
    # The log, which graders read, says that something was changed, and no more.
    with database.read() as session:
        details = [
            each.detail for each in session.query(AuditEvent) if "accommod" in each.action.value
        ]
    assert details == [""]
    which = re.search(r'name="which" value="(\d+)"', teacher.get(address).text)
    assert which is not None
    teacher.post(f"{address}/accommodations/remove", data={"which": which[1]})
    assert "No accommodations yet" in teacher.get(address).text


def test_a_withdrawn_student_reads_their_work_and_hands_in_no_more(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        submission = make_marked(session, lab.assignment, lab.student, R1=Status.MET)
    teacher, own = client_for(lab.instructor), client_for(lab.student)
    section = f"/sections/{lab.assignment.section_id}"
    address = f"{section}/students/{lab.student.id}"
    teacher.post(f"{address}/enrollment", data={"state": "withdrawn"})
    assert own.get(f"/assignments/{lab.assignment.id}").status_code == 404
    assert own.get(f"/submissions/{submission.id}").status_code == 200
    assert own.get(f"{section}/standing").status_code == 200
    assert "You have withdrawn" in own.get("/").text
    assert f'href="{address}"' in teacher.get(f"{section}/gradebook").text.split("Withdrawn")[1]
    teacher.post(f"{address}/enrollment", data={"state": "enrolled"})
    assert own.get(f"/assignments/{lab.assignment.id}").status_code == 200


def test_an_incomplete_needs_a_date_to_come(lab: Lab, client_for: ClientFor) -> None:
    teacher = client_for(lab.instructor)
    section = f"/sections/{lab.assignment.section_id}"
    address = f"{section}/students/{lab.student.id}"
    form = {"state": "incomplete", "until": "2026-10-01T12:00"}
    assert teacher.post(f"{address}/enrollment", data=form).status_code == 422
    form["until"] = f"{NOON + timedelta(days=100):%Y-%m-%dT%H:%M}"
    assert teacher.post(f"{address}/enrollment", data=form).status_code == 303
    assert "incomplete</span>" in teacher.get(f"{section}/gradebook").text
    assert "Incomplete: everything" in client_for(lab.student).get(f"{section}/standing").text


def test_points_beyond_the_maximum_need_a_section_that_permits_them(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        make_marked(session, lab.assignment, lab.student, R1=Status.MET, R2=Status.MET)
    teacher = client_for(lab.instructor)
    points = f"/assignments/{lab.assignment.id}/students/{lab.student.id}/points"
    form = {"points": "3", "reason": "built the second tank, too"}
    assert teacher.post(points, data=form).status_code == 422
    section = f"/sections/{lab.assignment.section_id}"
    teacher.post(f"{section}/rules", data={"extra_credit": "true"})
    assert teacher.post(points, data=form).status_code == 303
    assert "150\u202f%" in client_for(lab.student).get(f"{section}/standing").text


def test_the_sections_file_says_how_each_exercise_stands_and_moves_no_column(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    day = timedelta(days=1)
    with database.write() as session:
        section = lab.assignment.section
        titles = ("Late", "Missing", "Excused", "Not due", "Not owed")
        late, _, excused, _, _ = (
            make_assignment(
                session,
                section,
                title=title,
                opens_at=NOON - (20 if title == "Not owed" else 9) * day,
                due_at=NOON + (3 if title == "Not due" else -2) * day,
            )
            for title in titles
        )
        make_marked(session, late, lab.student, 1, NOON - day, R1=Status.MET)
        make_marked(session, lab.assignment, lab.classmate, R1=Status.MET, R2=Status.MET)
        for user in (lab.student, lab.classmate):
            set_owes_from(
                session, section.id, user.id, NOON - 10 * day, by_id=lab.instructor.id, now=NOON
            )
        excuse(session, excused, lab.student.id, "ill", by_id=lab.instructor.id, now=NOON)
        session.get_one(User, lab.student.id).student_number = "L7"
    client = client_for(lab.instructor)
    answer = client.get(f"/sections/{lab.assignment.section_id}/gradebook.csv")
    rows = {row["Email"]: row for row in csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff")))}
    row = rows[lab.student.email]
    assert list(row)[:5] == ["Student", "Email", "Student number", "Enrollment", "Share so far"]
    # The exercise that was set first stands first, though it is due last.
    assert list(row)[5:8] == [f"Apple wash sump{word}" for word in ("", ": out of", ": state")]
    assert (row["Student number"], row["Apple wash sump: out of"]) == ("L7", "2.0")
    states = [row[f"{title}: state"] for title in ("Apple wash sump", *titles)]
    assert states == ["not due", "late", "missing", "excused", "not due", "not owed"]
    assert (row["Late"], row["Late: out of"], row["Missing"]) == ("1.0", "1.0", "")
    assert rows[lab.classmate.email]["Apple wash sump: state"] == "handed in"
