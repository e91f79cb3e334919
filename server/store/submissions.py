"""Handing in programs, and storing what the marking said of them.

A submission is stored as *queued* in the unit of work that accepts it; marking happens outside any
unit of work, and its verdict is stored once, however often it arrives.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from math import inf

from sqlalchemy import bindparam, func, insert, select, true, update
from sqlalchemy.orm import Session, defer, joinedload, lazyload

from server.marking.verdict import Verdict
from server.store.allowances import allowance_of
from server.store.attempts import StoredVerdict, Submission, SubmissionState, add_results
from server.store.courses import HANDING_IN, Assignment, lock_work, partner_of, seed_of
from server.store.database import Document, send
from server.store.programs import REVISION
from server.store.sittings import demand_sitting
from server.store.standings import count_queued, lock_counting, recount

SUBMISSIONS_PER_MINUTE = 10
"""Of one user, so that a script can't keep everybody else waiting."""


class Refusal(StrEnum):
    """Why a program was not taken, in the words that the student reads."""

    STALE = (
        "The program was changed in another window since you opened this one, so nothing was "
        "submitted. Look at the newest program above, then submit again."
    )
    NOT_OPEN = "This exercise is not open yet. Keep working; submit after it opens."
    CLOSED = "This exercise is closed. Ask the instructor whether it can be opened again for you."
    TOO_OFTEN = (
        "There were too many submissions in one minute, so this one was not accepted. "
        "Wait a minute, then submit again; no attempt was used."
    )
    NO_ATTEMPT_LEFT = "All attempts at this exercise are used. The one that counts is shown below."
    SAME_PROGRAM = (
        "This program is the same as in your last attempt, so nothing was submitted. "
        "Change the program first; no attempt was used."
    )


def submit(
    session: Session,
    assignment: Assignment,
    user_id: int,
    program: Document,
    now: datetime,
    *,
    revision: int | None = None,
) -> Submission | Refusal:
    """Take a program as the user's next attempt, or say why not.

    With ``revision``, only while the working program stands there still. Raises SittingOver.
    """
    demand_sitting(session, assignment, user_id, now)
    # Held, the enrolment is not read again for the seed.
    enrolment = lock_work(session, assignment, user_id)
    if assignment.in_pairs:
        # The partner submits under an enrolment of their own; both draw on the same attempts.
        lock_counting(session, assignment)
    before = _look_back(session, assignment, user_id, now)
    if revision is not None and before.revision != revision:
        return Refusal.STALE
    if now < assignment.opens_at:
        return Refusal.NOT_OPEN
    if _is_closed(session, assignment, user_id, now):
        return Refusal.CLOSED
    if before.in_the_last_minute >= SUBMISSIONS_PER_MINUTE:
        return Refusal.TOO_OFTEN
    if assignment.attempts is not None:
        used = before.used + _used_by_partner(session, assignment, user_id)
        if used >= assignment.attempts and used >= _attempts_of(session, assignment, user_id):
            return Refusal.NO_ATTEMPT_LEFT
    # A second click on the button must not use up an attempt.
    if before.program == program:
        return Refusal.SAME_PROGRAM
    hands_in = enrolment is not None and enrolment.role in HANDING_IN
    return _store(session, assignment, user_id, program, now, before.last + 1, counts=hands_in)


def submit_at_the_end(
    session: Session, assignment: Assignment, user_id: int, program: Document, at: datetime
) -> Submission | None:
    """Take a program as it was at the end of a sitting; None if its student has submitted one.

    The caller holds the lock of the student's work.
    """
    if _look_back(session, assignment, user_id, at).last:
        return None
    return _store(session, assignment, user_id, program, at, 1, counts=True)


def _store(
    session: Session,
    assignment: Assignment,
    user_id: int,
    program: Document,
    at: datetime,
    attempt: int,
    *,
    counts: bool,
) -> Submission:
    submission = Submission(
        assignment_id=assignment.id,
        user_id=user_id,
        attempt=attempt,
        program=program,
        submitted_at=at,
        state=SubmissionState.QUEUED,
        seed=seed_of(session, assignment, user_id),
    )
    session.add(submission)
    session.flush()
    count_queued(session, assignment, user_id, first=counts and attempt == 1)
    return submission


@dataclass(frozen=True, slots=True)
class _Before:
    """What there is before an attempt.

    ``last`` is the number of the last one, 0 if none, and ``program`` its program; ``used`` are the
    attempts that count against the number allowed.
    """

    revision: int
    in_the_last_minute: int
    used: int
    last: int
    program: Document | None


# By the clock of the submissions themselves: one set back must not shut anybody out for long.
_recent = (
    select(func.count().label("number"))
    .select_from(Submission)
    .where(
        Submission.user_id == bindparam("user_id"),
        Submission.submitted_at > bindparam("a_minute_ago"),
        Submission.submitted_at <= bindparam("now"),
    )
    .subquery()
)
_used = (
    select(func.count())
    .select_from(Submission)
    .where(
        Submission.assignment_id == bindparam("assignment_id"),
        Submission.user_id == bindparam("user_id"),
        Submission.state != SubmissionState.UNMARKED,
    )
)
_last = (
    select(Submission.attempt, Submission.program)
    .where(
        Submission.assignment_id == bindparam("assignment_id"),
        Submission.user_id == bindparam("user_id"),
    )
    .order_by(Submission.attempt.desc())
    .limit(1)
    .subquery()
)
_LOOK_BACK = (
    select(
        REVISION,
        _recent.c.number,
        _used.scalar_subquery(),
        _last.c.attempt,
        _last.c.program,
    )
    .select_from(_recent)
    .outerjoin(_last, true())
)


