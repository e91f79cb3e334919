"""The controls of a trial run's page: the panel, the plant worked by hand, and the faults."""

from dataclasses import dataclass

from server.ladder.points import Direction, PointDeclaration
from server.marking.exercise import Exercise
from server.plant.controls import HandItems, HandSetting, HandSwitch
from server.plant.devices import fault_names, kind_of


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
class Faults:
    """The faults of one point: their names and the controls that bring them about."""

    point: PointDeclaration
    faults: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """Everything that a hand can work: the panel, then the plant's switches, settings and items."""

    operator: tuple[Control, ...]
    plant: tuple[Control, ...]
    settings: tuple[HandSetting, ...]
    lines: tuple[HandItems, ...]
    faults: tuple[Faults, ...]


def panel_of(exercise: Exercise) -> Panel:
    """Return the controls of an exercise; they do not depend on the program."""
    controls = exercise.plant.controls
    switches = [each for each in controls if isinstance(each, HandSwitch)]
    return Panel(
        operator=tuple(
            _operator_control(point)
            for point in exercise.points
            if point.direction is Direction.INPUT and kind_of(point).by_hand
        ),
        plant=tuple(
            Control(each.signal, each.label, each.tag, on=each.on, off=each.off)
            for each in sorted(switches, key=lambda each: each.name)
        ),
        settings=tuple(each for each in controls if isinstance(each, HandSetting)),
        lines=tuple(each for each in controls if isinstance(each, HandItems)),
        faults=tuple(
            Faults(point, tuple((name.rpartition(".")[2], name) for name in fault_names(point)))
            for point in exercise.points
            if fault_names(point)
        ),
    )


def _operator_control(point: PointDeclaration) -> Control:
    held = not kind_of(point).maintained
    on, off = {
        "selector switch": ("on", "off"),
        "emergency stop": ("struck", "pulled out"),
    }.get(point.description, ("pressed", "released"))
    return Control(f"panel.{point.symbol}", point.label, point.device, held, on, off)
