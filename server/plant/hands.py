"""What a person may do to a plant by hand, beside the program: set a level, lay an item down."""

from dataclasses import dataclass
from enum import StrEnum

from server.plant.model import ConveyorPlant, Outlet, Plant, Stream


class HandKind(StrEnum):
    """How a control is worked."""

    SET = "set"
    SWITCH = "switch"
    LAY_DOWN = "lay down"
    CLEAR = "clear"


@dataclass(frozen=True, slots=True)
class HandControl:
    """One control that no program owns.

    ``signal`` is the quantity or plane that it works, or the line's name for items. ``low`` to
    ``high`` in ``unit`` is what it may be set to, or where on the line it acts. ``mark`` is what a
    marked item is, empty where items have no marks.
    """

    kind: HandKind
    signal: str
    label: str
    low: float = 0.0
    high: float = 1.0
    unit: str = ""
    mark: str = ""


def hand_controls(plant: Plant) -> tuple[HandControl, ...]:
    """Everything that may be done to a plant by hand, in the order of its parts."""
    controls = _conveyor(plant) if isinstance(plant, ConveyorPlant) else []
    if not isinstance(plant, ConveyorPlant):
        for v in plant.vessels:
            label = f"Level of {v.label or v.name}"
            controls.append(
                HandControl(HandKind.SET, f"{v.name}.level", label, high=v.height, unit="m")
            )
        parts: tuple[Stream | Outlet, ...] = (*plant.streams, *plant.outlets)
        controls += [_switch(p.name, p.label or p.tag) for p in parts if p.actuator is None]
    for axis in plant.axes:
        label = f"Position of {axis.label or axis.name}"
        controls.append(
            HandControl(HandKind.SET, f"{axis.name}.position", label, high=100, unit="%")
        )
    return tuple(controls)


def _conveyor(plant: ConveyorPlant) -> list[HandControl]:
    item, length = plant.item, plant.length
    return [
        HandControl(HandKind.LAY_DOWN, plant.name, f"Lay down a {item}", mark=plant.mark,
                    low=plant.item_length, high=length, unit="m"),
        HandControl(HandKind.CLEAR, plant.name, "Clear the conveyor", high=length, unit="m"),
        *(_switch(b.name, b.label or b.tag) for b in plant.belts if b.actuator is None),
        *([_switch("feeder", f"Feed {item}s")] if plant.feeder else []),
        _switch("exit_blocked", "Block the exit"),
    ]  # fmt: skip


def _switch(name: str, label: str) -> HandControl:
    return HandControl(HandKind.SWITCH, f"panel.{name}", label)
