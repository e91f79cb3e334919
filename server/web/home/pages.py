"""The course home: what is set, and how it stands."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.store.allowances import Allowance
from server.store.courses import (
    TEACHING,
    Assignment,
    Section,
    SectionRole,
    all_sections,
    assignments_of,
    sections_of,
    student_counts,
)
from server.store.gradebook import AssignmentProgress, Standing, begun_by, progress_of, standings_of
from server.store.people import Role
from server.store.regrades import unseen_changes
from server.web.access import VisitorHere
from server.web.dependencies import Now, Reading
from server.web.rendering import page

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SetExercise:
    """A line of the home page; ``standing`` for who works on it, ``progress`` for who teaches.

    ``latest`` tells the sheet that was last worked on of all that are not done.
    """

    assignment: Assignment
    state: str
    standing: Standing | None = None
    progress: AssignmentProgress | None = None
    done: bool = False
    latest: bool = False

    @property
    def allowance(self) -> Allowance | Assignment:
        """When it is due for whoever works on it, and with how many attempts."""
        own = self.standing.allowance if self.standing else None
        return own or self.assignment

    @property
    def due_at(self) -> datetime:
        """The due date of whoever works on it."""
        return self.allowance.due_at


@dataclass(frozen=True, slots=True)
class SectionSheet:
    """A section on the home page; one that is ``over`` folds away."""

    section: Section
    teaching: bool
    instructing: bool
    students: int
    lines: tuple[SetExercise, ...]
    over: bool
    withdrawn: bool


@router.get("/")
def home(request: Request, session: Reading, visitor: VisitorHere, now: Now) -> Response:
    """One's own sections; the department and administrators see all, without names."""
    counts = student_counts(session)
    if visitor.role in (Role.DEPARTMENT, Role.ADMINISTRATOR):
        sections = all_sections(session)
        set_here = assignments_of(session, [section.id for section in sections])
        overview = [
            (section, counts.get(section.id, 0), sum(a.section_id == section.id for a in set_here))
            for section in sections
        ]
        return page(request, "home/overview.html", sections=overview, today=now.date(), now=now)
    sheets = _sheets(session, visitor.id, counts, now)
    return page(
        request,
        "home/home.html",
        sheets=sheets,
        changes=unseen_changes(session, visitor.id),
        now=now,
    )


def _sheets(
    session: Session, user_id: int, counts: Mapping[int, int], now: datetime
) -> list[SectionSheet]:
    """Return a sheet for each of one's sections; what is set in them is read at once for all."""
    sections = sections_of(session, user_id)
    set_here = assignments_of(session, [section.id for section, _ in sections])
    teaches = {section.id for section, role in sections if role in TEACHING}
    progress = progress_of(session, [each.id for each in set_here if each.section_id in teaches])
    works_on = [each.id for each in set_here if each.section_id not in teaches]
    standings = standings_of(session, user_id, works_on)
    begun = begun_by(session, user_id, works_on)
    done = {
        each.id
        for each in set_here
        if each.id in standings
        and (standings[each.id].complete or _phase(each, standings[each.id], now) == "closed")
    }
    latest = max(begun.keys() - done, key=lambda each: begun[each], default=None)

    def line(each: Assignment) -> SetExercise:
        if each.id in progress:
            state = _phase(each, Standing(), now)
            return SetExercise(each, state, progress=progress[each.id])
        standing = standings[each.id]
        state = _state(each, standing, each.id in begun, now)
        return SetExercise(each, state, standing, done=each.id in done, latest=each.id == latest)

    today = now.date()
    newest = max((section.term.begins for section, _ in sections), default=today)

    def over(section: Section) -> bool:
        # Between two terms the one before is looked at still.
        return section.is_archived or (section.is_over(today) and section.term.begins != newest)

    return [
        SectionSheet(
            section,
            section.id in teaches,
            role is SectionRole.INSTRUCTOR,
            counts.get(section.id, 0),
            tuple(
                line(each)
                for each in set_here
                if each.section_id == section.id and role is not SectionRole.WITHDRAWN
            ),
            over(section),
            role is SectionRole.WITHDRAWN,
        )
        for section, role in sections
    ]


def _phase(assignment: Assignment, standing: Standing, now: datetime) -> str:
    allowance = standing.allowance or assignment
    if now < assignment.opens_at:
        return "not open yet"
    if now <= allowance.due_at:
        return "open"
    if allowance.closes_at is not None and now >= allowance.closes_at:
        return "closed"
    return "past due"


def _state(assignment: Assignment, standing: Standing, begun: bool, now: datetime) -> str:
    phase = _phase(assignment, standing, now)
    if standing.excuse is not None:
        return "excused"
    if standing.complete:
        return "complete"
    if standing.queued:
        return "being marked"
    if standing.attempts:
        return "submitted"
    if phase in ("past due", "closed") and standing.owed:
        return "missing"
    if begun:
        return "begun"
    return phase
