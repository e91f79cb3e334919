"""The trial run: its page, and the socket that works it.

The browser sends commands, one JSON object each with ``do``; the server sends frames (see
``trial_screen``). Who teaches the section may watch a student's run and can't touch it.
"""

import asyncio
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from time import monotonic
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Request, WebSocket, WebSocketDisconnect
from markupsafe import Markup
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.requests import HTTPConnection
from starlette.responses import Response

from server.ladder.json_form import from_json as program_from_json
from server.ladder.program import Program
from server.ladder.validation import errors
from server.marking.catalogue import start_program
from server.marking.exercise import Exercise
from server.marking.hands import Hands, hands_on
from server.marking.machine import assemble
from server.marking.scenario_text import scenario_text
from server.marking.trial import Recorded
from server.marking.trial_form import action_from_json, from_json, to_json
from server.plant.drawing import draw_plant
from server.store.courses import TEACHING, role_in_section
from server.store.database import Database
from server.store.people import User
from server.store.programs import working_copy
from server.store.trials import (
    LATEST,
    MAX_NAME,
    MAX_SAVED,
    find_trial,
    forget_trial,
    save_trial,
    saved_trials,
)
from server.web.access import VisitorHere, visitor_here
from server.web.dependencies import DatabaseHere, Reading
from server.web.rendering import environment, page
from server.web.trial_panel import SUPPLY, panel_of
from server.web.trial_runs import FRAME_SECONDS, SPEEDS, Key, NoRoom, Runs, Trial
from server.web.trial_screen import Json, Viewer
from server.web.workplace import Workplace, WorkplaceHere

router = APIRouter()

LONGEST_COMMAND = 4000
"""Characters of one command."""


def runs_here(connection: HTTPConnection) -> Runs:
    found: Runs = connection.app.state.trial_runs
    return found


RunsHere = Annotated[Runs, Depends(runs_here)]


def runs_of(database: Database, clock: Callable[[], datetime]) -> Runs:
    """The runs of an application; their records go into its database."""

    def store(key: Key, recorded: Recorded) -> None:
        with database.write() as session:
            run, scans = to_json(recorded), recorded.scans
            save_trial(session, *key, LATEST, run, scans=scans, now=clock())

    return Runs(store)


# -- pages --------------------------------------------------------------------------------------


@router.get("/assignments/{assignment_id}/trial")
def trial(
    request: Request, here: WorkplaceHere, visitor: VisitorHere, session: Reading
) -> Response:
    """One's own run."""
    role = role_in_section(session, visitor.id, here.assignment.section_id)
    socket = f"/assignments/{here.assignment.id}/trial/socket"
    return _sheet(request, here, visitor.name, socket, works=True, teaches=role in TEACHING)


@router.get("/assignments/{assignment_id}/trials/{student_id}")
def watch_trial(
    request: Request, here: WorkplaceHere, student_id: int, session: Reading
) -> Response:
    """A student's run, to be looked at only."""
    student = session.get(User, student_id)
    role = role_in_section(session, student_id, here.assignment.section_id)
    if student is None or role is None:
        raise HTTPException(404)
    socket = f"/assignments/{here.assignment.id}/trials/{student_id}/socket"
    return _sheet(request, here, student.name, socket, works=False, teaches=True)


def _sheet(
    request: Request, here: Workplace, name: str, socket: str, *, works: bool, teaches: bool
) -> Response:
    exercise, visitor = here.exercise, visitor_here(request)
    plant = draw_plant(exercise.plant, exercise.points, title=exercise.title)
    return page(
        request,
        "trial/trial.html",
        assignment=here.assignment,
        exercise=exercise,
        plant=Markup(plant),
        panel=panel_of(exercise),
        supply=SUPPLY,
        student=name,
        works=works,
        teaches=teaches,
        socket=socket,
        speeds=SPEEDS,
        watch_address=f"/assignments/{here.assignment.id}/trials/{visitor.id}",
    )


def speed(times: float) -> str:
    """A speed as a person says it: 1/50, 2 times."""
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
) -> None:
    """Work one's own run; it begins, or goes on, with the first window that opens it."""
    await socket.accept()
    desk = Desk(here, visitor.id, database, runs, socket.app.state.clock)
    try:
        await desk.open()
    except NoRoom as full:
        await socket.send_json({"refused": str(full)})
        await socket.close(1013)
        return
    await _attend(socket, runs, desk.key, desk)


@router.websocket("/assignments/{assignment_id}/trials/{student_id}/socket")
async def watch_socket(
    socket: WebSocket, here: WorkplaceHere, student_id: int, runs: RunsHere
) -> None:
    """Watch a student's run while it goes on."""
    await socket.accept()
    await _attend(socket, runs, (here.assignment.id, student_id), None)


