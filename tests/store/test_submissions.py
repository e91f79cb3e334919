"""Handing in: what is taken, what is refused, and a verdict that is stored once."""

from datetime import datetime, timedelta
from threading import Barrier, Thread

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.marking.verdict import Status
from server.store import submissions
from server.store.allowances import allowance_of
from server.store.assignment_policy import pair_up
from server.store.attempts import (
    RequirementResult,
    StoredVerdict,
    Submission,
    SubmissionState,
)
from server.store.courses import Feedback, SectionRole
from server.store.database import Database
from server.store.standings import CountingAttempt, recount
from server.store.submissions import SUBMISSIONS_PER_MINUTE, Refusal, submit
from tests.factories import (
    NOON,
    make_assignment,
    make_section,
    make_submission,
    make_user,
    make_verdict,
)

DAY = timedelta(days=1)


def test_attempts_are_counted_from_one(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        assignment = make_assignment(session, make_section(session, (student, SectionRole.STUDENT)))
        for attempt in (1, 2):
            taken = submissions.submit(session, assignment, student.id, {"n": attempt}, NOON)
            assert isinstance(taken, Submission)
            assert (taken.attempt, taken.state) == (attempt, SubmissionState.QUEUED)
        found = submissions.attempts_of(session, assignment, student.id)
        assert [submission.attempt for submission in found] == [2, 1]
        assert submissions.queued(session) == [found[1].id, found[0].id]


@pytest.mark.parametrize(
    ("columns", "after", "expected"),
    [
        ({}, -2 * DAY, Refusal.NOT_OPEN),
        ({"closes_at": NOON + 8 * DAY}, 8 * DAY, Refusal.CLOSED),
        ({"attempts": 1}, DAY, Refusal.NO_ATTEMPT_LEFT),
        ({}, DAY, Refusal.SAME_PROGRAM),
    ],
)
def test_a_refused_program_is_not_stored(
    database: Database, columns: dict[str, object], after: timedelta, expected: Refusal
) -> None:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, **columns)
        make_submission(session, assignment, student, program={"n": 1})
        refused = submissions.submit(session, assignment, student.id, {"n": 1}, NOON + after)
        assert refused is expected
        assert len(submissions.attempts_of(session, assignment, student.id)) == 1


