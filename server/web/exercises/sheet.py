"""The exercise as a lab sheet: statement, requirements, points, the program, submitting."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.ladder.points import PointDeclaration
from server.marking.presentation.scenario_words import scenario_words
from server.store.allowances import allowance_of
from server.store.programs import working_copy
from server.store.sittings import seconds_left, sitting_of
from server.store.submissions import attempts_of
from server.web.access import VisitorHere
from server.web.dependencies import Now, Reading
from server.web.editor.actions import editor_context
from server.web.editor.sheets import SheetsHere
from server.web.rendering import environment, page
from server.web.trial.page import own_run_context
from server.web.workplace import WorkplaceHere

router = APIRouter()


@router.get("/assignments/{assignment_id}")
def exercise(
    request: Request,
    here: WorkplaceHere,
    session: Reading,
    visitor: VisitorHere,
    sheets: SheetsHere,
    now: Now,
) -> Response:
    """Show the sheet, with the plant in its margin.

    Of the scenarios only the open ones leave the server.
    """
    copy = working_copy(session, here.assignment, visitor.id, here.start)
    run = own_run_context(session, here, visitor)
    sits = here.assignment.is_supervised and not run["teaches"]
    sitting = sitting_of(session, here.assignment.id, visitor.id) if sits else None
    return page(
        request,
        "exercises/exercise.html",
        scenarios=[
            (scenario, scenario_words(scenario))
            for scenario in here.exercise.scenarios
            if scenario.open
        ],
        attempts=attempts_of(session, here.assignment, visitor.id),
        allowance=allowance_of(session, here.assignment, visitor.id),
        sitting=sitting,
        seconds_left=seconds_left(sitting, now) if sitting else 0,
        exchanges=not sits,
        now=now,
        **(run | editor_context(here, copy, sheets.find(here, visitor.id, copy))),
    )


def resting(point: PointDeclaration) -> str:
    """Return the signal of a point at rest, as a word."""
    if point.resting is None:
        return "–"
    if point.type == "BOOL":
        return "ON" if point.resting else "OFF"
    return str(point.resting)


environment.filters["resting"] = resting
