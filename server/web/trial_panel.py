"""The controls of a trial run's page: the panel, the plant worked by hand, and the faults."""

from dataclasses import dataclass

from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.machine import assemble
from server.marking.trial.hands import hands_on
from server.plant.conveyor import Line
from server.plant.devices import fault_names, kind_of
from server.plant.model import Belt, ConveyorPlant, Outlet, Plant, Stream, TankPlant

_NAMES = {
    "feeder": ("Feeder", "feeding", "stopped"),
    "exit_blocked": ("Exit", "blocked", "free"),
}
"""Controls of a conveyor that are no part of it: what each is called, on and off."""


@dataclass(frozen=True, slots=True)
class Control:
    """A control that a hand turns on and off. ``held``: only while it is pressed."""

    name: str
    label: str
    tag: str = ""
    held: bool = False
    on: str = "on"
    off: str = "off"


SUPPLY = Control("power", "Supply of the controller")


@dataclass(frozen=True, slots=True)
class LevelControl:
    """A level that may be set, in whole millimetres."""

    name: str
    label: str
    top_mm: int


@dataclass(frozen=True, slots=True)
class Faults:
    """The faults of one point: their names and the controls that bring them about."""

    point: PointDeclaration
    faults: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """Everything that a hand can work; ``item`` and ``mark`` say what lies on a conveyor."""

    operator: tuple[Control, ...]
    plant: tuple[Control, ...]
    levels: tuple[LevelControl, ...]
    line: Line | None
    item: str
    mark: str
    faults: tuple[Faults, ...]


def panel_of(exercise: Exercise) -> Panel:
    """The controls of an exercise; they do not depend on the program."""
    hands = hands_on(exercise.plant, assemble(exercise, Program("none")))
    operator = [
        point
        for point in exercise.points
        if point.direction is Direction.INPUT and kind_of(point).by_hand
    ]
    own = {f"panel.{point.symbol}" for point in operator}
    conveyor = exercise.plant if isinstance(exercise.plant, ConveyorPlant) else None
    return Panel(
        operator=tuple(map(_operator_control, operator)),
        plant=tuple(
            _plant_control(name, exercise.plant)
            for name in sorted(hands.controls)
            if name.startswith("panel.") and name not in own
        ),
        levels=_levels(exercise.plant),
        line=hands.line,
        item=conveyor.item if conveyor else "",
        mark=conveyor.mark if conveyor else "",
        faults=tuple(
            Faults(point, tuple((name.rpartition(".")[2], name) for name in fault_names(point)))
            for point in exercise.points
            if fault_names(point)
        ),
    )


def _operator_control(point: PointDeclaration) -> Control:
    held = not kind_of(point).maintained
    on, off = {
        "selector switch": ("here", "elsewhere"),
        "emergency stop": ("struck", "pulled out"),
    }.get(point.description, ("pressed", "released"))
    return Control(f"panel.{point.symbol}", point.label, point.device, held, on, off)


def _plant_control(name: str, plant: Plant) -> Control:
    part = name.removeprefix("panel.")
    if part in _NAMES:
        label, on, off = _NAMES[part]
        return Control(name, label, on=on, off=off)
    parts: tuple[Stream | Outlet | Belt, ...]
    parts = (*plant.streams, *plant.outlets) if isinstance(plant, TankPlant) else plant.belts
    found = next(each for each in parts if each.name == part)
    return Control(name, found.label or part.replace("_", " "), found.tag)


def _levels(plant: Plant) -> tuple[LevelControl, ...]:
    if not isinstance(plant, TankPlant):
        return ()
    return tuple(
        LevelControl(f"{v.name}.level", v.label or v.name, round(v.height * 1000))
        for v in plant.vessels
    )
