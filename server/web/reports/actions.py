"""Closing the loop: what is done about an outcome below its target, and what came of it."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import RedirectResponse, Response

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import find_term
from server.store.outcome_actions import (
    MAX_TEXT,
    OutcomeAction,
    close_action,
    find_action,
    reopen_action,
    store_action,
)
from server.store.outcomes import MAX_OUTCOME
from server.web.access import VisitorHere
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading
from server.web.rendering import error, page
from server.web.reports.figures import Report, read_report
from server.web.reports.tables import ReportTable

router = APIRouter()

Text = Annotated[str, Form(max_length=MAX_TEXT)]


@router.get("/reports/{course_id}/actions")
def outcome_actions(
    request: Request,
    course_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    now: Now,
    term: Annotated[int | None, Query()] = None,
    outcome: Annotated[str, Query(max_length=MAX_OUTCOME)] = "",
) -> Response:
    """Show what is done about outcomes of a course; ``outcome`` is chosen in the form."""
    report = read_report(session, catalogue, course_id, term, closer=False)
    return _page(request, report, now, {"outcome": outcome})


@router.post("/reports/{course_id}/actions")
def add_action(
    request: Request,
    course_id: int,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    now: Now,
    term: Annotated[int, Form()] = 0,
    outcome: Annotated[str, Form(max_length=MAX_OUTCOME)] = "",
    finding: Text = "",
    action: Text = "",
    responsible: Annotated[str, Form(max_length=200)] = "",
    due: Annotated[str, Form(max_length=10)] = "",
) -> Response:
    """Enter a finding and an action; the figures of the term are kept beside them."""
    with database.read() as session:
        report = read_report(session, catalogue, course_id, term, closer=False)
    typed = {
        "outcome": outcome,
        "finding": finding.strip(),
        "action": action.strip(),
        "responsible": responsible.strip(),
        "due": due,
    }
    day, attained = _day(due), report.overall.get(outcome)
    mistake = ""
    if report.term is None or report.term.id != term or attained is None:
        mistake = "There is no figure for this outcome in this term. Choose another outcome."
    elif day is None:
        mistake = "By when is not a date. Write it like 2026-11-23."
    elif not all(typed.values()):
        mistake = "An action needs a finding, what is done, and by whom. Enter all three."
    if mistake or day is None or attained is None:
        return _page(request, report, now, typed, mistake)
    row = OutcomeAction(
        course_id=course_id,
        term_id=term,
        students=attained.students,
        reached=attained.reached,
        share=attained.target.share,
        by_id=visitor.id,
        at=now,
        **{**typed, "due": day},
    )
    with database.write() as session:
        store_action(session, row)
        note(session, now, visitor.id, Action.CHANGED_OUTCOMES, detail=f"action on {outcome}")
    return RedirectResponse(f"/reports/{course_id}/actions?term={term}", 303)


@router.post("/reports/{course_id}/actions/{action_id}")
def change_action(
    request: Request,
    course_id: int,
    action_id: int,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    visitor: VisitorHere,
    now: Now,
    result: Text = "",
    result_term: Annotated[int, Form()] = 0,
) -> Response:
    """Note what came of an action in a later term; without a result it is open again."""
    mistake, result = "", result.strip()
    with database.write() as session:
        found, term = find_action(session, course_id, action_id), find_term(session, result_term)
        if found is None:
            return error(request, 404, "There is no such action. Go back to the list.")
        if not result:
            reopen_action(session, found)
        elif term is None:
            mistake = "There is no such term. Choose one of the list."
        else:
            mistake = close_action(session, found, result, term, by_id=visitor.id, now=now)
        if not mistake:
            detail = f"{'result' if result else 'reopened'}: {found.outcome}"
            note(session, now, visitor.id, Action.CHANGED_OUTCOMES, detail=detail)
            return RedirectResponse(f"/reports/{course_id}/actions?term={found.term_id}", 303)
    with database.read() as session:
        report = read_report(session, catalogue, course_id, None, closer=False)
    return _page(request, report, now, {"action_id": action_id, "result": result}, mistake)


def _page(
    request: Request,
    report: Report,
    now: datetime,
    typed: Mapping[str, object],
    mistake: str = "",
) -> Response:
    return page(
        request,
        "reports/actions.html",
        422 if mistake else 200,
        report=report,
        course=report.course,
        term=report.term,
        today=now.date(),
        tables=ReportTable,
        typed=typed,
        mistake=mistake,
    )


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
