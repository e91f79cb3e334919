"""The life of an exercise: published, set for a section, changed, retired.

A change after publishing is compared first: the page shows whose verdicts it would change, and
only then is it applied. Points fall only where the instructor says so.
"""

from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request
from starlette.requests import HTTPConnection
from starlette.responses import RedirectResponse, Response

from server.jobs.published import draft_of
from server.jobs.regrader import Regrader
from server.marking.authoring.yaml_edit import set_value
from server.marking.files.catalogue import Drawable
from server.marking.files.document import read_document
from server.store.assignment_policy import Policy
from server.store.assignment_policy import set_exercise as store_assignment
from server.store.authored import (
    AuthoredExercise,
    LifeState,
    publish,
    retire,
    save_draft,
    versions_of,
)
from server.store.courses import assignments_of, instructed_sections
from server.store.people import names_of
from server.store.regrades import marked_submissions
from server.web.access import VisitorHere, ZoneHere
from server.web.assignments.policy import end_of_day, read_moment
from server.web.authoring.sheet import DraftsHere, row_here
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading, Writing
from server.web.one_look import OneLook
from server.web.rendering import error, fragment, wants_fragment

router = APIRouter()

MIN_REASON = 10
LONGEST_LIST = 200
CHANGED = "The exercise was changed meanwhile. Reload the page and look again."


async def regrader(connection: HTTPConnection) -> Regrader:
    found: Regrader = connection.app.state.regrader
    return found


RegraderHere = Annotated[Regrader, Depends(regrader)]


@router.get("/authoring/{authored_id}/life")
def life(
    request: Request,
    authored_id: int,
    session: Reading,
    visitor: VisitorHere,
    regrader: RegraderHere,
    zone: ZoneHere,
    now: Now,
) -> Response:
    """Versions, what a new one would change, and where the exercise is set."""
    row = row_here(session, authored_id)
    comparison = regrader.find(row.slug, row.revision)
    sections = instructed_sections(session, visitor.id, archived=True)
    set_for = [
        a for a in assignments_of(session, [s.id for s in sections]) if a.exercise == row.slug
    ]
    taken = {a.section_id for a in set_for}
    versions = versions_of(session, row.id)
    changes = list(comparison.changes)[:LONGEST_LIST] if comparison else []
    names = names_of(session, {change.marked.user_id for change in changes})
    return fragment(
        request,
        "authoring/_life.html",
        row=row,
        versions=versions,
        changed=not versions or versions[0].text != row.text,
        comparison=comparison,
        changes=changes,
        names=names,
        falling=sum(change.falls for change in comparison.changes) if comparison else 0,
        submissions=len(marked_submissions(session, row.slug)) if versions else 0,
        open_findings=_open_findings(row.findings) if row.findings_of == row.revision else None,
        complete=row.findings_of == row.revision and bool(row.findings.get("complete")),
        sections=[s for s in sections if s.id not in taken and not s.is_archived],
        set_for=set_for,
        due=now.astimezone(zone).date() + timedelta(days=14),
    )


def _open_findings(findings: dict[str, Any]) -> int:
    return len(findings.get("findings", []))


@router.post("/authoring/{authored_id}/compare", dependencies=[OneLook])
def compare_version(
    request: Request,
    authored_id: int,
    session: Reading,
    regrader: RegraderHere,
    drafts: DraftsHere,
) -> Response:
    """Begin to see what publishing would change."""
    row = row_here(session, authored_id)
    if drafts.read(draft_of(row)).exercise is None:
        return error(request, 422, "The exercise still has faults. Fix them first.")
    document = read_document(row.slug, row.text.encode())
    regrader.compare(
        row.slug, row.revision, Drawable(document, row.slug, draft_of(row).programs).exercise
    )
    return RedirectResponse(f"/authoring/{authored_id}#life", 303)