async def _attend(socket: WebSocket, runs: Runs, key: Key, desk: "Desk | None") -> None:
    """Send frames and take commands until the page goes away or the run ends."""
    viewer = Viewer(works=desk is not None)
    trial = runs.find(key)
    if trial is None:
        await socket.send_json({"refused": "This run is not going on now."})
        await socket.close(1013)
        return
    trial.viewers.add(viewer)
    viewer.woken.set()
    tasks = {
        asyncio.create_task(_send(socket, runs, key, viewer)),
        asyncio.create_task(_receive(socket, desk, viewer)),
    }
    try:
        ended, going = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in going:
            task.cancel()
        for task in ended:
            with suppress(WebSocketDisconnect):
                task.result()
    finally:
        trial = runs.find(key)
        if trial is not None:
            trial.viewers.discard(viewer)
            if desk is not None:
                await runs.save(trial)


async def _receive(socket: WebSocket, desk: "Desk | None", viewer: Viewer) -> None:
    while True:
        text = await socket.receive_text()
        if desk is not None:
            await desk.take(text, viewer)


async def _send(socket: WebSocket, runs: Runs, key: Key, viewer: Viewer) -> None:
    while True:
        await viewer.woken.wait()
        viewer.woken.clear()
        trial = runs.find(key)
        if trial is None:
            await socket.send_json({"refused": "This run has ended. Open the page again."})
            await socket.close(1013)
            return
        text = trial.screen.frame(viewer, _state(trial, viewer))
        if text is not None:
            # Waits while the reader is slow; what happens meanwhile is in the next frame.
            await socket.send_text(text)
            await asyncio.sleep(FRAME_SECONDS * 0.8)


def _state(trial: Trial, viewer: Viewer) -> Json:
    return {
        "running": trial.running,
        "speed": trial.speed,
        "looking": trial.screen.looking,
        "repeating": trial.catching_up if trial.catching_up > trial.run.scan else None,
        "works": viewer.works,
        "period": trial.exercise.period_ms,
        "watched": sum(not other.works for other in trial.viewers),
    }


# -- commands -----------------------------------------------------------------------------------


class Command(BaseModel):
    """One command; which of the fields it has depends on ``do``."""

    model_config = ConfigDict(extra="forbid")

    do: Literal[
        "run", "hold", "scan", "speed", "act", "look", "branch", "why",
        "program", "exchange", "restart", "save", "open", "repeat", "forget", "saved", "scenario",
    ]  # fmt: skip
    scan: int | None = Field(None, ge=0)
    speed: float | None = None
    action: Any = None
    signal: str = Field("", max_length=200)
    name: str = Field("", max_length=200)


class Refused(Exception):
    """A command can't be done; the text says why and what to do."""


