"""The author's page: one sheet that edits the same texts as the files of an exercise.

A change is kept as it was typed, right or wrong, and the whole sheet is answered; faults stand at
their fields. After each change the exercise is looked into in the background.
"""

import re
from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Form, HTTPException, Request, UploadFile
from markupsafe import Markup
from pydantic import ValidationError
from sqlalchemy.orm import Session
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, RedirectResponse, Response

from server.jobs.draft_checker import DraftChecker
from server.jobs.draft_reader import DraftReader
from server.jobs.published import draft_of
from server.ladder.json_form import from_json, to_json
from server.ladder.text_form import print_program
from server.marking.authoring.yaml_edit import set_value
from server.marking.files.catalogue import SANDBOX_PREFIX, Catalogue, start_program
from server.marking.files.drafts import Draft, DraftReading, new_text, numbers_of
from server.marking.files.exercise_file import SLUG, exercise_schema
from server.marking.files.exercise_zip import from_zip, to_zip
from server.marking.files.placeholders import fill
from server.marking.presentation.scenario_text import scenario_text
from server.marking.trial.trial import TrialRun
from server.marking.trial.trial_form import from_json as recorded_from_json
from server.plant.devices import KINDS
from server.store.author_sandbox import find_sandbox_assignment, sandbox_assignment
from server.store.authored import (
    AuthoredExercise,
    LifeState,
    authored_by,
    begin,
    find_authored,
    newest_version,
    published_exercises,
    save_draft,
    versions_of,
)
from server.store.database import Database
from server.store.outcomes import catalogue_now
from server.store.programs import save_program, working_copy
from server.store.trials import LATEST, find_trial, save_trial
from server.web.access import Visitor, VisitorHere
from server.web.authoring.changes import ChangeRefused, DraftChange, Offered, changed
from server.web.authoring.helps import field_helps
from server.web.authoring.view import CHECK_MENU, PLANT_KEYS, TEMPLATE_NAMES, sheet_view
from server.web.dependencies import (
    CatalogueHere,
    DatabaseHere,
    Now,
    Reading,
)
from server.web.help.guides import section_address
from server.web.one_look import OneLook
from server.web.rendering import environment, error, fragment, page
from server.web.workplace import Workplace

router = APIRouter()

STALE = (
    "The exercise was changed in another window since you opened this one, so this change was not "
    "kept. What you typed is still here; copy it, then reload the page."
)
HEAVY = "The exercise takes too long to read. Make its text smaller in the text view first."
FAULTY = "The exercise still has faults. Fix the ones shown at their fields first."


async def draft_checker(connection: HTTPConnection) -> DraftChecker:
    found: DraftChecker = connection.app.state.draft_checker
    return found


async def drafts(connection: HTTPConnection) -> DraftReader:
    found: DraftReader = connection.app.state.drafts
    return found


DraftsHere = Annotated[DraftReader, Depends(drafts)]
DraftCheckerHere = Annotated[DraftChecker, Depends(draft_checker)]


def row_here(session: Session, authored_id: int) -> AuthoredExercise:
    row = find_authored(session, authored_id)
    assert row is not None, "the access rule has found it"
    return row


# -- the list -----------------------------------------------------------------------------------


@router.get("/authoring")
def authored_list(
    request: Request, session: Reading, visitor: VisitorHere, catalogue: CatalogueHere
) -> Response:
    """One's own exercises, and those that can be copied."""
    return _list(request, session, visitor, catalogue)


def _list(
    request: Request,
    session: Session,
    visitor: Visitor,
    catalogue: Catalogue,
    refused: str = "",
    status: int = 200,
    title: str = "",
    source: str = "",
) -> Response:
    """Return the list; after a refusal it says why, and what was typed stands in its fields."""
    return page(
        request,
        "authoring/list.html",
        status,
        own=authored_by(session, visitor.id),
        published=published_exercises(session),
        shipped=catalogue.shipped(),
        refused=refused,
        title=title,
        source=source,
    )


