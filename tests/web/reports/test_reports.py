"""The department's report: terms beside each other, small classes, and who sees names."""

import re
from datetime import date

from sqlalchemy import select

from server.marking.verdict import Status
from server.store.audit_chain import Action, AuditEvent
from server.store.courses import Assignment, Section, SectionRole, Term, students_of
from server.store.database import Database
from server.store.people import Role, User
from server.store.signatures import ReportSignature
from tests.factories import make_assignment, make_marked, make_section, make_user
from tests.web.lab import ClientFor

MET, NOT_MET = Status.MET, Status.NOT_MET


def course_over(database: Database, reached: list[tuple[int, int]]) -> tuple[User, int, list[int]]:
    """A course with a term for each (met, students): its department, its id and its terms."""
    with database.write() as session:
        head = make_user(session, Role.DEPARTMENT)
        first = make_section(session)
        terms = []
        for number, (met, students) in enumerate(reached):
            term = Term(
                name=f"Year {number}", begins=date(2020 + number, 1, 1), ends=date(2020, 12, 31)
            )
            people = [make_user(session, name=f"Secret Name {n}") for n in range(students)]
            section = make_section(session, *((each, SectionRole.STUDENT) for each in people))
            section.course, section.term = first.course, term
            session.flush()
            terms.append(term.id)
            assignment = make_assignment(session, section, exercise="wash-sump")
            for place, student in enumerate(people):
                status = MET if place < met else NOT_MET
                submission = make_marked(session, assignment, student, R1=status, R2a=MET)
                submission.program = {"version": 1, "name": "p"}
        session.delete(first)
        return head, section.course_id, terms


def test_up_to_six_terms_stand_beside_each_other(client_for: ClientFor, database: Database) -> None:
    reached = [(0, 4), (4, 4), (1, 4), (2, 4), (3, 4), (4, 4), (1, 4)]
    head, course, terms = course_over(database, reached)
    client = client_for(head)
    newest = client.get(f"/reports/{course}?leaf=trend").text
    shown = re.findall(r'class="number">(Year \d)<', newest)
    assert shown == ["Year 1", "Year 2", "Year 3", "Year 4", "Year 5", "Year 6"]
    # Six points and five ways between them for each outcome.
    assert newest.count('<circle class="point"') == 6 * newest.count('class="course-of"') > 0
    row = next(row for row in newest.split("<tr>") if "course-of" in row and "50\u202f%" in row)
    shares = re.findall(r">(\d+)\u202f%</a>", row)
    assert shares == ["100", "25", "50", "75", "100", "25"]
    assert '<td class="number">\N{MINUS SIGN}75</td>' in row
    earlier = client.get(f"/reports/{course}?term={terms[1]}&leaf=trend").text
    assert re.findall(r'class="number">(Year \d)<', earlier) == ["Year 0", "Year 1"]
    assert '<td class="number">+100</td>' in earlier
    first = client.get(f"/reports/{course}?term={terms[0]}&leaf=trend").text
    assert "Year 0 is the first term of this course" in first
    # A term that has just begun has nothing to show: the report opens on the one before.
    with database.write() as session:
        begun = make_section(session)
        begun.course_id = course
    assert client.get(f"/reports/{course}?leaf=trend").text.count(begun.term.name) == 1
    assert "Year 6 against Year 5" in client.get(f"/reports/{course}?leaf=trend").text


def test_each_figure_of_a_small_class_is_marked(client_for: ClientFor, database: Database) -> None:
    head, course, terms = course_over(database, [(10, 29), (10, 30)])
    client = client_for(head)
    marked = re.compile(r"of (\d+)<span class=\"few\">†</span>")
    assert set(marked.findall(client.get(f"/reports/{course}/binder?term={terms[0]}").text)) == {
        "29"
    }
    # The thirty of this term are not marked, the twenty-nine beside them are.
    now = client.get(f"/reports/{course}/binder?term={terms[1]}").text
    assert set(marked.findall(now)) == {"29"}
    assert "of 30</span>" in now


