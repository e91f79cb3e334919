"""The commands of a trial run: each is done, or refused in words with nothing changed."""

import asyncio
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from time import monotonic
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from server.ladder.json_form import from_json as program_from_json
from server.ladder.program import Path, Program
from server.ladder.validation import errors
from server.marking.causes.cause import Reason
from server.marking.demonstration import Demonstration, demonstrate, demonstrate_scenario
from server.marking.exercise import Exercise
from server.marking.faults.faulty_place import FaultyPlace
from server.marking.faults.places import broken_runs
from server.marking.files.catalogue import start_program
from server.marking.machine import assemble
from server.marking.presentation.scenario_text import scenario_text
from server.marking.presentation.scenario_words import describe_action
from server.marking.scenario import Scenario
from server.marking.trial.manual_controls import ManualControls, manual_controls
from server.marking.trial.trial import Recorded
from server.marking.trial.trial_form import MAX_EVENTS, action_from_json, from_json, to_json
from server.marking.verdict_form import from_json as verdict_from_json
from server.store.database import Database
from server.store.programs import working_copy
from server.store.released_runs import released_runs
from server.store.submissions import find_submission
from server.store.trials import (
    LATEST,
    MAX_NAME,
    MAX_SAVED,
    delete_trial,
    find_trial,
    save_trial,
    saved_trials,
)
from server.web.submissions.release import may_see_it_happen
from server.web.trial.runs import SPEEDS, LiveTrial, Runs
from server.web.trial.screen import Json, Viewer
from server.web.workplace import Workplace

MAX_VERSIONS = 400
"""Versions of the program in one run."""

MAX_RUNGS_KEPT = 12_000
"""Rungs of all versions of one run together: its record has them all."""

SEEN_BEFORE_MS = 3000
"""How long before its moment a run is shown that breaks a requirement."""

MOST_REASONS = 8
"""Causes that are told of a requirement that a run breaks."""

LONGEST_COMMAND = 4000
"""Characters of one command."""


class TrialCommand(BaseModel):
    """One command; which of the fields it has depends on ``do``."""

    model_config = ConfigDict(extra="forbid")

    do: Literal[
        "run", "hold", "scan", "speed", "act", "look", "branch", "why",
        "exchange", "restart", "save", "open", "repeat", "forget", "saved", "scenario", "see",
    ]  # fmt: skip
    scan: int | None = Field(None, ge=0)
    speed: float | None = None
    action: Any = None
    submission: int | None = Field(None, ge=1)
    signal: str = Field("", max_length=200)
    name: str = Field("", max_length=200)


class CommandRefused(Exception):
    """A command can't be done; the text says why and what to do."""


