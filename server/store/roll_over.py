"""Setting in a new term's section what was set in an earlier one, with its dates moved."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from server.store.assignment_policy import Policy, set_exercise
from server.store.courses import Assignment, Section, assignments_of
from server.store.holidays import Calendar, shift_day


@dataclass(frozen=True, slots=True)
class PlannedAssignment:
    """What an assignment becomes in the new section; ``there``: its exercise is set there."""

    assignment: Assignment
    policy: Policy
    there: bool


def policy_of(assignment: Assignment) -> Policy:
    """Return the policy that holds for an assignment."""
    return Policy(**{each.name: getattr(assignment, each.name) for each in fields(Policy)})


def plan_roll_over(
    session: Session,
    source: Section,
    target: Section,
    earlier: Calendar,
    later: Calendar,
    weeks: int,
    zone: ZoneInfo,
) -> list[PlannedAssignment]:
    """Return what would be set in ``target``, in the order in which it was due; nothing changes.

    Every moment keeps its time of day in ``zone`` and moves as ``shift_day`` says.
    """
    there = {each.exercise for each in assignments_of(session, [target.id])}

    def move(moment: datetime) -> datetime:
        local = moment.astimezone(zone)
        day = shift_day(local.date(), earlier, later, weeks)
        return datetime.combine(day, local.time(), zone).astimezone(UTC)

    return [
        PlannedAssignment(each, _moved(policy_of(each), move), each.exercise in there)
        for each in assignments_of(session, [source.id])
    ]


def roll_over(
    session: Session,
    target: Section,
    planned: Sequence[tuple[Assignment, Policy]],
    *,
    by_id: int,
    now: datetime,
) -> int:
    """Set these exercises with these policies; return how many were not there before."""
    made = [
        set_exercise(session, target.id, each.exercise, each.title, policy, by_id=by_id, now=now)
        for each, policy in planned
    ]
    return sum(each is not None for each in made)


def _moved(policy: Policy, move: Callable[[datetime], datetime]) -> Policy:
    return replace(
        policy,
        opens_at=move(policy.opens_at),
        due_at=move(policy.due_at),
        closes_at=move(policy.closes_at) if policy.closes_at else None,
    )
