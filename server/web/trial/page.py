"""The trial run: its page, and the socket that works it.

The browser sends commands (see ``commands``), the server frames (see ``screen``). Who
teaches the section may watch a student's run and can't touch it.
"""

import asyncio
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from typing import Annotated, Any

from fastapi import (
    APIRouter,
    Depends,
    HTTPException,
    Request,
    WebSocket,
    WebSocketDisconnect,
    status,
)
from markupsafe import Markup
from sqlalchemy.orm import Session
from starlette.requests import HTTPConnection
from starlette.responses import RedirectResponse, Response
from starlette.websockets import WebSocketDisconnected, WebSocketState

from server.marking.trial.trial import Recorded
from server.marking.trial.trial_form import to_json
from server.plant.drawing import draw_plant
from server.store.claims import Claims
from server.store.courses import TEACHING, SectionRole, role_in_section
from server.store.database import Database
from server.store.people import find_person
from server.store.trials import save_latest
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import DatabaseHere, Reading
from server.web.open_sockets import OpenSocketsHere, note_command
from server.web.rendering import environment, page
from server.web.trial import limits
from server.web.trial.commands import CommandHandler
from server.web.trial.limits import Shut
from server.web.trial.panel import SUPPLY, panel_of
from server.web.trial.runs import FRAME_SECONDS, SPEEDS, Key, LiveTrial, NoRoom, Runs
from server.web.trial.screen import Json, Viewer
from server.web.workplace import Workplace, WorkplaceHere

router = APIRouter()

MOST_WINDOWS = 12
"""Windows that show one run, all people together."""


async def runs_here(connection: HTTPConnection) -> Runs:
    found: Runs = connection.app.state.trial_runs
    return found


RunsHere = Annotated[Runs, Depends(runs_here)]


def runs_of(database: Database, clock: Callable[[], datetime]) -> Runs:
    """Return the runs of an application; their records go into its database."""

    def store(records: Mapping[Key, Recorded]) -> None:
        runs = {key: (to_json(recorded), recorded.scans) for key, recorded in records.items()}
        with database.write() as session:
            save_latest(session, runs, clock())

    return Runs(store, Claims(database))


# -- pages --------------------------------------------------------------------------------------


@router.get("/assignments/{assignment_id}/trial")
def trial(assignment_id: int) -> Response:
    """Lead an old address to the exercise sheet, which has the plant in its margin."""
    return RedirectResponse(f"/assignments/{assignment_id}#plant", status.HTTP_303_SEE_OTHER)


@router.get("/assignments/{assignment_id}/trials/{student_id}")
def watch_trial(
    request: Request, here: WorkplaceHere, student_id: int, session: Reading
) -> Response:
    """Show a student's run, to be looked at only."""
    student = find_person(session, student_id)
    role = role_in_section(session, student_id, here.assignment.section_id)
    if student is None or role is None:
        raise HTTPException(404)
    socket = f"/assignments/{here.assignment.id}/trials/{student_id}/socket"
    return page(
        request,
        "trial/watch.html",
        assignment=here.assignment,
        student=student.name,
        sitting=None,
        **run_context(here, socket, works=False),
    )


def own_run_context(session: Session, here: Workplace, visitor: Visitor) -> dict[str, Any]:
    """Return what the exercise sheet needs for the visitor's own run."""
    role = role_in_section(session, visitor.id, here.assignment.section_id)
    return run_context(here, f"/assignments/{here.assignment.id}/trial/socket", works=True) | {
        "teaches": role in TEACHING,
        "watch_address": f"/assignments/{here.assignment.id}/trials/{visitor.id}",
    }


def run_context(here: Workplace, socket: str, *, works: bool) -> dict[str, Any]:
    """Return what a sheet needs that shows a run: the plant, its controls, the socket."""
    exercise = here.exercise
    return {
        "exercise": exercise,
        "plant": Markup(draw_plant(exercise.plant, exercise.points, title=exercise.title)),
        "panel": panel_of(exercise),
        "supply": SUPPLY,
        "works": works,
        "socket": socket,
        "speeds": SPEEDS,
    }


def speed(times: float) -> str:
    """Return a speed as a person says it: 1/50, real time, 2 times."""
    if times == 1:
        return "real time"
    return f"1/{round(1 / times)}" if times < 1 else f"{times:g} times"


environment.filters["speed"] = speed


# -- sockets ------------------------------------------------------------------------------------


@router.websocket("/assignments/{assignment_id}/trial/socket")
async def trial_socket(
    socket: WebSocket,
    here: WorkplaceHere,
    visitor: VisitorHere,
    database: DatabaseHere,
    runs: RunsHere,
    sockets: OpenSocketsHere,
) -> None:
    """Work one's own run; it begins, or goes on, with the first window that opens it."""
    handler = CommandHandler(here, visitor.id, database, runs, socket.app.state.clock)
    assignment = here.assignment
    sits_at = assignment.id if assignment.is_supervised else None
    with sockets.watching(socket, assignment.section_id, frozenset(SectionRole), sits_at):
        await _serve(socket, runs, visitor, handler.key, handler)