@router.post("/authoring/{authored_id}/publish")
def publish_exercise(
    request: Request,
    authored_id: int,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    regrader: RegraderHere,
    drafts: DraftsHere,
    now: Now,
    revision: Annotated[int, Form()],
    reason: Annotated[str, Form(max_length=1000)] = "",
    may_fall: Annotated[bool, Form()] = False,
) -> Response:
    """Publish the texts as they are, once what they change has been seen."""
    with database.read() as session:
        row = row_here(session, authored_id)
        versions = versions_of(session, row.id)
    if row.revision != revision:
        return error(request, 409, CHANGED)
    # Writers wait for each other, so that the texts are read before.
    if not drafts.read(draft_of(row)).sound:
        return error(request, 422, "The exercise still has faults. Fix them first.")
    number = versions[0].version + 1 if versions else 1
    text = set_value(row.text, ("version",), number)
    with database.write() as session:
        row = row_here(session, authored_id)
        versions = versions_of(session, row.id)
        if row.revision != revision or (versions and versions[0].version >= number):
            return error(request, 409, CHANGED)
        open_findings = _open_findings(row.findings)
        comparison = regrader.find(row.slug, row.revision)
        seen = comparison is not None and comparison.complete
        refused = _unfinished(row, reason)
        if refused is not None:
            return error(request, *refused)
        if not seen and versions and marked_submissions(session, row.slug):
            return error(request, 409, "First see whose verdicts change, then publish it.")
        found = row.findings
        saved = save_draft(
            session, row.id, text, row.programs, title=row.title, revision=revision, now=now
        )
        assert saved is not None, "the revision has been compared"
        # Nothing but the number has changed, so what was found still holds.
        saved.findings, saved.findings_of = found, saved.revision
        publish(session, saved, number, now, reason=reason.strip(), open_findings=open_findings)
        slug = row.slug
    if comparison is not None:
        exercise = catalogue.find(slug)
        assert exercise is not None, "a published exercise is sound"
        regrader.apply(slug, comparison, now, may_fall=may_fall)
    if wants_fragment(request):
        return Response(status_code=204, headers={"HX-Refresh": "true"})
    return RedirectResponse(f"/authoring/{authored_id}#life", 303)


def _unfinished(row: AuthoredExercise, reason: str) -> tuple[int, str] | None:
    """Return the status and the sentence for a draft that is still checked or has findings."""
    if row.findings_of != row.revision or not row.findings.get("complete"):
        return 409, "The exercise is still being checked. Publish it when the check has finished."
    open_findings = _open_findings(row.findings)
    if open_findings and len(reason.strip()) < MIN_REASON:
        return 422, (
            f"{open_findings} findings are open. Fix them, or write in a sentence why the "
            "exercise is published in spite of them."
        )
    return None


@router.post("/authoring/{authored_id}/retire")
def retire_exercise(authored_id: int, session: Writing) -> Response:
    """Let it be set no more."""
    retire(session, row_here(session, authored_id))
    return RedirectResponse(f"/authoring/{authored_id}#life", 303)


@router.post("/authoring/{authored_id}/set")
def set_exercise(
    request: Request,
    authored_id: int,
    session: Writing,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
    section: Annotated[int, Form()],
    due: Annotated[date, Form()],
) -> Response:
    """Set a published exercise for a section that one instructs."""
    row = row_here(session, authored_id)
    if row.state is not LifeState.PUBLISHED:
        return error(request, 409, "Only a published exercise can be set. Publish it first.")
    if section not in {each.id for each in instructed_sections(session, visitor.id)}:
        return error(request, 404, "You don't teach this section.")
    due_at = read_moment(end_of_day(due), zone)
    if isinstance(due_at, str):
        return error(request, 422, due_at)
    if due_at < now:
        return error(request, 422, "The due date lies in the past. Choose a later one.")
    policy = Policy(opens_at=now, due_at=due_at)
    added = store_assignment(
        session, section, row.slug, row.title, policy, by_id=visitor.id, now=now
    )
    if added is None:
        return error(request, 409, "The exercise is set for this section already.")
    return RedirectResponse(f"/authoring/{authored_id}#life", 303)
