"""Programs of other sections and earlier terms beside those of the class."""

from html import unescape

import pytest

from server.ladder.json_form import to_json
from server.ladder.text_form import parse_program
from server.marking.verdict import Status
from server.store.courses import Enrolment, Section, SectionRole
from server.store.database import Database
from server.store.people import User
from tests.factories import make_assignment, make_marked, make_section, make_user
from tests.web.lab import ClientFor, Lab


def program(network: str) -> dict[str, object]:
    return to_json(
        parse_program(
            "PROGRAM p\nVAR\n a AT %IX0.0 : BOOL;\n b AT %IX0.1 : BOOL;\n c AT %QX0.0 : BOOL;\n"
            f"END_VAR\n\nc := {network};\nEND_PROGRAM\n"
        )
    )


ODD = program("a AND NOT b OR b AND NOT a")


@pytest.fixture
def earlier(lab: Lab, database: Database) -> tuple[Section, User]:
    """A section of another term, in which somebody handed in what a student here has."""
    with database.write() as session:
        author, other = make_user(session, name="Ines Earlier"), make_user(session)
        section = make_section(
            session,
            (author, SectionRole.STUDENT),
            (other, SectionRole.STUDENT),
            (lab.student, SectionRole.STUDENT),
        )
        before = make_assignment(session, section, exercise=lab.assignment.exercise)
        for assignment, user, document in (
            (lab.assignment, lab.student, ODD),
            (lab.assignment, lab.classmate, program("a")),
            (before, author, ODD),
            (before, other, program("b")),
            # Who takes the course again is not compared with themselves.
            (before, lab.student, program("a AND b")),
        ):
            make_marked(session, assignment, user, R1=Status.MET).program = document
    return section, author


@pytest.mark.parametrize("teaches_both", [False, True])
def test_a_copy_from_an_earlier_term_is_shown_without_a_name_to_who_did_not_teach_it(
    lab: Lab,
    earlier: tuple[Section, User],
    client_for: ClientFor,
    database: Database,
    teaches_both: bool,
) -> None:
    section, author = earlier
    if teaches_both:
        with database.write() as session:
            session.add(
                Enrolment(
                    section_id=section.id, user_id=lab.instructor.id, role=SectionRole.INSTRUCTOR
                )
            )
    page = unescape(
        client_for(lab.instructor).get(f"/assignments/{lab.assignment.id}/likeness").text
    )
    assert page.count('class="scroll rung-example"') == 2
    assert lab.student.listed_as in page
    assert f"{section.title}, {section.term.name}" in page
    assert (author.listed_as in page) is teaches_both
    assert ("its instructor can tell whose it is" in page) is not teaches_both
