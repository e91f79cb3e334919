"""Programs that are alike beyond what the exercise forces: a question, never a verdict.

What counts in the section is compared with each other and with what counts for the same exercise
in other sections and earlier terms. Of a section that the visitor does not teach, the program is
shown, but not whose it is: its instructor can tell.
"""

from collections.abc import Collection
from dataclasses import dataclass

from fastapi import APIRouter, Request
from markupsafe import Markup
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.ladder.drawing import draw_rung
from server.ladder.json_form import from_json
from server.ladder.program import Program
from server.ladder.similarity import COMMON, SimilarPair, similar_pairs
from server.store.courses import TEACHING, Assignment, sections_of
from server.store.gradebook import gradebook
from server.store.standings import counting_elsewhere, partners_at
from server.store.submissions import programs_of
from server.web.access import VisitorHere
from server.web.dependencies import Reading
from server.web.gradebook.pages import assignment_here
from server.web.one_look import OneLook
from server.web.rendering import page

router = APIRouter()

WIDTH = 440
"""Of a rung beside others, in pixels."""

MOST = 8
"""Pairs that are drawn on the page."""

MOST_ELSEWHERE = 500
"""Programs of other sections that are compared, the newest first: a second of work."""


@dataclass(frozen=True, slots=True)
class ComparedProgram:
    """One program; ``submission_id`` is None where the visitor may not open it."""

    name: str
    user_id: int
    section_id: int
    submission_id: int | None
    program: Program

    def drawn(self, common: Collection[int]) -> list[tuple[Markup, bool]]:
        """Return each rung drawn, and whether the other program has it too."""
        return [
            (Markup(draw_rung(rung, self.program, n, width=WIDTH)), n in common)
            for n, rung in enumerate(self.program.rungs)
        ]


@router.get("/assignments/{assignment_id}/likeness", dependencies=[OneLook])
def similarity(
    request: Request, assignment_id: int, session: Reading, visitor: VisitorHere
) -> Response:
    """Show pairs of what counts for two students who are not partners, side by side."""
    assignment = assignment_here(session, assignment_id)
    own = _of_section(session, assignment)
    others = _elsewhere(session, assignment, visitor.id) if own else []
    compared = own + others
    partners = partners_at(session, assignment_id) if assignment.in_pairs else {}

    def is_a_question(pair: SimilarPair) -> bool:
        first, second = compared[pair.first].user_id, compared[pair.second].user_id
        # Who takes the course again may hand in what they once wrote.
        return first != second and partners.get(first) != second

    classes = [each.section_id for each in compared]
    pairs = [
        pair
        for pair in similar_pairs([c.program for c in compared], classes)
        if is_a_question(pair)
    ]
    shown = []
    for pair in pairs[:MOST]:
        first, second = compared[pair.first], compared[pair.second]
        left = first.drawn({i for i, _ in pair.rungs})
        right = second.drawn({j for _, j in pair.rungs})
        shown.append((pair, (first, left), (second, right)))
    return page(
        request,
        "gradebook/similarity.html",
        assignment=assignment,
        compared=len(own),
        elsewhere=len(others),
        pairs=shown,
        found=len(pairs),
        common=COMMON,
    )


def _of_section(session: Session, assignment: Assignment) -> list[ComparedProgram]:
    rows = [row for row in gradebook(session, assignment).rows if row.standing.submission_id]
    ids = [row.standing.submission_id for row in rows]
    stored = programs_of(session, [id for id in ids if id is not None])
    return [
        ComparedProgram(
            row.student.listed_as, row.student.id, assignment.section_id, id, from_json(stored[id])
        )
        for row, id in zip(rows, ids, strict=True)
        if id is not None
    ]


def _elsewhere(session: Session, assignment: Assignment, visitor_id: int) -> list[ComparedProgram]:
    taught = {section.id for section, role in sections_of(session, visitor_id) if role in TEACHING}
    found = []
    for submission, section in counting_elsewhere(session, assignment, MOST_ELSEWHERE):
        where = f"{section.title}, {section.term.name}"
        mine = section.id in taught
        name = (
            f"{submission.user.listed_as} ({where})"
            if mine
            else f"submission {submission.id} of {where}"
        )
        found.append(
            ComparedProgram(
                name,
                submission.user_id,
                section.id,
                submission.id if mine else None,
                from_json(submission.program),
            )
        )
    return found
