"""Results of single requirements that a teacher sets in place of what the marking found."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.attempts import RequirementResult, ResultByHand, Submission, sum_by_hand
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.standings import recount


def results_by_hand(session: Session, submission_id: int) -> dict[str, ResultByHand]:
    """Return what teachers have set at a submission, by requirement."""
    rows = session.scalars(select(ResultByHand).where(ResultByHand.submission_id == submission_id))
    return {row.requirement: row for row in rows}


def results_of(session: Session, submission_id: int) -> list[RequirementResult]:
    """Return what the marking found, in the order of the exercise."""
    query = select(RequirementResult).where(RequirementResult.submission_id == submission_id)
    return list(session.scalars(query.order_by(RequirementResult.position)))


def find_result(session: Session, submission_id: int, requirement: str) -> RequirementResult | None:
    """Return what the marking found of a requirement."""
    return session.get(RequirementResult, (submission_id, requirement))


def set_result(
    session: Session,
    submission: Submission,
    result: RequirementResult,
    points: float,
    reason: str,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Let these points of a requirement count, in this attempt, until they are taken back.

    A share of its points is stored, so that it holds if the exercise weighs them otherwise later.
    """
    session.merge(
        ResultByHand(
            submission_id=submission.id,
            requirement=result.requirement,
            share=points / result.max_score if result.max_score else 1.0,
            reason=reason,
            by_id=by_id,
            at=now,
        )
    )
    detail = f"{result.requirement}: {points:g} of {result.max_score:g}, {reason}"
    _follow(session, submission, Action.SET_REQUIREMENT, detail, by_id, now)


def remove_result(
    session: Session, submission: Submission, requirement: str, *, by_id: int, now: datetime
) -> None:
    """Let the marked result of a requirement count again; nothing happens if it does."""
    found = session.get(ResultByHand, (submission.id, requirement))
    if found is not None:
        session.delete(found)
        _follow(session, submission, Action.TOOK_BACK, requirement, by_id, now)


def _follow(
    session: Session, submission: Submission, action: Action, detail: str, by_id: int, now: datetime
) -> None:
    assignment = submission.assignment
    sum_by_hand(session, submission.id)
    note(
        session,
        now,
        by_id,
        action,
        assignment.section_id,
        assignment_id=assignment.id,
        person_id=submission.user_id,
        detail=detail,
    )
    recount(session, assignment, [submission.user_id])