def _look_back(session: Session, assignment: Assignment, user_id: int, now: datetime) -> _Before:
    values = {"assignment_id": assignment.id, "user_id": user_id, "now": now}
    values["a_minute_ago"] = now - timedelta(minutes=1)
    revision, number, used, last, program = send(session, _LOOK_BACK, values).one()
    return _Before(revision or 0, number, used, last or 0, program)


def _is_closed(session: Session, assignment: Assignment, user_id: int, now: datetime) -> bool:
    """Return whether it is too late for a student; some have longer than the class."""
    if assignment.closes_at is None or now < assignment.closes_at:
        return False
    closes_at = allowance_of(session, assignment, user_id).closes_at
    return closes_at is None or now >= closes_at


def _attempts_of(session: Session, assignment: Assignment, user_id: int) -> float:
    """Return how many attempts a student has; some have more than the class."""
    attempts = allowance_of(session, assignment, user_id).attempts
    return inf if attempts is None else attempts


def _used_by_partner(session: Session, assignment: Assignment, user_id: int) -> int:
    partner_id = partner_of(session, assignment, user_id)
    if partner_id is None:
        return 0
    of_partner = {"assignment_id": assignment.id, "user_id": partner_id}
    return session.execute(_used, of_partner).scalar_one()


_TAKE = (
    update(Submission)
    .where(Submission.id == bindparam("submission_id"), Submission.state == SubmissionState.QUEUED)
    .values(state=bindparam("settled"))
    .returning(Submission.assignment_id, Submission.user_id)
    .execution_options(synchronize_session=False)
)


def store_verdict(
    session: Session, submission_id: int, verdict: Verdict, document: Document, now: datetime
) -> bool:
    """Store what the marking found; ``document`` is the same verdict as JSON.

    False, and nothing is changed, if the submission has a verdict already or is gone.
    """
    values = {"submission_id": submission_id, "settled": SubmissionState.MARKED}
    taken = send(session, _TAKE, values).first()
    if taken is None:
        return False
    send(
        session,
        insert(StoredVerdict),
        {
            "submission_id": submission_id,
            "exercise_version": verdict.exercise_version,
            "suite_hash": verdict.suite_hash,
            "engine_version": verdict.engine_version,
            "score": verdict.score,
            "score_by_cause": verdict.score_by_cause,
            "max_score": verdict.max_score,
            "document": document,
            "marked_at": now,
        },
    )
    add_results(session, submission_id, verdict)
    recount(session, session.get_one(Assignment, taken.assignment_id), [taken.user_id])
    return True


def leave_unmarked(session: Session, submission_id: int) -> bool:
    """Store that a submission is too large to be run in time, so that it uses no attempt.

    False, and nothing is changed, if it does not wait for its verdict.
    """
    values = {"submission_id": submission_id, "settled": SubmissionState.UNMARKED}
    taken = send(session, _TAKE, values).first()
    if taken is None:
        return False
    recount(session, session.get_one(Assignment, taken.assignment_id), [taken.user_id])
    return True


def find_submission(session: Session, submission_id: int) -> Submission | None:
    return session.get(Submission, submission_id)


def programs_of(session: Session, submission_ids: Collection[int]) -> dict[int, Document]:
    """Return the programs of these submissions by id."""
    query = select(Submission.id, Submission.program).where(Submission.id.in_(submission_ids))
    return dict(session.execute(query).all())


def verdicts_of(session: Session, submission_ids: Collection[int]) -> dict[int, Document]:
    """Return the verdicts of these submissions by the submission's id, as they are stored."""
    query = select(StoredVerdict.submission_id, StoredVerdict.document).where(
        StoredVerdict.submission_id.in_(submission_ids)
    )
    return dict(session.execute(query).all())


_STATE = select(Submission.state).where(Submission.id == bindparam("submission_id"))


def is_queued(session: Session, submission_id: int) -> bool:
    """Return whether a submission waits for its verdict."""
    state = send(session, _STATE, {"submission_id": submission_id}).scalar()
    return state is SubmissionState.QUEUED


def queued(session: Session, limit: int = 100) -> list[int]:
    """Return ids of submissions that wait for their verdict, the oldest first."""
    return list(
        session.scalars(
            select(Submission.id)
            .where(Submission.state == SubmissionState.QUEUED)
            .order_by(Submission.id)
            .limit(limit)
        )
    )


_ATTEMPTS = (
    select(Submission)
    .where(
        Submission.assignment_id == bindparam("assignment_id"),
        Submission.user_id == bindparam("user_id"),
    )
    .options(
        defer(Submission.program),
        lazyload(Submission.user),
        lazyload(Submission.assignment),
        joinedload(Submission.verdict).defer(StoredVerdict.document),
    )
    .order_by(Submission.attempt.desc())
)


def attempts_of(session: Session, assignment: Assignment, user_id: int) -> list[Submission]:
    """Return a user's attempts at an assignment with their scores, the newest first.

    Their programs and the documents of their verdicts are read when they are asked for.
    """
    of_user = {"assignment_id": assignment.id, "user_id": user_id}
    return list(session.scalars(_ATTEMPTS, of_user))