class Desk:
    """Takes the commands of whoever works a run."""

    def __init__(
        self,
        here: Workplace,
        user_id: int,
        database: Database,
        runs: Runs,
        clock: Callable[[], datetime],
    ) -> None:
        self.key = (here.assignment.id, user_id)
        self._here = here
        self._database = database
        self._runs = runs
        self._clock = clock
        self._hands: tuple[object, Hands] | None = None

    @property
    def trial(self) -> Trial:
        """The run, opened again from its record if it has ended meanwhile."""
        trial = self._runs.find(self.key)
        if trial is None:
            raise Refused("This run has ended. Open the page again.")
        return trial

    async def open(self) -> None:
        """Begin the run, or go on with the one that was last recorded. Raises NoRoom."""
        if self._runs.find(self.key) is None:
            recorded = await asyncio.to_thread(self._latest)
            await self._runs.open(self.key, self._here.exercise, recorded)

    async def take(self, text: str, viewer: Viewer) -> None:
        """Do one command; what can't be done is told in words, and nothing is changed."""
        try:
            if len(text) > LONGEST_COMMAND:
                raise Refused("This command is too long.")
            command = Command.model_validate_json(text)
            await self._do(command, viewer)
        except ValidationError:
            viewer.tell({"refused": "This command is not known here. Reload the page."})
        except (Refused, ValueError) as refused:
            viewer.tell({"refused": str(refused)})
        trial = self._runs.find(self.key)
        if trial is not None:
            trial.screen.wake(trial.viewers)

    async def _do(self, command: Command, viewer: Viewer) -> None:
        trial, now = self.trial, monotonic()
        run, screen = trial.run, trial.screen
        if trial.catching_up > run.scan and command.do not in ("saved", "program"):
            raise Refused("The recorded run is still being repeated. Wait a moment.")
        match command.do:
            case "run":
                trial.go(now)
            case "hold":
                trial.hold()
            case "scan":
                trial.hold()
                screen.look(None)
                screen.step(1)
            case "speed":
                if command.speed not in SPEEDS:
                    raise Refused("This speed is not offered.")
                trial.at_speed(command.speed, now)
            case "act":
                action = action_from_json(command.action)
                self._hands_on(trial).check(action)
                if screen.looking is not None:
                    raise Refused("This is a past moment. Go on from here, or go back to now.")
                run.act(action)
            case "look":
                trial.hold()
                screen.look(command.scan)
            case "branch":
                if command.scan is None or command.scan >= run.scan:
                    raise Refused("Go back to a past moment first.")
                trial.hold()
                run.branch(command.scan)
                screen.refresh()
            case "why":
                viewer.tell(await self._why(trial, command))
            case "program" | "exchange" | "restart":
                await self._program(trial, command, viewer)
            case _:
                await self._records(trial, command, viewer)

    def _hands_on(self, trial: Trial) -> Hands:
        assembled = trial.run.live.assembled
        if self._hands is None or self._hands[0] is not assembled:
            self._hands = assembled, hands_on(self._here.exercise.plant, assembled)
        return self._hands[1]

    async def _why(self, trial: Trial, command: Command) -> Json:
        shown = trial.run.scan if trial.screen.looking is None else trial.screen.looking
        scan = shown if command.scan is None else command.scan
        if not 0 < scan <= trial.run.scan:
            raise Refused("Run a scan first; before that there is nothing to explain.")
        program = trial.run.at(scan - 1)[1]
        if not any(v.symbol == command.signal.partition(".")[0] for v in program.variables):
            raise Refused("Your program does not declare this signal.")
        reasons = await asyncio.to_thread(trial.run.why, command.signal, scan - 1)
        return {
            "why": command.signal,
            "scan": scan,
            "reasons": [
                {
                    "text": reason.text,
                    "scan": reason.scan + 1,
                    "rung": reason.rung,
                    "path": None if reason.path is None else ".".join(map(str, reason.path)),
                    "decisive": reason.decisive,
                }
                for reason in reasons
            ],
        }

    # -- versions of the program ----------------------------------------------------------------

    async def _program(self, trial: Trial, command: Command, viewer: Viewer) -> None:
        newest = await asyncio.to_thread(self._working_program)
        if command.do == "program":
            viewer.tell({"newer": newest != trial.run.program, "faults": _faults(newest)})
            return
        faults = _faults(newest)
        if faults:
            raise Refused(f"Your program can't run yet. {faults[0]}")
        trial.hold()
        if command.do == "exchange":
            if newest != trial.run.program:
                trial.run.exchange(newest)
                trial.screen.refresh()
        else:
            await self._runs.replace(self.key, Recorded(newest, (), 0))
        viewer.tell({"newer": False, "faults": []})

    def _working_program(self) -> Program:
        _, user_id = self.key
        with self._database.read() as session:
            copy = working_copy(session, self._here.assignment, user_id, self._here.start)
        return program_from_json(copy.program)

    # -- records --------------------------------------------------------------------------------

    async def _records(self, trial: Trial, command: Command, viewer: Viewer) -> None:
        name = " ".join(command.name.split())
        match command.do:
            case "save":
                if not 0 < len(name) <= MAX_NAME:
                    raise Refused(f"Give the run a name of 1 to {MAX_NAME} characters.")
                document = to_json(trial.run.recorded())
                if not await asyncio.to_thread(self._save, name, document, trial.run.scan):
                    raise Refused(
                        f"You have saved {MAX_SAVED} runs of this exercise. Delete one first."
                    )
            case "forget":
                await asyncio.to_thread(self._forget, name)
            case "open" | "repeat":
                recorded = await asyncio.to_thread(self._recorded, name)
                if recorded is None:
                    raise Refused("There is no run of this name any more.")
                if command.do == "repeat":
                    newest = await asyncio.to_thread(self._working_program)
                    faults = _faults(newest)
                    if faults:
                        raise Refused(f"Your program can't run yet. {faults[0]}")
                    recorded = recorded.on(newest)
                await self._runs.replace(self.key, recorded)
            case "scenario":
                viewer.tell(
                    {
                        "scenario": scenario_text(
                            trial.run.scenario("tried by hand"), self._here.exercise
                        )
                    }
                )
                return
        viewer.tell({"saved": await asyncio.to_thread(self._saved)})

    def _save(self, name: str, document: Json, scans: int) -> bool:
        with self._database.write() as session:
            return save_trial(session, *self.key, name, document, scans=scans, now=self._clock())

    def _forget(self, name: str) -> None:
        if name != LATEST:
            with self._database.write() as session:
                forget_trial(session, *self.key, name)

    def _saved(self) -> list[Json]:
        period = self._here.exercise.period_ms
        with self._database.read() as session:
            return [
                {"name": saved.name, "seconds": saved.scans * period / 1000}
                for saved in saved_trials(session, *self.key)
            ]

    def _recorded(self, name: str) -> Recorded | None:
        """A stored run that still fits the exercise; None if there is none."""
        with self._database.read() as session:
            found = find_trial(session, *self.key, name)
        if found is None:
            return None
        try:
            recorded = from_json(found.run)
            _check(self._here.exercise, recorded)
        except ValueError:
            return None
        return recorded

    def _latest(self) -> Recorded:
        recorded = self._recorded(LATEST)
        if recorded is not None:
            return recorded
        program = self._working_program()
        return Recorded(start_program(self._here.exercise) if _faults(program) else program, (), 0)


def _faults(program: Program) -> list[str]:
    return [str(message) for message in errors(program)]


def _check(exercise: Exercise, recorded: Recorded) -> None:
    """Raise ValueError for a run that speaks of what this version of the exercise has not."""
    hands = hands_on(exercise.plant, assemble(exercise, recorded.program))
    for _, event in recorded.events:
        if isinstance(event, Program):
            if errors(event):
                raise ValueError("A recorded program has errors.")
        else:
            hands.check(event)
