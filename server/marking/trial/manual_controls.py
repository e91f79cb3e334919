"""What a person may do by hand in a trial run: switch controls, set quantities, lay items."""

from dataclasses import dataclass
from math import isfinite

from server.ladder.names import shortened
from server.marking.machine import Assembled
from server.marking.scenario import Action, Adjust, Clear, Put, Turn
from server.marking.trial.handover import is_control
from server.plant.checks import require
from server.plant.controls import HandItems, HandSetting
from server.plant.plant import Plant
from server.scan.assembler import Bit


@dataclass(frozen=True, slots=True)
class ManualControls:
    """The controls that ``Turn`` may take, and the plant's settings and items by name."""

    switches: frozenset[str]
    settings: dict[str, HandSetting]
    lines: dict[str, HandItems]

    def check(self, action: Action) -> None:
        """Raise ValueError with a sentence for an action that is not possible here."""
        match action:
            case Turn(control, _):
                require(control in self.switches, f"There is no control {shortened(control)}.")
            case Adjust(quantity, value):
                require(quantity in self.settings, f"{shortened(quantity)} can't be set by hand.")
                setting = self.settings[quantity]
                require(
                    isfinite(value) and 0 <= value <= setting.high,
                    f"Set {quantity} to 0 to {setting.high * setting.scale:g} {setting.unit}.",
                )
            case Put(name, position, _):
                line = self._line(name)
                require(
                    isfinite(position) and line.item_length <= position <= line.length,
                    f"Lay an item down between {line.item_length:g} m and {line.length:g} m.",
                )
            case Clear(name, first, last):
                self._line(name)
                require(
                    isfinite(first) and isfinite(last) and first <= last,
                    "A stretch to clear begins before it ends.",
                )

    def _line(self, name: str) -> HandItems:
        require(name in self.lines, f"There is no conveyor {shortened(name)}.")
        return self.lines[name]


def manual_controls(plant: Plant, assembled: Assembled) -> ManualControls:
    """Return what can be worked by hand in this machine."""
    switches = frozenset(
        name
        for name, signal in assembled.signals.items()
        if isinstance(signal, Bit) and is_control(name)
    )
    controls = plant.controls
    return ManualControls(
        switches,
        {each.quantity: each for each in controls if isinstance(each, HandSetting)},
        {each.line: each for each in controls if isinstance(each, HandItems)},
    )
