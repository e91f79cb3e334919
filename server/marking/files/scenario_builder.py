"""From the form of a scenario to steps and actions over signals that exist."""

from collections.abc import Iterator, Mapping, Sequence

from server.ladder.names import shortened
from server.marking.files.conditions import Conditions
from server.marking.files.document import Document, FieldPath
from server.marking.files.exercise_schema import PutPart, ScenarioPart, StepPart
from server.marking.replay import LONGEST_MS
from server.marking.scenario import Action, Adjust, Clear, Put, Scenario, Step, Turn
from server.plant.measures import Dimension, computed_in, parse_measure
from server.plant.track import Track
from server.scan.assembler import Quantity, Signal

TAP_MS = 300
"""How long a push-button is held by ``tap``."""


class ScenarioBuilder:
    """Builds scenarios; unknown names and wrong values are noted in the document.

    ``track`` is the line that carries items, None where there is none.
    """

    def __init__(
        self,
        document: Document,
        signals: Mapping[str, Signal],
        conditions: Conditions,
        track: Track | None,
    ) -> None:
        self._document = document
        self._signals = signals
        self._conditions = conditions
        self._track = track

    def scenario(self, path: FieldPath, part: ScenarioPart) -> Scenario:
        longest = part.run_on + sum((s.after or 0) + (s.within or 0) for s in part.steps)
        if longest > LONGEST_MS:
            self._document.fault(
                (*path, "steps"),
                f"The scenario may last {longest // 60_000} min; {LONGEST_MS // 60_000} min are "
                "possible. Shorten its steps.",
            )
        steps = [
            step
            for number, step_part in enumerate(part.steps)
            for step in self._step((*path, "steps", number), step_part)
        ]
        return Scenario(
            name=part.name,
            steps=tuple(steps),
            start=(
                *self._settings((*path, "start"), part.start),
                *self._placed((*path, "items"), part.items),
            ),
            open=part.open,
            judges=part.judges,
            run_on_ms=part.run_on,
        )

    def _step(self, path: FieldPath, part: StepPart) -> Iterator[Step]:
        when = part.when
        if when is not None:
            self._conditions.note_faults((*path, "when"), when.text)
        if when is not None and part.after is not None:
            self._document.fault_of_key((*path, "after"), "A step has 'after' or 'when', not both.")
        if (part.within is None) != (when is None):
            missing, there = ("within", "when") if when is not None else ("when", "within")
            self._document.fault_of_key((*path, there), f"'{missing}' is missing beside '{there}'.")
        tapped = tuple(self._turns((*path, "tap"), part.tap, on=True))
        actions = (*tapped, *self._actions(path, part))
        yield Step(actions, part.after or 0, when, part.within or 0)
        if tapped:
            yield Step(tuple(Turn(pressed.control, False) for pressed in tapped), TAP_MS)

    def _actions(self, path: FieldPath, part: StepPart) -> Iterator[Action]:
        yield from self._turns((*path, "press"), part.press, on=True)
        yield from self._turns((*path, "release"), part.release, on=False)
        yield from self._turns((*path, "turn on"), part.turn_on, on=True)
        yield from self._turns((*path, "turn off"), part.turn_off, on=False)
        if part.power is not None:
            yield Turn("power", part.power == "on")
        for symbol, fault in part.fault.items():
            yield from self._fault((*path, "fault", symbol), symbol, fault, on=True)
        for symbol, fault in part.mend.items():
            yield from self._fault((*path, "mend", symbol), symbol, fault, on=False)
        yield from self._settings((*path, "set"), part.set)
        if part.clear is not None:
            track = self._line((*path, "clear"))
            if track is not None:
                yield Clear(track.name, part.clear.from_, part.clear.to)
        yield from self._placed((*path, "put"), part.put)

    def _turns(self, path: FieldPath, symbols: Sequence[str], *, on: bool) -> Iterator[Turn]:
        for number, symbol in enumerate(symbols):
            if f"panel.{symbol}" in self._signals:
                yield Turn(f"panel.{symbol}", on)
            else:
                known = self._known("panel.")
                self._document.fault(
                    (*path, number), f"The panel has no {shortened(symbol)}. It has {known}."
                )

    def _fault(self, path: FieldPath, symbol: str, fault: str, *, on: bool) -> Iterator[Turn]:
        control = f"fault.{symbol}.{fault}"
        if control in self._signals:
            yield Turn(control, on)
            return
        known = self._known(f"fault.{symbol}.")
        if known:
            sentence = f"{symbol} can't have the fault {shortened(fault)}. Its faults are {known}."
            self._document.fault(path, sentence)
        else:
            sentence = f"There is no point {shortened(symbol)} that can have a fault."
            self._document.fault_of_key(path, sentence)

    def _settings(self, path: FieldPath, values: Mapping[str, object]) -> Iterator[Action]:
        """Quantities and controls by name, with the value each is set to."""
        for name, value in values.items():
            signal = self._signals.get(name)
            control = "power" if name == "power" else f"panel.{name}"
            dimension = computed_in(signal.unit) if isinstance(signal, Quantity) else None
            if dimension is not None:
                yield from self._adjust((*path, name), name, dimension, value)
            elif control not in self._signals:
                self._document.fault_of_key(
                    (*path, name),
                    f"{shortened(name)} can't be set. Name a quantity of the plant, 'power' or a "
                    f"control: {self._known('panel.')}.",
                )
            elif value not in ("on", "off"):
                self._document.fault((*path, name), f"{name} can be set to 'on' or 'off'.")
            else:
                yield Turn(control, value == "on")

    def _adjust(
        self, path: FieldPath, name: str, dimension: Dimension, value: object
    ) -> Iterator[Adjust]:
        try:
            yield Adjust(name, parse_measure(value, dimension))
        except ValueError as fault:
            self._document.fault(path, str(fault))

    def _placed(self, path: FieldPath, parts: Sequence[PutPart]) -> Iterator[Put]:
        track = self._line(path) if parts else None
        if track is None:
            return
        for number, part in enumerate(parts):
            if any(abs(part.at - before.at) < track.room for before in parts[:number]):
                self._document.advise(
                    (*path, number, "at"),
                    f"The item finds no room: it is nearer to another one than {track.pitch:g} "
                    "m, its length and its gap. Move it.",
                )
            yield Put(track.name, part.at, part.marked)

    def _line(self, path: FieldPath) -> Track | None:
        if self._track is None:
            self._document.fault_of_key(path, "No items travel in this plant. Leave it out.")
        return self._track

    def _known(self, prefix: str) -> str:
        """Return the signals that begin with ``prefix``, without it."""
        return ", ".join(
            name.removeprefix(prefix) for name in self._signals if name.startswith(prefix)
        )
