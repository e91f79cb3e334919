"""What My data is made of: who looked, what is stored, corrections asked for; on both databases."""

from datetime import timedelta

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.correction_requests import (
    answer_request,
    ask_for_correction,
    open_requests,
    requests_by,
)
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.disclosures import disclosures_of
from server.store.people import Role
from server.store.person_export import summarize_person
from server.store.retention import retention_days, set_retention
from tests.factories import NOON, make_assignment, make_section, make_submission, make_user


def test_looks_and_corrections_of_one_person(database: Database) -> None:
    with database.write() as session:
        student, classmate = make_user(session, name="Ines Aalto"), make_user(session)
        teacher = make_user(session, Role.INSTRUCTOR, "Tomas Berg")
        section = make_section(
            session,
            (student, SectionRole.STUDENT),
            (classmate, SectionRole.STUDENT),
            (teacher, SectionRole.INSTRUCTOR),
        )
        assignment = make_assignment(session, section)
        make_submission(session, assignment, student)
        note(session, NOON, teacher.id, Action.SAW_GRADEBOOK, section.id)
        note(session, NOON, teacher.id, Action.SAW_STUDENT, section.id, person_id=classmate.id)
        assert ask_for_correction(session, student.id, section.id, "It came on time.", NOON) == ""
        set_retention(session, 400)
    later = NOON + timedelta(hours=1)
    with database.write() as session:
        seen = [(line.action, who) for line, who, _, _ in disclosures_of(session, student.id)]
        assert seen == [(Action.SAW_GRADEBOOK, "Tomas Berg")]
        assert len(disclosures_of(session, classmate.id)) == 2
        assert disclosures_of(session, classmate.id, limit=1)[0][0].action is Action.SAW_STUDENT
        assert summarize_person(session, student.id)["Submissions"] == 1
        assert retention_days(session) == 400
        (asked,) = open_requests(session, section.id)
        answered = [
            answer_request(session, section.id, asked.id, text, by_id=teacher.id, now=later)
            for text in ("Set right.", "Again.")
        ]
        assert answered == [True, False]
    with database.read() as session:
        assert list(open_requests(session, section.id)) == []
        (asked,) = requests_by(session, student.id)
        assert (asked.answer, asked.answered_at) == ("Set right.", later)
        assert list(requests_by(session, classmate.id)) == []
