"""From a second look to the exercise: what a teacher has decided becomes a change of a draft.

A program that is also right joins the reference programs, the run of a wrong one becomes a
scenario, and what the sheet leaves open an item under *Left to you*. Who does not own the exercise
gets a copy of it to change.
"""

from enum import StrEnum
from itertools import count
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.jobs.published import draft_of
from server.ladder.json_form import from_json
from server.ladder.text_form import print_program
from server.marking.authoring.yaml_edit import set_value
from server.marking.files.catalogue import Catalogue
from server.marking.files.drafts import Draft
from server.marking.verdict import Difference
from server.marking.verdict_form import from_json as verdict_from_json
from server.store import corrections
from server.store.attempts import Submission
from server.store.authored import (
    AuthoredExercise,
    authored_named,
    begin,
    newest_version,
    save_draft,
)
from server.store.submissions import find_submission
from server.web.access import Visitor, VisitorHere
from server.web.authoring.changes import ChangeRefused, DraftChange, Offered, changed
from server.web.authoring.sheet import STALE, DraftCheckerHere, DraftsHere
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading
from server.web.rendering import error

router = APIRouter()


class Decision(StrEnum):
    """What a teacher finds at the second look, as the buttons say it."""

    RIGHT = "Also right"
    WRONG = "Wrong"
    FREE = "Leave it free"


_ANCHORS = {Decision.RIGHT: "programs", Decision.WRONG: "scenarios", Decision.FREE: "free"}


@router.post("/submissions/{submission_id}/second-look/exercise")
def change_by_second_look(
    request: Request,
    submission_id: int,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    catalogue: CatalogueHere,
    drafts: DraftsHere,
    draft_checker: DraftCheckerHere,
    now: Now,
    decision: Annotated[Decision, Form()],
    number: Annotated[int, Form(ge=0, le=99)] = 0,
) -> Response:
    """Change the exercise, or one's copy of it, as decided on difference ``number`` (from 0)."""
    submission = find_submission(session, submission_id)
    if submission is None or submission.verdict is None:
        raise HTTPException(404)
    looked = verdict_from_json(submission.verdict.document).second_look
    if number >= len(looked):
        raise HTTPException(404)
    row, before = _own(session, submission.assignment.exercise, visitor, catalogue)
    try:
        draft = _changed(before, submission, looked[number], decision)
    except ChangeRefused as refused:
        return error(request, 422, str(refused))
    title = str((drafts.read(draft).data or {}).get("title") or draft.slug)
    texts = draft.text, draft.programs
    with database.write() as writing:
        if row is None:
            saved = begin(writing, visitor.id, draft.slug, title, *texts, now)
        else:
            saved = save_draft(writing, row.id, *texts, title=title, revision=row.revision, now=now)
        if saved is None:
            return error(request, 409, STALE)
        if decision is not Decision.WRONG:
            decided = find_submission(writing, submission_id)
            assert decided is not None, "it was read just now"
            corrections.keep_points(writing, decided, by_id=visitor.id, now=now)
    draft_checker.look(saved.id, saved.revision)
    return RedirectResponse(f"/authoring/{saved.id}#{_ANCHORS[decision]}", 303)


def _changed(
    draft: Draft, submission: Submission, difference: Difference, decision: Decision
) -> Draft:
    def finding(_: int) -> dict[str, object]:
        free = {"outputs": [difference.output], "when": "", "sentence": ""}
        return {"scenario": difference.scenario, "free": difference.output and free}

    def program() -> str:
        return print_program(from_json(submission.program))

    if decision is Decision.RIGHT and program() in draft.programs.values():
        # Decided twice, or by two who look at the same program.
        return draft
    names = (f"right-seen-{number}" for number in count(1))
    changes = {
        Decision.RIGHT: DraftChange(
            do="take program", value=next(n for n in names if f"{n}.st" not in draft.programs)
        ),
        Decision.WRONG: DraftChange(do="add offered", value="0"),
        Decision.FREE: DraftChange(do="free offered", value="0"),
    }
    return changed(draft, changes[decision], Offered(finding, program, program, lambda _: None))


def _own(
    session: Session, slug: str, visitor: Visitor, catalogue: Catalogue
) -> tuple[AuthoredExercise | None, Draft]:
    """Return the exercise, if the visitor owns it, else a copy of theirs: None for a new one."""
    row = authored_named(session, slug)
    if row is not None and row.owner_id == visitor.id:
        return row, draft_of(row)
    version = newest_version(session, slug)
    if version is not None:
        source = Draft(slug, version.text, dict(version.programs))
    elif catalogue.ships(slug):
        source = catalogue.source(slug)
    else:
        raise HTTPException(404)
    for number in count(2):
        name = f"{slug}-{number}"
        there = authored_named(session, name)
        if there is not None and there.owner_id == visitor.id:
            return there, draft_of(there)
        if there is None and not catalogue.ships(name):
            text = set_value(set_value(source.text, ("exercise",), name), ("version",), 1)
            return None, Draft(name, text, source.programs)
    raise AssertionError("some number is free")
