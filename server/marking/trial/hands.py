"""What a hand can do to a plant in a trial run: its controls, levels and items, and the limits."""

from dataclasses import dataclass
from math import isfinite

from server.ladder.names import shortened
from server.marking.machine import Assembled
from server.marking.scenario import Action, Adjust, Clear, Place, Turn
from server.marking.trial.handover import is_control
from server.plant.conveyor import Line
from server.plant.model import Plant, TankPlant
from server.scan.assembler import Bit


@dataclass(frozen=True, slots=True)
class Hands:
    """``controls`` are the names that ``Turn`` may take, ``levels`` the heights in metres up to
    which each level may be set, ``line`` the conveyor that takes items."""

    controls: frozenset[str]
    levels: dict[str, float]
    line: Line | None

    def check(self, action: Action) -> None:
        """Raise ValueError with a sentence for what can't be done here."""
        match action:
            case Turn(control, _):
                _require(control in self.controls, f"There is no control {shortened(control)}.")
            case Adjust(quantity, value):
                top = self.levels.get(quantity)
                _require(top is not None, f"{shortened(quantity)} can't be set by hand.")
                assert top is not None, "just required"
                _require(
                    isfinite(value) and 0 <= value <= top,
                    f"Set {quantity} to 0 to {top * 1000:g} mm.",
                )
            case Place(belt, position, _):
                line = self._line(belt)
                _require(
                    isfinite(position) and line.item_length <= position <= line.length,
                    f"Lay an item down between {line.item_length:g} m and {line.length:g} m.",
                )
            case Clear(belt, first, last):
                self._line(belt)
                _require(
                    isfinite(first) and isfinite(last) and first <= last,
                    "A stretch to clear begins before it ends.",
                )

    def _line(self, belt: str) -> Line:
        _require(
            self.line is not None and belt == self.line.name,
            f"There is no conveyor {shortened(belt)}.",
        )
        assert self.line is not None, "just required"
        return self.line


def hands_on(plant: Plant, assembled: Assembled) -> Hands:
    """What can be worked by hand in this machine."""
    controls = frozenset(
        name
        for name, signal in assembled.signals.items()
        if isinstance(signal, Bit) and is_control(name)
    )
    levels = (
        {f"{v.name}.level": v.height for v in plant.vessels} if isinstance(plant, TankPlant) else {}
    )
    return Hands(controls, levels, assembled.line)


def _require(condition: bool, sentence: str) -> None:
    if not condition:
        raise ValueError(sentence)