class CommandHandler:
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
        self._controls: tuple[object, ManualControls] | None = None

    @property
    def trial(self) -> LiveTrial:
        """The run, opened again from its record if it has ended meanwhile."""
        trial = self._runs.find(self.key)
        if trial is None:
            raise CommandRefused("This run has ended. Open the page again.")
        return trial

    async def open(self) -> None:
        """Begin the run, or go on with the one that was last recorded. Raises NoRoom."""
        if self._runs.find(self.key) is None:
            recorded = await self._runs.apart(self._latest)
            await self._runs.open(self.key, self._here.exercise, recorded)

    async def take(self, text: str, viewer: Viewer) -> None:
        """Do one command, or send the viewer an error message and change nothing."""
        try:
            if len(text) > LONGEST_COMMAND:
                raise CommandRefused("This command is too long.")
            command = TrialCommand.model_validate_json(text)
            async with self.trial.busy:
                await self._do(command, viewer)
        except ValidationError:
            viewer.tell({"refused": "This command is not known here. Reload the page."})
        except (CommandRefused, ValueError) as refused:
            viewer.tell({"refused": str(refused)})
        trial = self._runs.find(self.key)
        if trial is not None and not trial.running:
            # While the plant runs, its next frame is on its way anyway.
            trial.screen.wake(trial.viewers)

    async def _do(self, command: TrialCommand, viewer: Viewer) -> None:
        trial, now = self.trial, monotonic()
        run, screen = trial.run, trial.screen
        if trial.repeats and command.do != "saved":
            raise CommandRefused("The recorded run is still being repeated. Wait a moment.")
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
                    raise CommandRefused("This speed is not offered.")
                trial.at_speed(command.speed, now)
            case "act":
                action = action_from_json(command.action)
                self._controls_of(trial).check(action)
                if screen.looking is not None:
                    raise CommandRefused(
                        "This is a past moment. Go on from here, or go back to now."
                    )
                if run.events >= MAX_EVENTS:
                    raise CommandRefused(
                        f"This run has {MAX_EVENTS} actions, the most. Begin again."
                    )
                run.act(action)
            case "look":
                trial.hold()
                await self._runs.apart(screen.look, command.scan)
            case "branch":
                if command.scan is None or command.scan >= run.scan:
                    raise CommandRefused("Go back to a past moment first.")
                trial.hold()
                await self._runs.apart(trial.branch, command.scan)
            case "why":
                viewer.tell(await self._why(trial, command))
            case "exchange":
                viewer.tell({"behind": await self._exchange(trial)})
            case "restart":
                recorded = Recorded(await self._runs.apart(self._runnable), (), 0)
                await self._runs.replace(self.key, recorded)
                viewer.tell({"behind": None})
            case "see":
                viewer.tell(await self._see(command))
            case _:
                await self._records(trial, command, viewer)

    def _controls_of(self, trial: LiveTrial) -> ManualControls:
        assembled = trial.run.live.assembled
        if self._controls is None or self._controls[0] is not assembled:
            self._controls = assembled, manual_controls(self._here.exercise.plant, assembled)
        return self._controls[1]

    async def _why(self, trial: LiveTrial, command: TrialCommand) -> Json:
        shown = trial.run.scan if trial.screen.looking is None else trial.screen.looking
        scan = shown if command.scan is None else command.scan
        if not 0 < scan <= trial.run.scan:
            raise CommandRefused("Run a scan first; before that there is nothing to explain.")
        program = trial.run.program_at(scan - 1)
        if not any(v.symbol == command.signal.partition(".")[0] for v in program.variables):
            raise CommandRefused("Your program does not declare this signal.")
        reasons = await self._runs.apart(trial.run.why, command.signal, scan - 1)
        return {
            "why": command.signal,
            "scan": scan,
            "reasons": [_reason_json(reason) for reason in reasons],
        }

    async def _see(self, command: TrialCommand) -> Json:
        """Begin a run in which a submitted program breaks a requirement, shortly before it does."""
        period = self._here.exercise.period_ms
        program, found = await self._runs.apart(
            self.demonstration, command.submission or 0, command.name
        )
        if found is None:
            raise CommandRefused(
                f"The server found no run of its own that breaks {command.name}. Read the "
                "sentence of the verdict and try that situation by hand, or ask your instructor to "
                "release the hidden run."
            )
        begin = max(0, found.scan - SEEN_BEFORE_MS // period)
        await self._runs.replace(self.key, found.run, begin)
        self.trial.screen.follow(found.signals)
        return {
            "seen": command.name,
            "at": found.scan,
            "actions": [
                {"scan": scan, "text": describe_action(action)}
                for scan, action in found.run.events
                if not isinstance(action, Program) and scan <= found.scan
            ],
            "reasons": [_reason_json(reason) for reason in found.reasons[:MOST_REASONS]],
            "faulty": _place_json(found.faulty, program),
        }

    def demonstration(
        self, submission_id: int, requirement: str
    ) -> tuple[Program, Demonstration | None]:
        """Return a submitted program and a run that breaks a requirement, if there is one to show.

        Only where the server finds none of its own, a hidden one is shown that was released.
        """
        exercise = self._here.exercise
        program, hidden = self._submitted(submission_id, requirement)
        found = demonstrate(exercise, program, requirement)
        if found is None and hidden is not None:
            found = demonstrate_scenario(exercise, program, requirement, hidden)
        return program, found

    def _submitted(self, submission_id: int, requirement: str) -> tuple[Program, Scenario | None]:
        """Return a program that the owner of the run submitted, and the scenario that is released.

        Raises CommandRefused.
        """
        assignment_id, user_id = self.key
        with self._database.read() as session:
            found = find_submission(session, submission_id)
            released = requirement in released_runs(session, assignment_id)
        if (
            found is None
            or (found.assignment_id, found.user_id) != (assignment_id, user_id)
            or not may_see_it_happen(self._here, found.attempt, self._clock())
        ):
            raise CommandRefused("There is no such attempt of yours to look at.")
        program = program_from_json(found.program)
        if not released or found.verdict is None:
            return program, None
        exercise = self._here.exercise
        broken = broken_runs(exercise, verdict_from_json(found.verdict.document))
        runs = {exercise.requirements[n].id: scenario for n, (scenario, _) in broken.items()}
        return program, runs.get(requirement)

    # -- versions of the program ----------------------------------------------------------------

    async def _exchange(self, trial: LiveTrial) -> str | None:
        """Let the run go on with the newest program; return why it can't."""
        newest, faults = await self._runs.apart(self._newest)
        if faults:
            return faults[0]
        run = trial.run
        kept = len(newest.rungs) * (run.versions + 1)
        if run.versions >= MAX_VERSIONS or kept > MAX_RUNGS_KEPT:
            return f"This run has had {run.versions} versions, the most. Restart it."
        await self._runs.apart(trial.exchange, newest)
        return None

    def _runnable(self) -> Program:
        """Return the working program. Raises CommandRefused if it has errors."""
        program, faults = self._newest()
        if faults:
            raise CommandRefused(f"Your program can't run yet. {faults[0]}")
        return program

    def _newest(self) -> tuple[Program, list[str]]:
        """Return the working program and its faults."""
        program = self._working_program()
        return program, _faults(program)

    def _working_program(self) -> Program:
        _, user_id = self.key
        with self._database.read() as session:
            copy = working_copy(session, self._here.assignment, user_id, self._here.start)
        return program_from_json(copy.program)

    # -- records --------------------------------------------------------------------------------

    async def _records(self, trial: LiveTrial, command: TrialCommand, viewer: Viewer) -> None:
        name = " ".join(command.name.split())
        match command.do:
            case "save":
                if not 0 < len(name) <= MAX_NAME:
                    raise CommandRefused(f"Give the run a name of 1 to {MAX_NAME} characters.")
                document = await self._runs.apart(to_json, trial.run.recorded())
                if not await asyncio.to_thread(self._save, name, document, trial.run.scan):
                    raise CommandRefused(
                        f"You have saved {MAX_SAVED} runs of this exercise. Delete one first."
                    )
            case "forget":
                await asyncio.to_thread(self._forget, name)
            case "open" | "repeat":
                recorded = await self._runs.apart(self._recorded, name)
                if recorded is None:
                    raise CommandRefused("There is no run of this name any more.")
                if command.do == "repeat":
                    recorded = recorded.on(await self._runs.apart(self._runnable))
                await self._runs.replace(self.key, recorded)
            case "scenario":
                tried = trial.run.scenario("tried by hand")
                text = await self._runs.apart(scenario_text, tried, self._here.exercise)
                viewer.tell({"scenario": text})
                return
        viewer.tell({"saved": await asyncio.to_thread(self._saved)})

    def _save(self, name: str, document: Json, scans: int) -> bool:
        with self._database.write() as session:
            return save_trial(session, *self.key, name, document, scans=scans, now=self._clock())

    def _forget(self, name: str) -> None:
        if name != LATEST:
            with self._database.write() as session:
                delete_trial(session, *self.key, name)

    def _saved(self) -> list[Json]:
        period = self._here.exercise.period_ms
        with self._database.read() as session:
            return [
                {"name": saved.name, "seconds": saved.scans * period / 1000}
                for saved in saved_trials(session, *self.key)
            ]

    def _recorded(self, name: str) -> Recorded | None:
        """Return a stored run, or None.

        Raises ValueError for one that does not fit the exercise.
        """
        with self._database.read() as session:
            found = find_trial(session, *self.key, name)
        if found is None:
            return None
        try:
            recorded = from_json(found.run)
            _check(self._here.exercise, recorded)
        except ValueError:
            raise ValueError(
                "This run was recorded on an earlier version of the exercise, which had other "
                "controls. It can't happen again."
            ) from None
        return recorded

    def _latest(self) -> Recorded:
        with suppress(ValueError):
            recorded = self._recorded(LATEST)
            if recorded is not None:
                return recorded
        program, faults = self._newest()
        return Recorded(start_program(self._here.exercise) if faults else program, (), 0)


def _reason_json(reason: Reason) -> Json:
    return {
        "text": reason.text,
        "scan": reason.scan + 1,
        "rung": reason.rung,
        "path": _dotted(reason.paths[0]) if reason.paths else None,
        "decisive": reason.decisive,
    }


def _place_json(faulty: FaultyPlace, program: Program) -> Json | None:
    place = faulty.place
    if place is None:
        return None
    return {
        "text": faulty.describe(program),
        "rung": place.rung,
        "path": None if place.path is None else _dotted(place.path),
        "output": place.output,
    }


def _dotted(path: Path) -> str:
    return ".".join(map(str, path))


def _faults(program: Program) -> list[str]:
    return [str(message) for message in errors(program)]


def _check(exercise: Exercise, recorded: Recorded) -> None:
    """Raise ValueError for a run that speaks of what this version of the exercise has not."""
    controls = manual_controls(exercise.plant, assemble(exercise, recorded.program))
    for _, event in recorded.events:
        if isinstance(event, Program):
            if errors(event):
                raise ValueError("A recorded program has errors.")
        else:
            controls.check(event)
