"""Taking over in a new term's section what was set in an earlier one."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Query, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.marking.files.catalogue import Catalogue
from server.store.assignment_policy import Policy
from server.store.courses import Assignment, Section, find_assignment, instructed_sections
from server.store.holidays import (
    Calendar,
    holidays_of,
    read_holidays,
    weeks_between,
    write_holidays,
)
from server.store.roll_over import plan_roll_over, policy_of, roll_over
from server.web.access import VisitorHere, ZoneHere
from server.web.assignments.policy import field, read_moment
from server.web.dependencies import CatalogueHere, Now, Reading, Writing
from server.web.gradebook.pages import section_here
from server.web.rendering import page

router = APIRouter()

MOST_WEEKS = 520

Moments = Annotated[list[str], Form(max_length=1000)]
Ids = Annotated[list[int], Form(max_length=1000)]


@dataclass(frozen=True, slots=True)
class RollOverLine:
    """One exercise as the page shows it: its dates as typed, and why it can't be taken, if so."""

    assignment: Assignment
    opens: str
    due: str
    closes: str
    taken: bool = True
    obstacle: str = ""

    def policy(self, zone: ZoneInfo) -> Policy | str:
        """Return the policy with the typed dates, or one sentence that says what can't be."""
        opens, due = read_moment(self.opens, zone), read_moment(self.due, zone)
        closes = read_moment(self.closes, zone) if self.closes else None
        for each in (opens, due, closes):
            if isinstance(each, str):
                return f"{self.assignment.title}: {each}"
        assert isinstance(opens, datetime)
        assert isinstance(due, datetime)
        assert not isinstance(closes, str)
        if opens > due or (closes is not None and closes < due):
            return (
                f"{self.assignment.title} has to open before it is due, and to close after that. "
                "Correct its dates."
            )
        return replace(policy_of(self.assignment), opens_at=opens, due_at=due, closes_at=closes)


@router.get("/sections/{section_id}/roll-over")
def roll_over_page(
    request: Request,
    section_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    zone: ZoneHere,
    source: Annotated[int, Query()] = 0,
    weeks_of: Annotated[int, Query()] = 0,
    weeks: Annotated[int | None, Query(ge=-MOST_WEEKS, le=MOST_WEEKS)] = None,
    holidays: Annotated[str | None, Query(max_length=4000)] = None,
) -> Response:
    """Show what an earlier section would become in this one; nothing is stored.

    ``weeks`` is what was typed for the section ``weeks_of``.
    """
    target = section_here(session, section_id)
    sources = _sources(session, target, visitor.id)
    chosen = next((each for each in sources if each.id == source), None)
    stored = holidays_of(session, [each.term_id for each in (target, *sources)])
    typed = write_holidays(stored[target.term_id]) if holidays is None else holidays
    free = read_holidays(typed)
    mistake = free if isinstance(free, str) else ""
    lines: list[RollOverLine] = []
    if chosen is not None and not isinstance(free, str):
        earlier = Calendar(chosen.term.begins, stored[chosen.term_id])
        later = Calendar(target.term.begins, free)
        # Weeks that were typed for another section say nothing of this one.
        if weeks is None or weeks_of != source:
            weeks = weeks_between(earlier, later)
        planned = plan_roll_over(session, chosen, target, earlier, later, weeks, zone)
        lines = [
            RollOverLine(
                each.assignment,
                *_fields(each.policy, zone),
                obstacle=_obstacle(each.assignment, each.there, catalogue),
            )
            for each in planned
        ]
    return _page(request, target, sources, chosen, lines, weeks, typed, mistake)


@router.post("/sections/{section_id}/roll-over")
def apply_roll_over(
    request: Request,
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
    source: Annotated[int, Form()] = 0,
    exercise: Ids = [],  # noqa: B006 (FastAPI copies it)
    take: Ids = [],  # noqa: B006
    opens: Moments = [],  # noqa: B006
    due: Moments = [],  # noqa: B006
    closes: Moments = [],  # noqa: B006
) -> Response:
    """Set the chosen exercises with the dates of the page."""
    target = section_here(session, section_id)
    sources = _sources(session, target, visitor.id)
    chosen = next((each for each in sources if each.id == source), None)
    lines = []
    if chosen is not None and len({len(each) for each in (exercise, opens, due, closes)}) == 1:
        for id, opens_at, due_at, closes_at in zip(exercise, opens, due, closes, strict=True):
            assignment = find_assignment(session, id)
            if assignment is not None and assignment.section_id == chosen.id:
                lines.append(RollOverLine(assignment, opens_at, due_at, closes_at, id in take))
    policies = [(each.assignment, each.policy(zone)) for each in lines if each.taken]
    mistakes = [each for _, each in policies if isinstance(each, str)]
    if not policies:
        mistakes = ["Nothing is chosen. Choose the section and the exercises to take from it."]
    if mistakes:
        return _page(request, target, sources, chosen, lines, None, "", " ".join(mistakes))
    good = [(each, policy) for each, policy in policies if isinstance(policy, Policy)]
    roll_over(session, target, good, by_id=visitor.id, now=now)
    return RedirectResponse(f"/sections/{section_id}/assignments", 303)


def _sources(session: Session, target: Section, visitor_id: int) -> list[Section]:
    """Return the other sections that the visitor instructs, those of the same course first."""
    own = instructed_sections(session, visitor_id, archived=True)
    return sorted(
        (each for each in own if each is not target),
        key=lambda each: each.course_id != target.course_id,
    )


def _fields(policy: Policy, zone: ZoneInfo) -> tuple[str, str, str]:
    closes = field(policy.closes_at, zone) if policy.closes_at else ""
    return field(policy.opens_at, zone), field(policy.due_at, zone), closes


def _obstacle(assignment: Assignment, there: bool, catalogue: Catalogue) -> str:
    if there:
        return "set here already"
    return "" if catalogue.find(assignment.exercise) is not None else "no longer published"


def _page(
    request: Request,
    target: Section,
    sources: Sequence[Section],
    chosen: Section | None,
    lines: Sequence[RollOverLine],
    weeks: int | None,
    holidays: str,
    mistake: str,
) -> Response:
    return page(
        request,
        "assignments/roll_over.html",
        422 if mistake else 200,
        section=target,
        sources=sources,
        chosen=chosen,
        lines=lines,
        weeks=weeks,
        holidays=holidays,
        mistake=mistake,
    )
