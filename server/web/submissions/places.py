"""Where in a submitted program the causes of its failures lead.

It is worked out when it is asked for, since many near programs may have to be tried.
"""

from collections import defaultdict
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.ladder.json_form import from_json
from server.marking.faults.places import find_places
from server.marking.verdict_form import from_json as verdict_from_json
from server.store.courses import TEACHING, Feedback, role_in_section
from server.store.submissions import find_submission
from server.web.access import VisitorHere
from server.web.dependencies import CatalogueHere, DatabaseHere, Now
from server.web.one_look import OneLook
from server.web.rendering import error, fragment, page, wants_fragment
from server.web.submissions.release import released
from server.web.workplace import exercise_of

router = APIRouter()


@router.get("/submissions/{submission_id}/places", dependencies=[OneLook])
def faulty_places(
    request: Request,
    submission_id: int,
    visitor: VisitorHere,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    now: Now,
) -> Response:
    """Show the places, each with its requirements, where the sentences are released, too.

    No lock is held while they are sought.
    """
    with database.read() as session:
        submission = find_submission(session, submission_id)
        if submission is None or submission.verdict is None:
            return error(request, 404, "This submission has no verdict yet.")
        assignment = submission.assignment
        exercise = exercise_of(catalogue, assignment, submission.seed)
        teaching = role_in_section(session, visitor.id, assignment.section_id) in TEACHING
        program = from_json(submission.program)
        verdict = verdict_from_json(submission.verdict.document)
    level = released(assignment, exercise, submission.attempt, now)
    if level is Feedback.VERDICT and not teaching:
        return error(request, 403, "What failed is not released for this attempt.")
    places: dict[tuple[str, int], list[str]] = defaultdict(list)
    for requirement, found in find_places(exercise, program, verdict).items():
        if found.rung is not None:
            places[found.describe(program), found.rung].append(requirement)
    shown: dict[str, Any] = {"places": places, "submission": submission}
    if wants_fragment(request):
        return fragment(request, "submissions/_places.html", **shown)
    return page(request, "submissions/places.html", **shown)
