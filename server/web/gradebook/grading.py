"""Grading by hand: the queue of a section, comments, results of single requirements."""

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import corrections, hand_marks
from server.store.attempts import Submission
from server.store.comment_snippets import add_snippet, remove_snippet, snippets_of
from server.store.courses import TEACHING, SectionRole
from server.store.grading_queue import Waiting, grading_queue, next_in_queue
from server.store.lti_outbox import queue_scores
from server.store.released_runs import released_runs
from server.store.standings import with_partners
from server.store.submissions import find_submission
from server.web.access import VisitorHere
from server.web.dependencies import Now, Reading, Writing
from server.web.gradebook.pages import section_here
from server.web.gradebook.points import NO_REASON, read_points
from server.web.rendering import error, page

router = APIRouter()

SHOWN = 30

Queue = Annotated[Waiting | None, Form()]


@router.get("/sections/{section_id}/grading")
def grading_page(
    request: Request,
    section_id: int,
    session: Reading,
    visitor: VisitorHere,
    now: Now,
    show: Waiting = Waiting.NEW,
) -> Response:
    """Show what waits for a grader in the section, and the grader's own snippets."""
    queue = grading_queue(session, section_id)
    return page(
        request,
        "gradebook/queue.html",
        section=section_here(session, section_id),
        counts={each: sum(each in work.waits for work in queue) for each in Waiting},
        rows=[work for work in queue if show in work.waits][:SHOWN],
        show=show,
        snippets=snippets_of(session, visitor.id),
        now=now,
    )


@router.post("/snippets/remove")
def delete_snippet(
    session: Writing,
    visitor: VisitorHere,
    which: Annotated[int, Form()] = 0,
    section: Annotated[int, Form()] = 0,
) -> Response:
    """Delete one of one's own snippets."""
    remove_snippet(session, visitor.id, which)
    return RedirectResponse(f"/sections/{section}/grading#snippets" if section else "/", 303)


@router.post("/submissions/{submission_id}/comments")
def comment_on_rung(
    request: Request,
    submission_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    rung: Annotated[str, Form(max_length=10)] = "",
    text: Annotated[str, Form(max_length=corrections.MAX_COMMENT)] = "",
    keep: Annotated[bool, Form()] = False,
    queue: Queue = None,
) -> Response:
    """Comment on a rung of a submitted program; ``rung`` counts from 1, empty for all.

    ``keep``: the text becomes a snippet of whoever wrote it.
    """
    submission = _submission(session, submission_id)
    rungs = len(submission.program.get("rungs", []))
    if rung and not (rung.isascii() and rung.isdecimal() and 1 <= int(rung) <= rungs):
        return error(request, 422, f"There is no rung {rung}. Name one from 1 to {rungs}, or none.")
    if not text.strip():
        return error(request, 422, "The comment is empty. Write what the student should read.")
    number = int(rung) - 1 if rung else None
    corrections.comment(session, submission, number, text.strip(), by_id=visitor.id, now=now)
    if keep:
        add_snippet(session, visitor.id, text.strip())
    return _back(submission_id, queue, "comments")


@router.post("/submissions/{submission_id}/second-look")
def decide_second_look(
    submission_id: int, session: Writing, visitor: VisitorHere, now: Now, queue: Queue = None
) -> Response:
    """Let the points stay of a program unlike every reference, at which a teacher has looked."""
    submission = _submission(session, submission_id)
    corrections.keep_points(session, submission, by_id=visitor.id, now=now)
    _queue_scores(session, submission, now)
    return _back(submission_id, queue, "second-look")


@router.post("/submissions/{submission_id}/requirements")
def set_requirement(
    request: Request,
    submission_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    requirement: Annotated[str, Form(max_length=20)] = "",
    points: Annotated[str, Form(max_length=20)] = "",
    reason: Annotated[str, Form(max_length=corrections.MAX_REASON)] = "",
    queue: Queue = None,
) -> Response:
    """Let other points of one requirement count than those that were marked."""
    submission = _submission(session, submission_id)
    result = hand_marks.find_result(session, submission_id, requirement)
    if result is None:
        return error(request, 422, f"This attempt has no result of {requirement or 'nothing'}.")
    number = read_points(points)
    if number is None or not 0 <= number <= result.max_score:
        sentence = (
            f"{points or 'Nothing'} is not a number of points of {requirement}. "
            f"Go back and write one from 0 to {result.max_score:g}."
        )
        return error(request, 422, sentence)
    if not reason.strip():
        return error(request, 422, NO_REASON)
    hand_marks.set_result(
        session, submission, result, number, reason.strip(), by_id=visitor.id, now=now
    )
    _queue_scores(session, submission, now)
    return _back(submission_id, queue, requirement)


@router.post("/submissions/{submission_id}/requirements/back")
def remove_requirement(
    submission_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    requirement: Annotated[str, Form(max_length=20)] = "",
    queue: Queue = None,
) -> Response:
    """Let the marked result of a requirement count again."""
    submission = _submission(session, submission_id)
    hand_marks.remove_result(session, submission, requirement, by_id=visitor.id, now=now)
    _queue_scores(session, submission, now)
    return _back(submission_id, queue, requirement)


def grading_context(
    session: Session,
    submission: Submission,
    visitor_id: int,
    queue: Waiting | None,
    role: SectionRole | None,
) -> dict[str, Any]:
    """Return what graders add to the page of a verdict, and for them the way through the queue."""
    comments = corrections.comments_on(session, submission.id)
    if role not in TEACHING:
        return {"comments": comments, "decision": None, "queue": None, "releases": False}
    left = []
    if queue is not None:
        whole = grading_queue(session, submission.assignment.section_id)
        left = [each for each in whole if queue in each.waits]
    return {
        "comments": comments,
        "decision": corrections.decision_on(session, submission),
        "queue": queue,
        "left": sum(each.submission_id != submission.id for each in left),
        "coming": next_in_queue(left, submission.id, submission.submitted_at),
        "snippets": snippets_of(session, visitor_id),
        "releases": role is SectionRole.INSTRUCTOR,
        "shown_runs": released_runs(session, submission.assignment_id),
    }


def _submission(session: Session, submission_id: int) -> Submission:
    submission = find_submission(session, submission_id)
    assert submission is not None, "the access rule has found it"
    return submission


def _queue_scores(session: Session, submission: Submission, now: Now) -> None:
    workers = with_partners(session, submission.assignment, [submission.user_id])
    queue_scores(session, submission.assignment, workers, now)


def _back(submission_id: int, queue: Waiting | None, part: str) -> Response:
    way = f"?queue={queue.value.replace(' ', '%20')}" if queue else ""
    return RedirectResponse(f"/submissions/{submission_id}{way}#{part}", 303)
