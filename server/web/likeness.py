"""Programs that are alike beyond what the exercise forces: a question, never a verdict."""

from fastapi import APIRouter, Request
from markupsafe import Markup
from sqlalchemy import select
from starlette.responses import Response

from server.ladder.drawing import draw_rung
from server.ladder.json_form import from_json
from server.ladder.likeness import COMMON, alike
from server.ladder.program import Program
from server.store.attempts import Submission
from server.store.gradebook import gradebook
from server.store.standings import partners_at
from server.web.dependencies import Reading
from server.web.gradebook import assignment_here
from server.web.rendering import page

router = APIRouter()

WIDTH = 440
"""Of a rung beside others, in pixels."""

MOST = 8
"""Pairs that are drawn on the page."""


@router.get("/assignments/{assignment_id}/likeness")
def likeness(request: Request, assignment_id: int, session: Reading) -> Response:
    """Pairs of what counts for two students who are not partners, side by side."""
    assignment = assignment_here(session, assignment_id)
    rows = [row for row in gradebook(session, assignment).rows if row.standing.submission_id]
    ids = [row.standing.submission_id for row in rows]
    stored = dict(
        session.execute(
            select(Submission.id, Submission.program).where(Submission.id.in_(ids))
        ).all()
    )
    partners = partners_at(session, assignment_id) if assignment.in_pairs else {}
    programs = [from_json(stored[id]) for id in ids if id is not None]
    pairs = [
        pair
        for pair in alike(programs)
        if partners.get(rows[pair.first].student.id) != rows[pair.second].student.id
    ]
    shown = [
        (
            pair,
            (rows[pair.first], _drawn(programs[pair.first], {i for i, _ in pair.rungs})),
            (rows[pair.second], _drawn(programs[pair.second], {j for _, j in pair.rungs})),
        )
        for pair in pairs[:MOST]
    ]
    return page(
        request,
        "gradebook/likeness.html",
        assignment=assignment,
        compared=len(programs),
        pairs=shown,
        found=len(pairs),
        common=COMMON,
    )


def _drawn(program: Program, common: set[int]) -> list[tuple[Markup, bool]]:
    """Each rung drawn, and whether the other program has it too."""
    return [
        (Markup(draw_rung(rung, program, n, width=WIDTH)), n in common)
        for n, rung in enumerate(program.rungs)
    ]