def test_after_the_due_date_it_is_late_and_taken(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        assignment = make_assignment(session, make_section(session, (student, SectionRole.STUDENT)))
        for after, late in ((7 * DAY, False), (7.1 * DAY, True)):
            taken = submissions.submit(
                session, assignment, student.id, {"late": late}, NOON + after
            )
            assert isinstance(taken, Submission)
            own = allowance_of(session, assignment, student.id)
            assert (taken.submitted_at > own.due_at) is late


@pytest.mark.parametrize("in_pairs", [False, True])
def test_an_attempt_that_waits_is_counted_as_a_recount_does(
    database: Database, in_pairs: bool
) -> None:
    with database.write() as session:
        student, mate = make_user(session), make_user(session)
        section = make_section(session, *((s, SectionRole.STUDENT) for s in (student, mate)))
        assignment = make_assignment(session, section, in_pairs=in_pairs)
        if in_pairs:
            pair_up(session, assignment, student.id, mate.id, by_id=student.id, now=NOON)
        for number, met in enumerate((Status.NOT_MET, Status.MET, None)):
            submission = submissions.submit(session, assignment, student.id, {"n": number}, NOON)
            assert isinstance(submission, Submission)
            counted = standings(session)
            recount(session, assignment)
            assert standings(session) == counted
            if met is not None:
                submissions.store_verdict(session, submission.id, make_verdict(R1=met), {}, NOON)


def test_one_that_could_not_be_marked_in_time_uses_no_attempt(database: Database) -> None:
    with database.write() as session:
        student, mate = make_user(session), make_user(session)
        section = make_section(session, *((s, SectionRole.STUDENT) for s in (student, mate)))
        assignment = make_assignment(session, section, attempts=1, in_pairs=True)
        pair_up(session, assignment, student.id, mate.id, by_id=student.id, now=NOON)
        first = submissions.submit(session, assignment, student.id, {"n": 1}, NOON)
        assert isinstance(first, Submission)
        assert submissions.leave_unmarked(session, first.id)
        assert not submissions.is_queued(session, first.id)
        assert standings(session) == []
        # A verdict that arrives after all changes nothing, and it is not given up twice.
        assert not submissions.store_verdict(session, first.id, make_verdict(), {}, NOON)
        assert not submissions.leave_unmarked(session, first.id)
        again = submissions.submit(session, assignment, student.id, {"n": 2}, NOON)
        assert isinstance(again, Submission)
        assert again.attempt == 2
        for user in (student, mate):
            refused = submissions.submit(session, assignment, user.id, {"n": 3}, NOON)
            assert refused is Refusal.NO_ATTEMPT_LEFT


def standings(session: Session) -> list[tuple[object, ...]]:
    return [tuple(row) for row in session.execute(select(CountingAttempt.__table__))]


def test_two_submissions_at_once_get_two_attempts(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        assignment = make_assignment(session, make_section(session, (student, SectionRole.STUDENT)))
    together = Barrier(4)

    def hand_in(number: int) -> None:
        together.wait()
        with database.write() as session:
            submissions.submit(session, assignment, student.id, {"n": number}, NOON)

    threads = [Thread(target=hand_in, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with database.read() as session:
        found = submissions.attempts_of(session, assignment, student.id)
    assert [submission.attempt for submission in found] == [4, 3, 2, 1]


def test_a_pair_that_submits_at_once_gets_no_more_attempts_than_allowed(
    database: Database,
) -> None:
    with database.write() as session:
        one, other = make_user(session), make_user(session)
        section = make_section(session, *((s, SectionRole.STUDENT) for s in (one, other)))
        assignment = make_assignment(session, section, in_pairs=True, attempts=1)
        pair_up(session, assignment, one.id, other.id, by_id=one.id, now=NOON)
    answers: list[Submission | Refusal] = []

    def hand_in() -> None:
        with database.write() as session:
            answers.append(submit(session, assignment, other.id, {"n": 2}, NOON))

    later = Thread(target=hand_in)
    with database.write() as session:
        assert isinstance(submit(session, assignment, one.id, {"n": 1}, NOON), Submission)
        later.start()
        # The other one is in the middle of it by now, or comes afterwards: both must hold.
        later.join(timeout=0.3)
    later.join()
    assert answers == [Refusal.NO_ATTEMPT_LEFT]


def test_a_verdict_is_stored_once(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        assignment = make_assignment(session, make_section(session))
        submission = make_submission(session, assignment, student)
        first = make_verdict(R1=Status.MET, R2a=Status.NOT_MET)
        second = make_verdict(R1=Status.NOT_MET)
        assert submissions.store_verdict(session, submission.id, first, {"a": 1}, NOON)
        assert not submissions.store_verdict(session, submission.id, second, {"b": 2}, NOON)
    with database.read() as session:
        stored = session.get_one(Submission, submission.id)
        assert stored.state is SubmissionState.MARKED
        assert stored.verdict is not None
        assert stored.verdict.document == {"a": 1}
        assert (stored.verdict.score, stored.verdict.max_score) == (1, 2)
        results = session.scalars(select(RequirementResult).order_by(RequirementResult.position))
        assert [(each.requirement, each.status, each.known_by) for each in results] == [
            ("R1", Status.MET, "3 scenarios"),
            ("R2a", Status.NOT_MET, ""),
        ]
        assert submissions.queued(session) == []


def test_a_verdict_on_nothing_is_dropped(database: Database) -> None:
    with database.write() as session:
        assert not submissions.store_verdict(session, 7, make_verdict(), {}, NOON)
        assert session.scalars(select(StoredVerdict)).all() == []


@pytest.mark.parametrize(
    ("columns", "attempt", "after", "expected"),
    [
        ({"feedback": Feedback.CHART}, 1, DAY, Feedback.CHART),
        ({"feedback": Feedback.SENTENCE, "feedback_from_attempt": 3}, 2, DAY, Feedback.VERDICT),
        ({"feedback": Feedback.SENTENCE, "feedback_from_attempt": 3}, 3, DAY, Feedback.SENTENCE),
        ({"feedback_from_attempt": 9, "feedback_after_due": True}, 1, 7 * DAY, Feedback.VERDICT),
        ({"feedback_from_attempt": 9, "feedback_after_due": True}, 1, 8 * DAY, Feedback.CHART),
    ],
)
def test_feedback_is_released_as_the_assignment_says(
    database: Database,
    columns: dict[str, object],
    attempt: int,
    after: timedelta,
    expected: Feedback,
) -> None:
    with database.write() as session:
        assignment = make_assignment(session, make_section(session), **columns)
        assert assignment.feedback_for(attempt, NOON + after) is expected


def test_who_hands_in_too_often_must_wait_a_minute(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section)

    def hand_in(number: int, now: datetime) -> Submission | Refusal:
        with database.write() as session:
            return submit(session, assignment, student.id, {"number": number}, now)

    for number in range(SUBMISSIONS_PER_MINUTE):
        assert isinstance(hand_in(number, NOON), Submission)
    assert hand_in(99, NOON) is Refusal.TOO_OFTEN
    # A clock that is set back shuts nobody out, and numbers the attempts on.
    earlier = hand_in(98, NOON - timedelta(hours=1))
    assert isinstance(earlier, Submission)
    assert earlier.attempt == SUBMISSIONS_PER_MINUTE + 1
    assert isinstance(hand_in(99, NOON + timedelta(minutes=1)), Submission)
