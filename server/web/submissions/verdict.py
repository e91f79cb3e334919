"""Handing in a program, and the verdict on it.

What a student sees of a verdict is built here, field by field, from what the feedback policies
release; the template never holds the rest.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from markupsafe import Markup
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from server.jobs.queue import Queue
from server.jobs.worker import Worker
from server.ladder.json_form import from_json
from server.ladder.validation import errors
from server.marking.exercise import Exercise
from server.marking.presentation.timing_chart import ChartRow, chart_rows, draw_chart
from server.marking.verdict import (
    Evidence,
    RequirementVerdict,
    SharedCause,
    Status,
    Verdict,
)
from server.marking.verdict_form import from_json as verdict_from_json
from server.store.allowances import allowance_of
from server.store.attempts import ResultByHand, Submission
from server.store.courses import TEACHING, Feedback, role_in_section
from server.store.database import Database
from server.store.grading_queue import Waiting
from server.store.hand_marks import results_by_hand
from server.store.people import Role
from server.store.programs import working_copy
from server.store.regrades import change_is_unseen, earlier_verdicts, mark_seen
from server.store.submissions import Refusal, attempts_of, find_submission, is_queued
from server.store.submissions import submit as store_submission
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import (
    CatalogueHere,
    DatabaseHere,
    Now,
    Reading,
    WorkerHere,
    release_connection,
)
from server.web.editor.rungs import drawn_rungs
from server.web.gradebook.grading import grading_context
from server.web.rendering import error, fragment, page, wants_fragment
from server.web.submissions import waiting
from server.web.submissions.release import may_see_it_happen, released
from server.web.submissions.waiting import Held, wait_until_marked
from server.web.workplace import Workplace, WorkplaceHere, exercise_of

router = APIRouter()

PATIENCE_SECONDS = 2.0
"""How long the answer to a submission waits for the verdict before it shows progress instead."""

EMPTY = "There is no rung to mark yet. Build the program in section 5, then submit it."


@dataclass(frozen=True, slots=True)
class RequirementRow:
    """One requirement as this visitor may see it; what is not released is None or empty."""

    id: str
    text: str
    status: Status
    score: float
    max_score: float
    known_by: str
    sentence: str
    covers: str
    not_proved: str
    scenario: str
    causes: tuple[str, ...]
    steps: tuple[str, ...]
    happens: bool
    chart: Markup | None
    changes: tuple[ChartRow, ...]
    by_hand: ResultByHand | None
    marked_status: Status


@dataclass(frozen=True, slots=True)
class RowGroup:
    """Requirements that stand together on the page, with the cause that they share, if any."""

    cause: SharedCause | None
    rows: list[RequirementRow]


@router.post("/assignments/{assignment_id}/submissions")
async def submit(
    request: Request,
    here: WorkplaceHere,
    visitor: VisitorHere,
    database: DatabaseHere,
    worker: WorkerHere,
    now: Now,
    revision: Annotated[int, Form()] = 0,
) -> Response:
    """Take the working program as the next attempt; it is said only once it is stored."""
    taken = await run_in_threadpool(_take, request, here, visitor, database, worker, now, revision)
    if isinstance(taken, Response):
        return taken
    with worker.verdicts.awaited(taken) as arrival:
        worker.begin(taken)
        await wait_until_marked(request, arrival, PATIENCE_SECONDS)
    address = f"/submissions/{taken}"
    if wants_fragment(request):
        return Response(status_code=204, headers={"HX-Redirect": address})
    return RedirectResponse(address, 303)


def _take(
    request: Request,
    here: Workplace,
    visitor: Visitor,
    database: Database,
    worker: Worker | Queue,
    now: datetime,
    revision: int,
) -> int | Response:
    """Return the id of the stored submission, or the answer that says why there is none."""
    with database.read() as session:
        copy = working_copy(session, here.assignment, visitor.id, here.start)
    if copy.revision != revision:
        return _refused(request, 409, Refusal.STALE.value)
    program = from_json(copy.program)
    if not program.rungs:
        return _refused(request, 422, EMPTY)
    if faults := errors(program):
        return _refused(request, 422, _cannot_run([str(fault) for fault in faults]))
    # Writers wait for each other, so that the look at the program comes before.
    with database.write() as session:
        taken = store_submission(
            session, here.assignment, visitor.id, copy.program, now, revision=revision
        )
        if isinstance(taken, Refusal):
            return _refused(request, 409, taken.value)
        worker.enqueue(session, taken.id)
    return taken.id


@router.get("/submissions/{submission_id}")
def verdict(
    request: Request,
    submission_id: int,
    session: Reading,
    visitor: VisitorHere,
    database: DatabaseHere,
    catalogue: CatalogueHere,
    worker: WorkerHere,
    now: Now,
    queue: Waiting | None = None,
) -> Response:
    """Show the verdict on one attempt, or how far its marking is.

    ``queue`` is that of the grader who goes through a section's submissions.
    """
    submission = _submission(session, submission_id)
    earlier = earlier_verdicts(session, submission.id)
    if earlier and change_is_unseen(session, submission_id, visitor.id):
        with database.write() as writing:
            mark_seen(writing, submission_id, visitor.id)
    assignment = submission.assignment
    exercise = exercise_of(catalogue, assignment, submission.seed)
    teaching = (role := role_in_section(session, visitor.id, assignment.section_id)) in TEACHING
    level = Feedback.CHART if teaching else released(assignment, exercise, submission.attempt, now)
    stored = submission.verdict
    found = verdict_from_json(stored.document) if stored else None
    attempts = attempts_of(session, assignment, submission.user_id)
    by_hand = results_by_hand(session, submission_id)
    graders = grading_context(session, submission, visitor.id, queue, role)
    allowance = allowance_of(session, assignment, submission.user_id)
    # All is read; the page is drawn without a connection.
    release_connection(session)
    rows = _rows(exercise, found, level, by_hand, teaching=teaching)
    causes = found.causes if found and level is not Feedback.VERDICT else ()
    return page(
        request,
        "submissions/verdict.html",
        submission=submission,
        failed=stored is None and worker.has_failed(submission.id),
        assignment=assignment,
        exercise=exercise,
        verdict=found,
        teaching=teaching,
        level=level,
        rows=rows,
        groups=list(_groups(rows, causes)),
        causes=causes,
        may_author=visitor.role is Role.INSTRUCTOR,
        second_look=[
            (each, _chart(each.evidence, f"{each.output} as it differs"))
            for each in (found.second_look if found and teaching else ())
        ],
        rungs=drawn_rungs(from_json(submission.program)),
        earlier=earlier,
        attempts=attempts,
        allowance=allowance,
        **graders,
        can_see=submission.user_id == visitor.id
        and may_see_it_happen(Workplace(assignment, exercise), submission.attempt, now),
    )


@router.get("/submissions/{submission_id}/progress")
async def verdict_progress(
    request: Request,
    submission_id: int,
    visitor: VisitorHere,
    database: DatabaseHere,
    worker: WorkerHere,
) -> Response:
    """Answered once the submission is marked; without news after some time, to be asked again."""
    held: Held = request.app.state.held
    with worker.verdicts.awaited(submission_id) as arrival, held.one_more(visitor.id) as waits:
        news = await run_in_threadpool(_news, request, submission_id, database, worker)
        if news is None and waits:
            await wait_until_marked(request, arrival, waiting.HOLD_SECONDS)
            news = await run_in_threadpool(_news, request, submission_id, database, worker)
    return news or Response(status_code=204)


def _news(
    request: Request, submission_id: int, database: Database, worker: Worker | Queue
) -> Response | None:
    with database.read() as session:
        if not is_queued(session, submission_id):
            return Response(status_code=204, headers={"HX-Refresh": "true"})
    if not worker.has_failed(submission_id):
        return None
    with database.read() as session:
        submission = _submission(session, submission_id)
        return fragment(request, "submissions/_progress.html", submission=submission, failed=True)


def _rows(
    exercise: Exercise,
    found: Verdict | None,
    level: Feedback,
    by_hand: Mapping[str, ResultByHand],
    *,
    teaching: bool,
) -> list[RequirementRow]:
    texts = {requirement.id: requirement.text for requirement in exercise.requirements}
    return [
        _row(each, texts.get(each.id, ""), level, by_hand.get(each.id), teaching=teaching)
        for each in (found.requirements if found else ())
    ]


_FAILURES_FIRST = (Status.NOT_MET, Status.NOT_EXERCISED, Status.MET)


def _groups(rows: list[RequirementRow], causes: tuple[SharedCause, ...]) -> Iterator[RowGroup]:
    """Yield the rows to be read: those of one cause together, then failures, then what is met."""
    left = list(rows)
    for cause in causes:
        shared = [r for r in left if r.id in cause.requirements and r.status is not Status.MET]
        left = [row for row in left if row not in shared]
        yield RowGroup(cause, sorted(shared, key=lambda row: _FAILURES_FIRST.index(row.status)))
    for status in _FAILURES_FIRST:
        if alike := [row for row in left if row.status is status]:
            yield RowGroup(None, alike)


def _row(
    found: RequirementVerdict,
    text: str,
    level: Feedback,
    by_hand: ResultByHand | None,
    *,
    teaching: bool,
) -> RequirementRow:
    says = level is not Feedback.VERDICT
    evidence = found.evidence if level is Feedback.CHART else None
    known_by = found.known_by if says or found.status is Status.MET else ""
    names_scenario = evidence is not None and (teaching or evidence.open)
    return RequirementRow(
        id=found.id,
        text=text,
        status=by_hand.status if by_hand else found.status,
        score=by_hand.share * found.max_score if by_hand else found.score,
        max_score=found.max_score,
        known_by="" if by_hand else known_by,
        sentence=found.sentence if says else "",
        covers=found.covers,
        not_proved=found.not_proved if teaching else "",
        scenario=evidence.scenario if evidence and names_scenario else "",
        causes=evidence.causes if evidence else (),
        steps=evidence.steps if evidence and teaching else (),
        happens=found.status is Status.NOT_MET and found.evidence is not None,
        chart=_chart(evidence, f"{found.id} around its first failure"),
        changes=chart_rows(evidence) if evidence else (),
        by_hand=by_hand,
        marked_status=found.status,
    )


def _chart(evidence: Evidence | None, name: str) -> Markup | None:
    if evidence is None or not evidence.lanes:
        return None
    return Markup(draw_chart(evidence, name))


def _submission(session: Session, submission_id: int) -> Submission:
    submission = find_submission(session, submission_id)
    assert submission is not None, "the access rule has found it"
    return submission


def _cannot_run(faults: list[str]) -> str:
    more = f" There are {len(faults) - 1} more." if len(faults) > 1 else ""
    return f"The program can't run yet, so no attempt was used. {faults[0]}{more}"


def _refused(request: Request, status: int, sentence: str) -> Response:
    if not wants_fragment(request):
        return error(request, status, sentence)
    return fragment(request, "submissions/_refused.html", status, sentence=sentence)
