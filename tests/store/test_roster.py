"""Rosters: what a CSV says, what it would change, and that it changes nothing else."""

import pytest

from server.marking.verdict import Status
from server.store import join_codes, person_export, privacy, roster, roster_file
from server.store.attempts import Submission
from server.store.audit import note
from server.store.audit_chain import Action, AuditEvent, check_chain
from server.store.audit_lines import events_of
from server.store.courses import SectionRole, students_of
from server.store.database import Database
from server.store.people import Role, User, find_user
from tests.factories import NOON, make_assignment, make_marked, make_section, make_user


def test_columns_are_found_by_name_and_people_are_read() -> None:
    text = (
        "\ufeffName;E-mail;Role\r\nElif Yıldırım; Elif@Larkmoor.example ;\r\n"
        "Bo Li;b@x.example;Grader\r\n"
    )
    lines, faults = roster_file.read_roster(text)
    assert faults == []
    assert [(line.email, line.name, line.listed_as, line.role) for line in lines] == [
        ("elif@larkmoor.example", "Elif Yıldırım", "Yıldırım, Elif", SectionRole.STUDENT),
        ("b@x.example", "Bo Li", "Li, Bo", SectionRole.GRADER),
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "The roster is empty. Begin with the line Email,Name."),
        ("Email,Name\n", "The roster names nobody. Write a line for each person."),
        ("Address,Student\na@b.example,A", "Line 1: The columns Email and Name are needed"),
        ("Email,Name\nnobody,A B", "Line 2: nobody is not an email address. Correct it."),
        ("Email,Name\na@b.example,", "Line 2: The name is missing"),
        ("Email,Name,Role\na@b.example,A,boss", "Line 2: boss is not a role here."),
        ("Email,Name\na@b.example,A\nA@b.example,B", "Line 3: a@b.example stands in line 2"),
        (f"Email,Name\na@b.example,{'x' * 400_000}", "Line 2: This can't be read as CSV: field"),
        (f'Email,Name\na@b.example,"{"x,y" * 50_000}', "Line 2: This can't be read as CSV: field"),
        ("Email,Name\n" + "a@b.example,A\n" * 1001, "The roster has more than 1000 lines."),
    ],
)
def test_a_fault_is_told_with_its_line(text: str, fault: str) -> None:
    assert str(roster_file.read_roster(text)[1][0]).startswith(fault)


def test_the_preview_is_what_then_happens(database: Database) -> None:
    with database.write() as session:
        stays, leaves = make_user(session, name="Ada Stays"), make_user(session, name="Ben Leaves")
        known, teacher = make_user(session, name="Known"), make_user(session, Role.INSTRUCTOR)
        section = make_section(
            session,
            (stays, SectionRole.STUDENT),
            (leaves, SectionRole.STUDENT),
            (teacher, SectionRole.INSTRUCTOR),
        )
        text = (
            f"Email,Name\n{stays.email},Ada New\n{known.email},Known\nnew@x.example,New Person\n"
            f"{teacher.email},Another Name\n"
        )
        lines, _ = roster_file.read_roster(text)
        changes = roster.compare(session, section, lines)
        assert [line.email for line in changes.new] == ["new@x.example"]
        assert [line.email for line in changes.added] == [known.email]
        assert [user.id for user, _ in changes.renamed] == [stays.id]
        assert [user.id for user in changes.missing] == [leaves.id]
        assert roster.enrol_all(session, section, lines, drop_missing=True) == changes
        names = {user.name for user in students_of(session, section.id)}
        assert names == {"Ada New", "Known", "New Person"}
        after = roster.compare(session, section, lines)
        assert after.none
        assert after.same == 4
        # A roster renames no colleague.
        assert session.get_one(User, teacher.id).name != "Another Name"
        assert find_user(session, "new@x.example").password_hash is None  # type: ignore[union-attr]


def test_a_join_code_opens_its_section_until_it_is_changed(database: Database) -> None:
    with database.write() as session:
        section = make_section(session)
        code = join_codes.new_join_code(session, section)
        assert join_codes.section_by_code(session, f" {code.lower()} ") is section
        join_codes.new_join_code(session, section)
        assert join_codes.section_by_code(session, code) is None
        section.join_code = None
        session.flush()
        assert join_codes.section_by_code(session, "") is None


def test_an_erased_person_leaves_nothing_but_the_line_in_the_log(database: Database) -> None:
    with database.write() as session:
        student, teacher = make_user(session), make_user(session, Role.INSTRUCTOR)
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        assignment = make_assignment(session, section)
        make_marked(session, assignment, student, R1=Status.MET)
        note(
            session,
            NOON,
            teacher.id,
            Action.SET_POINTS,
            section.id,
            person_id=student.id,
            detail="4 points: was ill",
        )
    with database.write() as session:
        data = person_export.export_person(session, student.id)
        assert data["person"]["email"] == student.email
        assert data["submissions"][0]["requirements"][0]["status"] == "met"
        assert data["log"][0]["detail"] == "4 points: was ill"
        assert "password_hash" not in str(data)
        privacy.erase_person(session, student.id, by_id=teacher.id, now=NOON)
    with database.read() as session:
        assert session.get(User, student.id) is None
        assert session.query(Submission).count() == 0
        lines = session.query(AuditEvent).order_by(AuditEvent.number).all()
        assert [(each.person, each.detail, each.actor) for each in lines] == [
            (student.log_id, "", teacher.log_id)
        ] * 2
        assert check_chain(session).faults == ()
        ((_, who, about, _),) = events_of(session, section.id)
        assert (who, about) == (teacher.listed_as, "erased")


def test_student_numbers_are_kept_and_changed_only_where_one_section_knows_them(
    database: Database,
) -> None:
    with database.write() as session:
        here, both = make_user(session), make_user(session)
        section = make_section(session, (here, SectionRole.STUDENT), (both, SectionRole.STUDENT))
        make_section(session, (both, SectionRole.STUDENT))

        def send(number: str) -> None:
            text = f"Email,Name,Student number\nnew@x.example,New,{number}\n" + "".join(
                f"{each.email},{each.name},{number}\n" for each in (here, both)
            )
            roster.enrol_all(session, section, roster_file.read_roster(text)[0], drop_missing=False)

        send("L1")
        new = find_user(session, "new@x.example")
        assert new is not None
        assert [each.student_number for each in (new, here, both)] == ["L1", "L1", "L1"]
        send("L2")
        assert [each.student_number for each in (new, here, both)] == ["L2", "L2", "L1"]
        send("")
        assert here.student_number == "L2"