@router.websocket("/assignments/{assignment_id}/trials/{student_id}/socket")
async def watch_socket(
    socket: WebSocket,
    here: WorkplaceHere,
    student_id: int,
    visitor: VisitorHere,
    runs: RunsHere,
    sockets: OpenSocketsHere,
) -> None:
    """Watch a student's run while it goes on."""
    with sockets.watching(socket, here.assignment.section_id, TEACHING):
        await _serve(socket, runs, visitor, (here.assignment.id, student_id), None)


async def _serve(
    socket: WebSocket, runs: Runs, visitor: Visitor, key: Key, handler: CommandHandler | None
) -> None:
    """Attend to a socket within the visitor's bounds, or close it with a sentence."""
    try:
        with runs.doorkeeper.socket(visitor.id):
            if not await _accepted(socket):
                return
            if handler is not None:
                await handler.open()
            await _attend(socket, runs, key, handler, visitor)
    except NoRoom as full:
        await socket.send_json({"refused": str(full)})
        await socket.close(status.WS_1013_TRY_AGAIN_LATER)
    except Shut as shut:
        at_the_door = socket.client_state is not WebSocketState.CONNECTED
        if at_the_door:
            await asyncio.sleep(limits.KNOCK_SECONDS)
        # A browser shows the reason of a socket only once it was open.
        if not at_the_door or await _accepted(socket):
            with suppress(RuntimeError):  # the page has gone away meanwhile
                await socket.close(status.WS_1008_POLICY_VIOLATION, str(shut))


async def _accepted(socket: WebSocket) -> bool:
    """Accept a socket; return False if the page has gone away meanwhile."""
    try:
        await socket.accept()
    except RuntimeError:
        return False
    return True


async def _attend(
    socket: WebSocket, runs: Runs, key: Key, handler: CommandHandler | None, visitor: Visitor
) -> None:
    """Send frames and take commands until the page goes away or the run ends."""
    viewer = Viewer(works=handler is not None)
    trial = runs.find(key)
    if trial is None:
        await socket.send_json({"refused": "This run is not in progress."})
        await socket.close(1013)
        return
    if len(trial.viewers) >= MOST_WINDOWS:
        sentence = f"This run is shown in {MOST_WINDOWS} windows already. Close one of them first."
        await socket.send_json({"refused": sentence})
        await socket.close(1013)
        return
    trial.viewers.add(viewer)
    viewer.woken.set()
    inbox: asyncio.Queue[str] = asyncio.Queue(limits.BURST)
    tasks = {
        asyncio.create_task(_send(socket, runs, key, viewer)),
        asyncio.create_task(_receive(socket, runs, inbox, visitor)),
        asyncio.create_task(_work(inbox, handler, viewer)),
    }
    try:
        ended, going = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in going:
            task.cancel()
        for task in ended:
            # By the page, or by the server that is to stop.
            with suppress(WebSocketDisconnect, WebSocketDisconnected):
                task.result()
    finally:
        trial = runs.find(key)
        if trial is not None:
            trial.viewers.discard(viewer)
            if handler is not None:
                await runs.save(trial)


async def _receive(
    socket: WebSocket, runs: Runs, inbox: asyncio.Queue[str], visitor: Visitor
) -> None:
    """Count commands as they come, and hand them on; return when the last one is done.

    Were they counted when they are done, a flood of costly ones would pass for a few.
    """
    while True:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            await inbox.join()
            return
        runs.doorkeeper.count_command(visitor.id)
        note_command(socket)
        # No command comes as bytes.
        await inbox.put(message.get("text") or "")


async def _work(inbox: asyncio.Queue[str], handler: CommandHandler | None, viewer: Viewer) -> None:
    """Do one command after the other; who only watches has none done."""
    while True:
        text = await inbox.get()
        try:
            if handler is not None:
                await handler.take(text, viewer)
        finally:
            inbox.task_done()


async def _send(socket: WebSocket, runs: Runs, key: Key, viewer: Viewer) -> None:
    while True:
        await viewer.woken.wait()
        viewer.woken.clear()
        trial = runs.find(key)
        if trial is None:
            await socket.send_json({"refused": "This run has ended. Open the page again."})
            await socket.close(1013)
            return
        async with trial.busy:
            state = _state(trial, viewer)
            if trial.screen.is_long(viewer):
                text = await runs.apart(trial.screen.frame, viewer, state)
            else:
                text = trial.screen.frame(viewer, state)
        if text is not None:
            # Waits while the reader is slow; what happens meanwhile is in the next frame.
            try:
                await socket.send_text(text)
            except RuntimeError:
                return  # the page has gone away meanwhile
        if not trial.running:
            # The clock sends 20 frames a second; commands alone could ask for more.
            await asyncio.sleep(FRAME_SECONDS)


def _state(trial: LiveTrial, viewer: Viewer) -> Json:
    return {
        "running": trial.running,
        "speed": trial.speed,
        "looking": trial.screen.looking,
        "repeating": trial.catching_up if trial.repeats else None,
        "showing": trial.run.to_come > 0,
        "works": viewer.works,
        "period": trial.exercise.period_ms,
        "watched": sum(not other.works for other in trial.viewers),
    }
