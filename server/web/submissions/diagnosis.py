"""How far a submitted program is from right, and which rung is at fault: for teaching staff only.

It is worked out when it is asked for, since hundreds of near programs may have to be tried.
"""

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.ladder.json_form import from_json
from server.marking.faults.diagnosis import Diagnosis, diagnose
from server.marking.verdict_form import from_json as verdict_from_json
from server.store.submissions import find_submission
from server.web.dependencies import CatalogueHere, DatabaseHere
from server.web.one_look import OneLook
from server.web.rendering import error, fragment, page, wants_fragment
from server.web.workplace import exercise_of

router = APIRouter()

MOST_TRIED = 600
"""Near programs that are tried while somebody waits: some seconds."""


@router.get("/submissions/{submission_id}/diagnosis", dependencies=[OneLook])
def diagnosis(
    request: Request, submission_id: int, database: DatabaseHere, catalogue: CatalogueHere
) -> Response:
    """Show the nearest right program and the suspected rungs.

    No lock is held while they are sought.
    """
    with database.read() as session:
        submission = find_submission(session, submission_id)
        if submission is None or submission.verdict is None:
            return error(request, 404, "This submission has no verdict yet.")
        exercise = exercise_of(catalogue, submission.assignment, submission.seed)
        program = from_json(submission.program)
        verdict = verdict_from_json(submission.verdict.document)
    found: Diagnosis = diagnose(exercise, program, verdict, most=MOST_TRIED)
    shown: dict[str, Any] = {"diagnosis": found, "submission": submission, "tried": MOST_TRIED}
    if wants_fragment(request):
        return fragment(request, "submissions/_diagnosis.html", **shown)
    return page(request, "submissions/diagnosis.html", **shown)
