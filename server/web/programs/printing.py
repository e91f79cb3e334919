"""A program as a sheet for paper: title block, points, rungs with comments and cross references."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from server.ladder.json_form import from_json
from server.ladder.messages import Place
from server.ladder.points import PointDeclaration
from server.ladder.program import Block, Coil, Program, Rung, Variable, walk
from server.ladder.references import Uses, cross_reference
from server.marking.exercise import Exercise
from server.store.courses import Assignment
from server.store.local_time import write_moment
from server.store.programs import working_copy
from server.store.submissions import find_submission
from server.web.access import VisitorHere
from server.web.dependencies import CatalogueHere, Now, Reading
from server.web.editor.rungs import drawn_rungs
from server.web.one_look import OneLook
from server.web.programs.states import NOW, find_state
from server.web.rendering import page
from server.web.workplace import WorkplaceHere, exercise_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class VariableLine:
    """A variable in a table: its point, if the plant has one at its address, and where it is used.

    The places are rung numbers from 1; ``written`` names the rungs that call a block's instance.
    """

    variable: Variable
    point: PointDeclaration | None
    read: str
    written: str


@dataclass(frozen=True, slots=True)
class PrintedRung:
    """A rung; ``references`` say where what it drives is read, and where it is driven, too."""

    rung: Rung
    drawing: Markup
    references: tuple[str, ...]


@router.get("/assignments/{assignment_id}/print", dependencies=[OneLook])
def print_program(
    request: Request,
    here: WorkplaceHere,
    session: Reading,
    visitor: VisitorHere,
    now: Now,
    state: str = NOW,
) -> Response:
    """One's own program: as it is now, a version or an attempt."""
    copy = working_copy(session, here.assignment, visitor.id, here.start)
    found = find_state(session, here, visitor.id, copy, state)
    version = found.name.words
    if state == NOW:
        version = f"Revision {copy.revision}"
    return _sheet(
        request,
        here.assignment,
        here.exercise,
        found.program,
        name=visitor.name,
        version=version,
        at=found.name.at,
        now=now,
    )


@router.get("/submissions/{submission_id}/print", dependencies=[OneLook])
def print_submission(
    request: Request, submission_id: int, session: Reading, catalogue: CatalogueHere, now: Now
) -> Response:
    """Show a program as it was submitted."""
    submission = find_submission(session, submission_id)
    assert submission is not None, "the access rule has found it"
    assignment = submission.assignment
    return _sheet(
        request,
        assignment,
        exercise_of(catalogue, assignment, submission.seed),
        from_json(submission.program),
        name=submission.user.name,
        version=f"Attempt {submission.attempt}",
        at=submission.submitted_at,
        now=now,
    )


def _sheet(
    request: Request,
    assignment: Assignment,
    exercise: Exercise,
    program: Program,
    *,
    name: str,
    version: str,
    at: datetime | None,
    now: datetime,
) -> Response:
    uses = cross_reference(program)
    lines = list(_lines(program, exercise, uses))
    return page(
        request,
        "programs/print.html",
        assignment=assignment,
        exercise=exercise,
        program=program,
        name=name,
        version=version,
        at=at,
        now=now,
        running=f"{assignment.title} · {name} · section {assignment.section.number} · {version}"
        + (f", {write_moment(at, request.state.zone)}" if at else ""),
        points=[line for line in lines if line.point],
        variables=[line for line in lines if not line.point],
        rungs=[
            PrintedRung(rung, drawing, tuple(_references(rung, number, uses)))
            for number, (rung, drawing) in enumerate(drawn_rungs(program))
        ],
    )


def _lines(program: Program, exercise: Exercise, uses: dict[str, Uses]) -> Iterator[VariableLine]:
    points = {point.address: point for point in (*exercise.points, *exercise.internal_bits)}
    for variable in program.variables:
        used = uses[variable.symbol]
        yield VariableLine(
            variable,
            points.get(variable.address or ""),
            _numbers(used.reads),
            _numbers([*used.writes, *used.calls]),
        )


def _references(rung: Rung, number: int, uses: dict[str, Uses]) -> Iterator[str]:
    """``fill_pump: read in 1, 4; driven in 7, too``, for each thing that the rung drives."""
    driven = [o.symbol if isinstance(o, Coil) else o.target for o in rung.outputs]
    blocks = [e.instance for _, e in walk(rung.network) if isinstance(e, Block)]
    for symbol in dict.fromkeys([*driven, *blocks]):
        used = uses[symbol]
        elsewhere = [p for p in (*used.writes, *used.calls) if p.rung != number]
        if symbol in blocks and not used.reads and not elsewhere:
            continue
        listed = [f"read in {_numbers(used.reads) or 'no rung'}"]
        if elsewhere:
            done = "called" if symbol in blocks else "driven"
            listed.append(f"{done} in {_numbers(elsewhere)}, too")
        yield f"{symbol}: {'; '.join(listed)}"


def _numbers(places: Sequence[Place]) -> str:
    """Return the rungs of these places, counted from 1, each once: ``1, 4–6, 9``."""
    rungs = sorted({place.rung + 1 for place in places if place.rung is not None})
    # Numbers that follow each other are equally far from their position in the list.
    runs = [[n for _, n in run] for _, run in groupby(enumerate(rungs), lambda at: at[1] - at[0])]
    return ", ".join(
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )
