"""Results of single requirements set by hand, and what waits for a grader."""

from datetime import timedelta

import pytest

from server.marking.verdict import Status
from server.marking.verdict_form import to_json
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.comment_snippets import add_snippet, remove_snippet, snippets_of
from server.store.corrections import comment
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.gradebook import Standing, standings_of
from server.store.grading_queue import Waiting, grading_queue, next_in_queue
from server.store.hand_marks import find_result, remove_result, set_result
from server.store.people import Role, User
from server.store.regrades import replace_verdicts
from server.store.report_work import work_of
from server.store.reports import attainment, exercise_reports
from tests.factories import (
    NOON,
    make_assignment,
    make_marked,
    make_section,
    make_user,
    make_verdict,
)

MET, NOT_MET = Status.MET, Status.NOT_MET


@pytest.fixture
def one_class(database: Database) -> tuple[User, User, User, Assignment]:
    """Two students and their teacher."""
    with database.write() as session:
        one, two = make_user(session, name="Ada"), make_user(session, name="Ben")
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(
            session,
            (one, SectionRole.STUDENT),
            (two, SectionRole.STUDENT),
            (teacher, SectionRole.INSTRUCTOR),
        )
        return one, two, teacher, make_assignment(session, section)


Class = tuple[User, User, User, Assignment]


def test_a_result_set_by_hand_counts_and_reaches_the_outcomes(
    database: Database, one_class: Class
) -> None:
    one, two, teacher, assignment = one_class
    with database.write() as session:

        def standing() -> Standing:
            return standings_of(session, one.id, [assignment.id])[assignment.id]

        first = make_marked(session, assignment, one, 1, R1=MET, R2=NOT_MET)
        make_marked(session, assignment, one, 2, R1=NOT_MET, R2=NOT_MET)
        make_marked(session, assignment, two, 1, R1=MET, R2=MET)
        assert (standing().attempt, standing().points) == (1, 1.0)
        second = standing().submission_id
        assert second == first.id
        result = find_result(session, first.id, "R2")
        assert result is not None
        set_result(session, first, result, 0.5, "half the way", by_id=teacher.id, now=NOON)
        assert (standing().points, standing().by_hand) == (1.5, ("R2",))
        assert standing().results["R2"] is NOT_MET
        set_result(session, first, result, 1.0, "shown at the bench", by_id=teacher.id, now=NOON)
        assert (standing().points, standing().complete) == (2.0, True)
        work = work_of(session, assignment.section.course_id)
        outcomes = {assignment.exercise: {"R2": ("stop",), "R1": ("start",)}}
        found = attainment(work, outcomes, {})
        assert (found["stop"].reached, found["stop"].by_hand) == (2, 1)
        assert (found["start"].reached, found["start"].by_hand) == (2, 0)
        (report,) = exercise_reports(work)
        assert [(item.met, item.by_hand) for item in report.items] == [(2, 0), (2, 1)]
        # It holds when the exercise is marked again, by its share of the points.
        again = make_verdict(R1=MET, R2=NOT_MET, R3=MET)
        replace_verdicts(session, [(first.id, again, to_json(again))], NOON, may_fall=True)
        session.refresh(first)
        assert first.verdict is not None
        assert (first.verdict.score, first.verdict.points) == (2.0, 3.0)
        remove_result(session, first, "R2", by_id=teacher.id, now=NOON)
        session.refresh(first)
        assert first.verdict.points == 2.0
        assert (standing().points, standing().by_hand) == (2.0, ())


def test_the_queue_has_the_newest_attempts_and_why_they_wait(
    database: Database, one_class: Class
) -> None:
    one, two, teacher, assignment = one_class
    later = NOON + timedelta(minutes=5)
    with database.write() as session:
        make_marked(session, assignment, one, 1, R1=MET)
        newest = make_marked(session, assignment, one, 2, later, R1=MET)
        other = make_marked(session, assignment, two, 1, R1=NOT_MET)
        make_marked(session, assignment, teacher, 1, R1=MET)

    def queue() -> list[tuple[int, set[Waiting]]]:
        with database.read() as session:
            found = grading_queue(session, assignment.section_id)
            return [(each.submission_id, set(each.waits)) for each in found]

    both = {Waiting.NEW, Waiting.NO_COMMENT}
    assert queue() == [(other.id, both), (newest.id, both)]
    with database.read() as session:
        whole = grading_queue(session, assignment.section_id)
        following = [next_in_queue(whole, each.id, each.submitted_at) for each in (other, newest)]
        assert [each and each.submission_id for each in following] == [newest.id, other.id]
        assert next_in_queue(whole[:1], other.id, other.submitted_at) is None
    with database.write() as session:
        # Looked at before the newest attempt came, and after.
        for at in (NOON, later):
            note(
                session,
                at + timedelta(minutes=1),
                teacher.id,
                Action.SAW_SUBMISSION,
                assignment.section_id,
                assignment_id=assignment.id,
                person_id=one.id if at == later else two.id,
            )
        comment(session, other, None, "Well done.", by_id=teacher.id, now=later)
    assert queue() == [(newest.id, {Waiting.NO_COMMENT})]


def test_snippets_are_their_owners(database: Database, one_class: Class) -> None:
    one, two, _, _ = one_class
    with database.write() as session:
        for text in ("Name every point.", "Name every point.", "Comment each rung."):
            add_snippet(session, one.id, text)
        own = snippets_of(session, one.id)
        assert [each.text for each in own] == ["Comment each rung.", "Name every point."]
        assert snippets_of(session, two.id) == []
        remove_snippet(session, two.id, own[0].id)
        assert len(snippets_of(session, one.id)) == 2
        remove_snippet(session, one.id, own[0].id)
        assert [each.text for each in snippets_of(session, one.id)] == ["Name every point."]
