"""Supervised labs: how a sitting begins, gets more minutes, and ends."""

import hmac
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.allowances import allowance_of
from server.store.assignment_policy import give_time
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import HANDING_IN, Assignment, lock_work
from server.store.database import Document
from server.store.guesses import begin_guess, forget_guesses
from server.store.programs import WorkingProgram, working_copy
from server.store.sittings import SEEN_EVERY, Sitting, end_at, end_of, sitting_now
from server.store.submissions import submit_at_the_end
from server.store.trials import SavedTrial


class NoSitting(StrEnum):
    """Why a sitting does not begin, in the words that the student reads."""

    NOT_OPEN = "This lab is not open yet. Come back when its window begins."
    WINDOW_OVER = "The window of this lab is over, so no sitting can begin. Ask the instructor."
    OVER = "Your sitting is over, and there is one for each student. Ask the instructor."
    ELSEWHERE = (
        "You are in another supervised lab right now. Finish that sitting first, "
        "then enter the pass-code here."
    )
    WRONG_CODE = "This is not the pass-code of this lab. Read it again in the room, then type it."
    NO_SEAT = "Say where you sit, such as the number of the workstation."
    NOT_A_STUDENT = "Only students of the section sit here. Ask the instructor."


@dataclass(frozen=True, slots=True)
class Wait:
    """Too many wrong pass-codes: the next one is looked at after this time."""

    left: timedelta


def begin_sitting(
    session: Session,
    assignment_id: int,
    user_id: int,
    session_hash: str,
    code: str,
    seat: str,
    now: datetime,
) -> Sitting | NoSitting | Wait:
    """Begin a student's sitting, or let it go on in another browser, or say why not.

    It begins with a blank program, whatever there was before.
    """
    assignment = session.get_one(Assignment, assignment_id)
    enrolment = lock_work(session, assignment, user_id)
    if enrolment is None or enrolment.role not in HANDING_IN:
        return NoSitting.NOT_A_STUDENT
    seat = " ".join(seat.split())
    sitting = session.get(Sitting, (assignment_id, user_id), populate_existing=True)
    allowance = allowance_of(session, assignment, user_id)
    if sitting is not None and now >= sitting.ends_at:
        return NoSitting.OVER
    if now < assignment.opens_at:
        return NoSitting.NOT_OPEN
    if now >= allowance.due_at:
        return NoSitting.WINDOW_OVER
    if not seat:
        return NoSitting.NO_SEAT
    refused = _look_at_code(session, assignment, user_id, code, now)
    if refused is not None:
        return refused
    # Whoever looks at a code holds the lock of all guesses, so that nobody sits down twice.
    if _sits_elsewhere(session, assignment_id, user_id, now):
        return NoSitting.ELSEWHERE
    if sitting is None:
        _clear_desk(session, assignment_id, user_id)
        sitting = Sitting(
            assignment_id=assignment_id, user_id=user_id, begun_at=now, more_seconds=0, closed=False
        )
        sitting.ends_at = end_of(session, assignment, sitting)
    sitting.seat, sitting.session_hash, sitting.seen_at = seat, session_hash, now
    session.add(sitting)
    note(
        session,
        now,
        user_id,
        Action.TOOK_SEAT,
        assignment.section_id,
        assignment_id=assignment_id,
        person_id=user_id,
        detail=f"seat {seat}",
    )
    session.flush()
    return sitting


def give_minutes(
    session: Session,
    assignment: Assignment,
    sitting: Sitting,
    minutes: int,
    *,
    by_id: int,
    now: datetime,
) -> bool:
    """Let a student sit so many minutes longer, from now on if the sitting is over.

    False, and nothing is changed, while they sit at another lab.
    """
    lock_work(session, assignment, sitting.user_id)
    if _sits_elsewhere(session, assignment.id, sitting.user_id, now):
        return False
    ends_at = max(sitting.ends_at, now) + timedelta(minutes=minutes)
    end_at(session, assignment, sitting, ends_at)
    sitting.closed = False
    reason = f"{minutes} more minutes in the supervised lab"
    if ends_at > allowance_of(session, assignment, sitting.user_id).due_at:
        give_time(session, assignment, sitting.user_id, ends_at, reason, by_id=by_id, now=now)
    else:
        note(
            session,
            now,
            by_id,
            Action.GAVE_TIME,
            assignment.section_id,
            assignment_id=assignment.id,
            person_id=sitting.user_id,
            detail=reason,
        )
    session.flush()
    return True


def end_sitting(session: Session, assignment: Assignment, user_id: int, now: datetime) -> None:
    """End a sitting now, as its student asks."""
    lock_work(session, assignment, user_id)
    sitting = session.get_one(Sitting, (assignment.id, user_id), populate_existing=True)
    if now < sitting.ends_at:
        end_at(session, assignment, sitting, now)
        session.flush()


def note_sign_of_life(session: Session, assignment_id: int, user_id: int, now: datetime) -> None:
    """Write down that the browser of a sitting was heard of."""
    session.get_one(Sitting, (assignment_id, user_id)).seen_at = now


def sign_is_due(sitting: Sitting, now: datetime) -> bool:
    """Return whether it is worth writing down that the browser was heard of."""
    return abs(now - sitting.seen_at) >= SEEN_EVERY


def sittings_to_close(session: Session, now: datetime) -> list[Sitting]:
    """Return the sittings that are over and not closed yet."""
    return list(
        session.scalars(select(Sitting).where(Sitting.ends_at <= now, Sitting.closed.is_(False)))
    )


def close_sitting(
    session: Session,
    assignment_id: int,
    user_id: int,
    program: Document | None,
    now: datetime,
    *,
    revision: int,
) -> int | None:
    """Close a sitting that is over; return the submission made of its last program, if any.

    ``program`` is the one to submit for a student who has not submitted anything; None if it can't
    be run. It was read at ``revision``: where a step has come since, nothing is changed yet.
    """
    assignment = session.get_one(Assignment, assignment_id)
    enrolment = lock_work(session, assignment, user_id)
    sitting = session.get(Sitting, (assignment_id, user_id), populate_existing=True)
    if sitting is None or sitting.closed or now < sitting.ends_at:
        return None
    nothing: Document = {}
    if working_copy(session, assignment, user_id, nothing).revision != revision:
        return None
    sitting.closed = True
    session.flush()
    if program is None or enrolment is None or enrolment.role not in HANDING_IN:
        return None
    submission = submit_at_the_end(session, assignment, user_id, program, sitting.ends_at)
    return submission.id if submission is not None else None


def _sits_elsewhere(session: Session, assignment_id: int, user_id: int, now: datetime) -> bool:
    sitting = sitting_now(session, user_id, now)
    return sitting is not None and sitting.assignment_id != assignment_id


def _look_at_code(
    session: Session, assignment: Assignment, user_id: int, code: str, now: datetime
) -> NoSitting | Wait | None:
    """Return None for the right pass-code; each student's wrong ones are counted."""
    guess = f"pass-code {assignment.id}", f"account {user_id}"
    left = begin_guess(session, *guess, now)
    if left:
        return Wait(left)
    typed = "".join(code.split()).upper().encode()
    if not assignment.pass_code or not hmac.compare_digest(typed, assignment.pass_code.encode()):
        return NoSitting.WRONG_CODE
    forget_guesses(session, *guess)
    return None


def _clear_desk(session: Session, assignment_id: int, user_id: int) -> None:
    """Let nothing be there of what somebody did at the assignment before they were a student."""
    for table in (WorkingProgram, SavedTrial):
        session.execute(
            delete(table).where(table.assignment_id == assignment_id, table.user_id == user_id)
        )