@router.post("/authoring")
def begin_exercise(
    request: Request,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    catalogue: CatalogueHere,
    now: Now,
    title: Annotated[str, Form(max_length=200)] = "",
    slug: Annotated[str, Form(max_length=80)] = "",
    source: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    """Begin a draft, empty or copied from an exercise that is published or shipped."""
    slug = slug.strip() or "-".join(
        "".join(c if c.isalnum() else " " for c in title.lower()).split()
    )
    if SLUG.fullmatch(slug) is None or not slug.isascii():
        sentence = f"{slug[:80]!r} is no name of an exercise. Use a to z, digits and '-'."
        return _list(request, session, visitor, catalogue, sentence, 422, title, source)
    draft = Draft(slug, new_text(slug, title.strip() or slug), {})
    if source:
        found = _source(session, catalogue, source)
        text = set_value(found.text, ("exercise",), slug)
        text = set_value(set_value(text, ("version",), 1), ("title",), title.strip() or slug)
        draft = Draft(slug, text, found.programs)
    begun = _begun(database, visitor, catalogue, draft, title.strip() or slug, now)
    if isinstance(begun, str):
        return _list(request, session, visitor, catalogue, begun, 409, title, source)
    return begun


@router.post("/authoring/import", dependencies=[OneLook])
def import_exercise(
    request: Request,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    catalogue: CatalogueHere,
    drafts: DraftsHere,
    now: Now,
    archive: Annotated[UploadFile, File()],
) -> Response:
    """Begin a draft from a zip."""
    try:
        draft = from_zip(archive.file.read())
    except ValueError as refused:
        return _list(request, session, visitor, catalogue, str(refused), 422)
    data = drafts.read(draft).data or {}
    title = str(data.get("title") or draft.slug)
    begun = _begun(database, visitor, catalogue, draft, title, now)
    if isinstance(begun, str):
        return _list(request, session, visitor, catalogue, begun, 409)
    return begun


def _begun(
    database: Database,
    visitor: Visitor,
    catalogue: Catalogue,
    draft: Draft,
    title: str,
    now: datetime,
) -> Response | str:
    """To the sheet of a new draft, or a sentence that says why there is none."""
    taken = f"There is an exercise called {draft.slug} already. Choose another name."
    if catalogue.ships(draft.slug):
        return taken
    with database.write() as session:
        row = begin(session, visitor.id, draft.slug, title, draft.text, draft.programs, now)
    if row is None:
        return taken
    return RedirectResponse(f"/authoring/{row.id}", 303)


def _source(session: Session, catalogue: Catalogue, slug: str) -> Draft:
    version = newest_version(session, slug)
    if version is not None:
        return Draft(slug, version.text, dict(version.programs))
    if SLUG.fullmatch(slug) and catalogue.ships(slug):
        return catalogue.source(slug)
    raise HTTPException(404)


# -- the sheet ----------------------------------------------------------------------------------


@router.get("/authoring/{authored_id}")
def author_sheet(
    request: Request,
    authored_id: int,
    session: Reading,
    draft_checker: DraftCheckerHere,
    drafts: DraftsHere,
) -> Response:
    row = row_here(session, authored_id)
    if row.findings_of != row.revision or not row.findings.get("complete"):
        draft_checker.look(row.id, row.revision)
    return page(
        request,
        "authoring/sheet.html",
        helps=field_helps(),
        **_context(session, row, drafts.read(draft_of(row))),
    )


@router.post("/authoring/{authored_id}/change")
def change_exercise(
    request: Request,
    authored_id: int,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    draft_checker: DraftCheckerHere,
    catalogue: CatalogueHere,
    drafts: DraftsHere,
    now: Now,
    change: Annotated[str, Form(max_length=400_000)],
    revision: Annotated[int, Form()],
) -> Response:
    """Do one change, or say why not: all of it is kept, or nothing."""
    row = row_here(session, authored_id)
    try:
        asked = DraftChange.model_validate_json(change)
    except ValidationError:
        return error(request, 422, "The change can't be read. Reload the page and try again.")
    if row.revision != revision:
        return error(request, 409, STALE)
    if drafts.is_heavy(draft_of(row)):
        return error(request, 422, HEAVY)
    try:
        after = changed(draft_of(row), asked, _offered(session, row, visitor, catalogue))
    except ChangeRefused as refused:
        return error(request, 422, str(refused))
    reading = drafts.read(after)
    saved = _saved(database, row.id, after, reading, revision, now)
    if saved is None:
        return error(request, 409, STALE)
    draft_checker.look(row.id, saved.revision)
    return fragment(request, "authoring/_sheet.html", **_context(session, saved, reading))


def _saved(
    database: Database,
    authored_id: int,
    draft: Draft,
    reading: DraftReading,
    revision: int,
    now: datetime,
) -> AuthoredExercise | None:
    """Keep a draft that has been read before: nothing else happens while other writers wait."""
    title = str((reading.data or {}).get("title") or draft.slug)
    texts = draft.text, draft.programs
    with database.write() as session:
        return save_draft(session, authored_id, *texts, title=title, revision=revision, now=now)


@router.get("/authoring/{authored_id}/findings")
def findings(request: Request, authored_id: int, session: Reading, drafts: DraftsHere) -> Response:
    """Show what has been found so far; asked for until the look is complete."""
    row = row_here(session, authored_id)
    return fragment(request, "authoring/_findings.html", **_found(row, drafts.read(draft_of(row))))


@router.get("/authoring/{authored_id}/text")
def exercise_as_text(
    request: Request, authored_id: int, session: Reading, drafts: DraftsHere
) -> Response:
    """Show the file itself, with every fault as line:column."""
    row = row_here(session, authored_id)
    return page(request, "authoring/text.html", row=row, reading=drafts.read(draft_of(row)))


@router.post("/authoring/{authored_id}/text")
def save_text(
    request: Request,
    authored_id: int,
    session: Reading,
    database: DatabaseHere,
    draft_checker: DraftCheckerHere,
    drafts: DraftsHere,
    now: Now,
    revision: Annotated[int, Form()],
    text: Annotated[str, Form(max_length=1_000_000)] = "",
) -> Response:
    """Keep the text, whatever is wrong with it."""
    row = row_here(session, authored_id)
    draft = Draft(row.slug, text.replace("\r\n", "\n"), dict(row.programs))
    reading = drafts.read(draft)
    saved = _saved(database, row.id, draft, reading, revision, now)
    if saved is None:
        return page(
            request, "authoring/text.html", 409, row=row, reading=reading, typed=text, notice=STALE
        )
    draft_checker.look(saved.id, saved.revision)
    return page(request, "authoring/text.html", row=saved, reading=reading)


@router.post("/authoring/{authored_id}/statement")
def preview_statement(
    request: Request,
    authored_id: int,
    session: Reading,
    drafts: DraftsHere,
    statement: Annotated[str, Form(max_length=20_000)] = "",
) -> Response:
    """Show the statement as students will read it, with middle numbers; nothing is stored."""
    draft = draft_of(row_here(session, authored_id))
    if drafts.is_heavy(draft):
        return error(request, 422, HEAVY)
    numbers = numbers_of(draft)
    return fragment(request, "authoring/_statement.html", statement=fill(statement, numbers).text)


@router.get("/authoring/{authored_id}/zip")
def export_exercise(authored_id: int, session: Reading) -> Response:
    row = row_here(session, authored_id)
    name = f'attachment; filename="{row.slug}.zip"'
    return Response(
        to_zip(draft_of(row)),
        media_type="application/zip",
        headers={"Content-Disposition": name},
    )


@router.get("/exercise-schema.json")
def published_schema() -> Response:
    """Show the JSON schema of exercise.yaml, for editors that check while one types."""
    return JSONResponse(exercise_schema())


# -- the bench ----------------------------------------------------------------------------------


@router.post("/authoring/{authored_id}/bench")
def open_bench(
    request: Request,
    authored_id: int,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    drafts: DraftsHere,
    now: Now,
    program: Annotated[str, Form(max_length=80)] = "",
    trial: Annotated[bool, Form()] = False,
    finding: Annotated[int, Form()] = -1,
) -> Response:
    """Show the draft as a student has it, with a reference program or the run of a finding."""
    row = row_here(session, authored_id)
    draft = draft_of(row)
    reading = drafts.read(draft)
    if reading.exercise is None:
        return error(request, 422, FAULTY)
    found = next((p.program for p in reading.programs if p.file.name == program), None)
    if program and found is None:
        return error(request, 422, f"The program {program} still has faults. Fix its text first.")
    start = to_json(start_program(reading.exercise))
    shown = to_json(found) if found is not None else None
    run = _finding(row, finding).get("run")
    if run:
        shown = run["program"]
    with database.write() as writing:
        assignment = sandbox_assignment(
            writing, visitor.id, SANDBOX_PREFIX + row.slug, row.title, now
        )
        if shown is not None:
            revision = working_copy(writing, assignment, visitor.id, start).revision
            save_program(
                writing, assignment, visitor.id, shown, revision=revision, start=start, now=now
            )
        if run:
            save_trial(writing, assignment.id, visitor.id, LATEST, run, scans=run["scans"], now=now)
    address = f"/assignments/{assignment.id}"
    return RedirectResponse(f"{address}/trial" if trial or run else address, 303)


def _finding(row: AuthoredExercise, number: int) -> Mapping[str, Any]:
    """Return the finding with this number; empty where there is none."""
    found = row.findings.get("findings", [])
    return dict(found[number]) if 0 <= number < len(found) else {}


def _offered(
    session: Session,
    row: AuthoredExercise,
    visitor: Visitor,
    catalogue: Catalogue,
) -> Offered:
    def recorded() -> str:
        exercise = catalogue.find(SANDBOX_PREFIX + row.slug)
        assignment = find_sandbox_assignment(session, visitor.id, SANDBOX_PREFIX + row.slug)
        saved = find_trial(session, assignment.id, visitor.id, LATEST) if assignment else None
        if exercise is None or saved is None:
            raise ChangeRefused("Nothing is recorded yet. Operate the draft in a trial run first.")
        run = TrialRun.load(exercise, recorded_from_json(saved.run))
        while run.to_come:
            run.step(run.to_come)
        return scenario_text(run.scenario("Recorded"), exercise)

    def program() -> str:
        exercise = catalogue.find(SANDBOX_PREFIX + row.slug)
        if exercise is None:
            raise ChangeRefused(FAULTY)
        assignment = find_sandbox_assignment(session, visitor.id, SANDBOX_PREFIX + row.slug)
        if assignment is None:
            raise ChangeRefused("There is no program in the preview yet. Build one there first.")
        start = Workplace(assignment, exercise).start
        return print_program(
            from_json(working_copy(session, assignment, visitor.id, start).program)
        )

    def outcome(version: str) -> tuple[str, str] | None:
        found = (each for each in catalogue_now(session) if str(each.id) == version)
        return next(((each.outcome, each.statement) for each in found), None)

    return Offered(partial(_finding, row), recorded, program, outcome)


# -- what the templates need --------------------------------------------------------------------


def _context(session: Session, row: AuthoredExercise, reading: DraftReading) -> dict[str, Any]:
    draft = draft_of(row)
    readable = reading.data is not None
    return {
        "sheet": sheet_view(draft, reading) if readable else None,
        "kinds": list(KINDS),
        "patterns": CHECK_MENU,
        "templates": TEMPLATE_NAMES,
        "plant_keys": PLANT_KEYS,
        "programs": _programs(draft, reading),
        "versions": versions_of(session, row.id),
        "outcomes": catalogue_now(session),
        **_found(row, reading),
    }


def _programs(draft: Draft, reading: DraftReading) -> list[tuple[str, str, list[str]]]:
    """Name, text and faults of each reference program."""
    return [
        (name, text, [str(fault) for other, fault in reading.program_faults if other == name])
        for name, text in sorted(draft.programs.items())
    ]


def _found(row: AuthoredExercise, reading: DraftReading) -> dict[str, Any]:
    fresh = row.findings_of == row.revision
    found = row.findings if fresh else {}
    listed = [
        # A finding that was stored by an earlier version has no run.
        {"run": {}, **each, "number": number, "drawing": Markup(each["drawing"])}
        for number, each in enumerate(found.get("findings", []))
    ]
    return {
        "row": row,
        "reading": reading,
        "found": found,
        "findings": listed,
        "complete": bool(found.get("complete")),
        "retired": row.state is LifeState.RETIRED,
    }


def as_id(text: str) -> str:
    """Return a text as an id that a selector can name: letters, digits and '-'."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")


environment.filters["as_id"] = as_id
environment.filters["as_section"] = section_address