def test_each_leaf_has_its_part_of_the_report(client_for: ClientFor, database: Database) -> None:
    head, course, _ = course_over(database, [(1, 4), (2, 4)])
    client = client_for(head)
    leaves = {
        "outcomes": ("Outcomes", "Outcomes reached"),
        "trend": ("From term to term", "From term to term"),
        "exercises": ("Attempts to pass", "Attempts to pass"),
        "requirements": ("Requirements", "Requirements as items"),
        "mistakes": ("Mistakes", "Commonest mistakes"),
    }
    for leaf, (name, heading) in leaves.items():
        page = client.get(f"/reports/{course}?leaf={leaf}").text
        assert re.findall(r"<h2><span class=\"no\">\d</span>([^<]+)</h2>", page) == [heading]
        assert re.findall(r"aria-current=\"page\">([^<]+)</a></li>", page) == [name]
    assert client.get(f"/reports/{course}").text.count("Outcomes reached") == 1
    assert client.get(f"/reports/{course}?leaf=cover").status_code == 422


def test_a_signature_tells_whether_its_figures_have_changed(
    client_for: ClientFor, database: Database
) -> None:
    head, course, (_, term) = course_over(database, [(1, 4), (2, 4)])
    client = client_for(head)
    form = {"term": term, "capacity": "Course lead", "remarks": "Read & discussed."}
    assert client.post(f"/reports/{course}/signatures", data=form).status_code == 303
    binder = f"/reports/{course}/binder"
    page = client.get(f"{binder}?term={term}").text
    assert f"<strong>{head.name}</strong>, Course lead" in page
    assert "the figures are still those that were signed" in page
    assert "Read &amp; discussed." in page
    assert not re.search("Secret Name", page)
    with database.write() as session:
        assignment = session.scalars(
            select(Assignment).join(Section).where(Section.term_id == term)
        ).one()
        for student in students_of(session, assignment.section_id):
            make_marked(session, assignment, student, 2, R1=MET, R2a=MET).program = {
                "version": 1,
                "name": "p",
            }
    assert "figures have changed since" in client.get(f"{binder}?term={term}").text
    # A term without figures is not signed.
    assert client.post(f"/reports/{course}/signatures", data={"term": 999}).status_code == 303
    with database.read() as session:
        assert len(session.scalars(select(ReportSignature)).all()) == 1


def test_without_names_a_student_has_one_number(client_for: ClientFor, database: Database) -> None:
    head, course, _ = course_over(database, [(1, 2)])
    with database.write() as session:
        section = session.scalars(select(Section).where(Section.course_id == course)).one()
        two = session.scalars(select(Assignment)).one().section_id
        assert section.id == two
        other = make_assignment(session, section, exercise="case-lift")
        students = session.scalars(select(User).where(User.role == Role.STUDENT)).all()
        for student in reversed(students):
            make_marked(session, other, student, R1=MET)
    page = client_for(head).get(f"/reports/{course}/work").text
    assert "Secret Name" not in page
    assert re.findall(r"student \d", page) == ["student 1", "student 2"] * 2


def test_a_look_at_names_is_written_down(client_for: ClientFor, database: Database) -> None:
    head, course, _ = course_over(database, [(1, 2), (1, 2)])
    client = client_for(head)
    client.get(f"/reports/{course}/work")
    with database.write() as session:
        assert session.scalars(select(AuditEvent)).all() == []
        session.get_one(User, head.id).sees_names = True
    assert "Secret Name" in client.get(f"/reports/{course}/work").text
    with database.read() as session:
        sections = set(session.scalars(select(Section.id)))
        events = session.scalars(select(AuditEvent)).all()
    assert {(each.actor, each.section_id) for each in events} == {
        (head.log_id, s) for s in sections
    }
    assert {each.action for each in events} == {Action.SAW_GRADEBOOK}


def test_a_course_without_work_says_what_will_be_here(
    client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        head = make_user(session, Role.DEPARTMENT)
        section = make_section(session)
    client = client_for(head)
    page = client.get(f"/reports/{section.course_id}").text
    assert "will be shown here once" in page
    for kind in ("csv", "xlsx"):
        assert client.get(f"/reports/{section.course_id}/report.{kind}").status_code == 200
    assert "No submissions" in client.get(f"/reports/{section.course_id}/work").text
