"""A scenario as it stands in ``exercise.yaml``, ready to paste below ``scenarios``."""

from collections.abc import Iterator

from server.marking.exercise import Exercise
from server.marking.files.exercise_names import signals_of
from server.marking.scenario import Action, Adjust, Clear, Put, Scenario, Step, Turn
from server.scan.assembler import Quantity

_BRACKETS = dict.fromkeys(("fault", "mend", "set", "clear"), ("{", "}")) | {"power": ("", "")}
"""Around the values of a key in a step; other keys have lists."""


def scenario_text(scenario: Scenario, exercise: Exercise) -> str:
    """Return one item of the list, indented as the file is.

    What has its usual value is left out.
    """
    units = {
        name: signal.unit
        for name, signal in signals_of(exercise).items()
        if isinstance(signal, Quantity)
    }
    buttons = {p.symbol for p in exercise.points if p.description == "push-button"}
    lines = [f"  - name: {scenario.name}"]
    if scenario.judges:
        lines.append(f"    judges: [{', '.join(scenario.judges)}]")
    start, items = _start(scenario, units)
    if start:
        lines.append(f"    start: {{{start}}}")
    if items:
        lines.append(f"    items: [{items}]")
    lines.append("    steps:" if scenario.steps else "    steps: []")
    lines += [f"      - {{{_step(step, units, buttons)}}}" for step in scenario.steps]
    lines.append(f"    run on: {duration(scenario.run_on_ms)}")
    return "\n".join(lines) + "\n"


def _start(scenario: Scenario, units: dict[str, str]) -> tuple[str, str]:
    """Return the settings and the items of a starting state."""
    settings, items = [], []
    for action in scenario.start:
        match action:
            case Turn(control, on):
                settings.append(f"{control.removeprefix('panel.')}: {_switch(on)}")
            case Adjust(quantity, value):
                settings.append(f"{quantity}: {_measure(value, units[quantity])}")
            case Put():
                items.append(_item(action))
            case Clear():
                raise ValueError("A starting state holds no items that could be taken off.")
    return ", ".join(settings), ", ".join(items)


def _step(step: Step, units: dict[str, str], buttons: set[str]) -> str:
    if step.when is not None:
        parts = [f'when: "{step.when.text}"', f"within: {duration(step.within_ms)}"]
    else:
        parts = [f"after: {duration(step.after_ms)}"]
    gathered: dict[str, list[str]] = {}
    for action in step.actions:
        for key, value in _entries(action, units, buttons):
            gathered.setdefault(key, []).append(value)
    for key, values in gathered.items():
        before, behind = _BRACKETS.get(key, ("[", "]"))
        parts.append(f"{key}: {before}{', '.join(values)}{behind}")
    return ", ".join(parts)


def _entries(action: Action, units: dict[str, str], buttons: set[str]) -> Iterator[tuple[str, str]]:
    """Key and value of an action in a step."""
    match action:
        case Turn("power", on):
            yield "power", _switch(on)
        case Turn(control, on):
            kind, _, name = control.partition(".")
            if kind == "fault":
                symbol, _, fault = name.partition(".")
                yield ("fault" if on else "mend"), f"{symbol}: {fault}"
            elif name in buttons:
                yield ("press" if on else "release"), name
            else:
                yield ("turn on" if on else "turn off"), name
        case Adjust(quantity, value):
            yield "set", f"{quantity}: {_measure(value, units[quantity])}"
        case Put():
            yield "put", _item(action)
        case Clear(_, first, last):
            yield "clear", f"from: {_measure(first, 'm')}, to: {_measure(last, 'm')}"


def _item(place: Put) -> str:
    marked = ", marked: true" if place.marked else ""
    return f"{{at: {_measure(place.position, 'm')}{marked}}}"


def _switch(on: bool) -> str:
    return "on" if on else "off"


def _measure(value: float, unit: str) -> str:
    return f"{round(value * 1000, 6):g} mm" if unit == "m" else f"{value:g} {unit}"


def duration(ms: int) -> str:
    """Whole milliseconds as they stand in a file: 2 s, 1500 ms."""
    return f"{ms // 1000} s" if ms % 1000 == 0 and ms else f"{ms} ms"
