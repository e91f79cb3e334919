"""Setting exercises for a section, and changing how they count."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Form, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import assignment_policy
from server.store.assignment_policy import Policy
from server.store.courses import Assignment, Counting, Feedback, assignments_of, students_of
from server.store.local_time import moment_of
from server.store.lti_outbox import queue_scores
from server.store.standings import partners_at
from server.web.access import VisitorHere, ZoneHere
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading, Writing
from server.web.gradebook.pages import assignment_here, section_here
from server.web.rendering import page
from server.web.submissions.release import describe_release

router = APIRouter()

NEEDED = "Each date needs a day and a time, like 2026-10-12T23:59; only closing may be left out."

MOST_MINUTES = 600
"""Of a sitting in a supervised lab."""

Word = Annotated[str, Form(max_length=40)]


@dataclass(frozen=True, slots=True)
class PolicyForm:
    """The form as it was typed, so that it can be shown again."""

    opens: str
    due: str
    closes: str
    attempts: str
    counting: str
    feedback: str
    feedback_from: str
    feedback_after_due: bool
    weight: str
    late: str
    in_pairs: bool
    cause_once: bool
    sitting: str

    def policy(self, zone: ZoneInfo, stored: Assignment | None = None) -> Policy | str:
        """Return what it means, or one sentence that says what can't be.

        A date that is as ``stored`` stays so, to the second.
        """
        before = (stored.opens_at, stored.due_at, stored.closes_at) if stored else (None,) * 3
        opens = read_moment(self.opens, zone, before[0])
        due = read_moment(self.due, zone, before[1])
        closes = read_moment(self.closes, zone, before[2]) if self.closes else None
        for each in (opens, due, closes):
            if isinstance(each, str):
                return each
        assert isinstance(opens, datetime)
        assert isinstance(due, datetime)
        assert not isinstance(closes, str)
        if opens > due:
            return "The exercise would be due before it opens. Choose a later due date."
        if closes is not None and closes < due:
            return "The exercise would close before it is due. Choose a later closing date."
        try:
            attempts = int(self.attempts) if self.attempts.strip() else None
            first = int(self.feedback_from)
            weight, late = float(self.weight), float(self.late) / 100
            counting, feedback = Counting(self.counting), Feedback(self.feedback)
        except ValueError:
            return "Attempts, weight and points lost must be numbers. Correct them."
        if (attempts is not None and attempts < 1) or first < 1:
            return "Attempts are counted from 1. Leave the field empty for any number."
        sitting = _minutes(self.sitting)
        if isinstance(sitting, str):
            return sitting
        if sitting is not None and self.in_pairs:
            return "In a supervised lab everybody works alone. Leave out pairs, or the minutes."
        if not (0 <= late <= 1 and 0 <= weight <= 1000):
            return "Points lost a day are 0 to 100 per cent, the weight 0 to 1000. Correct them."
        return Policy(
            opens_at=opens,
            due_at=due,
            closes_at=due if sitting is not None else closes,
            attempts=attempts,
            counting=counting,
            feedback=feedback,
            feedback_from_attempt=first,
            feedback_after_due=self.feedback_after_due,
            weight=weight,
            late_per_day=late,
            in_pairs=self.in_pairs,
            cause_once=self.cause_once,
            sitting_minutes=sitting,
        )


def _minutes(text: str) -> int | str | None:
    """Return the minutes of a sitting, None if there is none, or a sentence that says why not."""
    if not text.strip():
        return None
    if text.strip().isascii() and text.strip().isdecimal() and 1 <= int(text) <= MOST_MINUTES:
        return int(text)
    return f"A sitting has 1 to {MOST_MINUTES} minutes. Correct them, or leave the field empty."


def typed(
    opens: Word = "",
    due: Word = "",
    closes: Word = "",
    attempts: Word = "",
    counting: Word = "best",
    feedback: Word = "chart",
    feedback_from: Word = "1",
    feedback_after_due: Annotated[bool, Form()] = False,
    weight: Word = "1",
    late: Word = "0",
    in_pairs: Annotated[bool, Form()] = False,
    cause_once: Annotated[bool, Form()] = False,
    sitting: Word = "",
) -> PolicyForm:
    return PolicyForm(
        opens,
        due,
        closes,
        attempts,
        counting,
        feedback,
        feedback_from,
        feedback_after_due,
        weight,
        late,
        in_pairs,
        cause_once,
        sitting,
    )


TypedHere = Annotated[PolicyForm, Depends(typed)]


@router.get("/sections/{section_id}/assignments")
def set_work(
    request: Request,
    section_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    zone: ZoneHere,
    now: Now,
) -> Response:
    """Show what is set, and the form to set one more."""
    return _set_page(request, session, section_id, catalogue, _fresh(now, zone))


@router.post("/sections/{section_id}/assignments")
def add_assignment(
    request: Request,
    section_id: int,
    session: Reading,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    form: TypedHere,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
    exercise: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    policy = form.policy(zone)
    found = catalogue.find(exercise)
    mistake = policy if isinstance(policy, str) else ""
    if found is None:
        mistake = f"There is no exercise {exercise or '(none)'}. Choose one from the list."
    elif not isinstance(policy, str):
        title = found.title
        with database.write() as writing:
            added = assignment_policy.set_exercise(
                writing, section_id, exercise, title, policy, by_id=visitor.id, now=now
            )
        if added is not None:
            return RedirectResponse(f"/sections/{section_id}/assignments", 303)
        mistake = f"{title} is set for this section already. Change it in its settings."
    return _set_page(request, session, section_id, catalogue, form, mistake)


@router.post("/sections/{section_id}/rules")
def change_section_rules(
    section_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    extra_credit: Annotated[bool, Form()] = False,
) -> Response:
    """Say whether points set by hand may exceed the points of an exercise."""
    section = section_here(session, section_id)
    assignment_policy.permit_extra_credit(session, section, extra_credit, by_id=visitor.id, now=now)
    return RedirectResponse(f"/sections/{section_id}/assignments#rules", 303)


@router.get("/assignments/{assignment_id}/settings")
def assignment_settings(request: Request, assignment_id: int, session: Reading) -> Response:
    return _settings_page(request, session, assignment_here(session, assignment_id))


@router.post("/assignments/{assignment_id}/settings")
def change_assignment(
    request: Request,
    assignment_id: int,
    session: Reading,
    database: DatabaseHere,
    form: TypedHere,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
) -> Response:
    assignment = assignment_here(session, assignment_id)
    policy = form.policy(zone, assignment)
    if isinstance(policy, str):
        return _settings_page(request, session, assignment, policy, form)
    with database.write() as writing:
        assignment = assignment_here(writing, assignment_id)
        refused = assignment_policy.change_policy(
            writing, assignment, policy, by_id=visitor.id, now=now
        )
        students = [student.id for student in students_of(writing, assignment.section_id)]
        queue_scores(writing, assignment, students, now)
    if refused is not None:
        return _settings_page(request, session, assignment, refused.value, form)
    return _back(assignment_id)


@router.post("/assignments/{assignment_id}/extensions")
def give_time(
    request: Request,
    assignment_id: int,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
    student: Annotated[int, Form()] = 0,
    due: Word = "",
    reason: Annotated[str, Form(max_length=500)] = "",
) -> Response:
    """Give one student a later due date."""
    assignment = assignment_here(session, assignment_id)
    if student not in {each.id for each in students_of(session, assignment.section_id)}:
        return _settings_page(request, session, assignment, "Choose a student of the section.")
    due_at = read_moment(due, zone, assignment.due_at)
    if isinstance(due_at, str):
        return _settings_page(request, session, assignment, due_at)
    if due_at <= assignment.due_at or not reason.strip():
        sentence = "More time needs a date after the due date, and a reason. Write both."
        return _settings_page(request, session, assignment, sentence)
    with database.write() as writing:
        assignment = assignment_here(writing, assignment_id)
        assignment_policy.give_time(
            writing, assignment, student, due_at, reason.strip(), by_id=visitor.id, now=now
        )
        queue_scores(writing, assignment, [student], now)
    return _back(assignment_id)


@router.post("/assignments/{assignment_id}/partners")
def pair_up(
    request: Request,
    assignment_id: int,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    now: Now,
    first: Annotated[int, Form()] = 0,
    second: Annotated[int, Form()] = 0,
) -> Response:
    """Let two students hand in together; without a second, the first works alone again."""
    assignment = assignment_here(session, assignment_id)
    students = {each.id for each in students_of(session, assignment.section_id)}
    if first not in students or (second and (second not in students or second == first)):
        return _settings_page(request, session, assignment, "Choose two different students.")
    with database.write() as writing:
        assignment = assignment_here(writing, assignment_id)
        assignment_policy.pair_up(
            writing, assignment, first, second or None, by_id=visitor.id, now=now
        )
        queue_scores(writing, assignment, [id for id in (first, second) if id], now)
    return _back(assignment_id)


def _set_page(
    request: Request,
    session: Session,
    section_id: int,
    catalogue: CatalogueHere,
    form: PolicyForm,
    mistake: str = "",
) -> Response:
    assignments = assignments_of(session, [section_id])
    used = {assignment.exercise for assignment in assignments}
    return page(
        request,
        "assignments/set.html",
        422 if mistake else 200,
        section=section_here(session, section_id),
        assignments=assignments,
        exercises=[each for each in catalogue.shipped() if each.slug not in used],
        form=form,
        mistake=mistake,
    )


def _settings_page(
    request: Request,
    session: Session,
    assignment: Assignment,
    mistake: str = "",
    form: PolicyForm | None = None,
) -> Response:
    students = students_of(session, assignment.section_id)
    state = request.app.state
    exercise = state.catalogue.find(assignment.exercise)
    return page(
        request,
        "assignments/settings.html",
        422 if mistake else 200,
        assignment=assignment,
        in_force=exercise and describe_release(assignment, exercise, state.clock()),
        form=form or _as_typed(assignment, request.state.zone),
        students=students,
        names={student.id: student.listed_as for student in students},
        partners=[(a, b) for a, b in partners_at(session, assignment.id).items() if a < b],
        extensions=assignment_policy.extensions_of(session, assignment.id),
        mistake=mistake,
    )


def _fresh(now: datetime, zone: ZoneInfo) -> PolicyForm:
    """Return a week from now, to begin with."""
    due = end_of_day(now.astimezone(zone).date() + timedelta(weeks=1))
    return PolicyForm(
        field(now, zone), due, "", "", "best", "chart", "1", False, "1", "10", False, False, ""
    )


def _as_typed(assignment: Assignment, zone: ZoneInfo) -> PolicyForm:
    return PolicyForm(
        field(assignment.opens_at, zone),
        field(assignment.due_at, zone),
        field(assignment.closes_at, zone) if assignment.closes_at else "",
        str(assignment.attempts or ""),
        assignment.counting.value,
        assignment.feedback.value,
        str(assignment.feedback_from_attempt),
        assignment.feedback_after_due,
        f"{assignment.weight:g}",
        f"{100 * assignment.late_per_day:g}",
        assignment.in_pairs,
        assignment.cause_once,
        str(assignment.sitting_minutes or ""),
    )


def field(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment as a date field has it, in the college's time zone."""
    return f"{moment.astimezone(zone):%Y-%m-%dT%H:%M}"


def end_of_day(day: date) -> str:
    """Return the end of a day as a date field has it: what is set for a day is due then."""
    return f"{day.isoformat()}T23:59"


def read_moment(text: str, zone: ZoneInfo, stored: datetime | None = None) -> datetime | str:
    """Return what a date field means, or one sentence that says why it means nothing.

    A field that shows ``stored`` means that moment, be it one of two with the same time of day.
    """
    if stored is not None and text == field(stored, zone):
        return stored
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        return NEEDED
    if "T" not in text or local.tzinfo is not None or not 1970 < local.year < 9000:
        return NEEDED
    return moment_of(local, zone)


def _back(assignment_id: int) -> Response:
    return RedirectResponse(f"/assignments/{assignment_id}/settings", 303)
