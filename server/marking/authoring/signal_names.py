"""The names that conditions and scenarios may use, as far as a draft already says.

A draft has faults most of the time, so each point and each part counts by itself.
"""

import re
from typing import Any

from pydantic import TypeAdapter, ValidationError

from server.ladder.elements import BLOCK_TYPES
from server.ladder.points import Direction
from server.marking.files.drafts import points_and_plant
from server.marking.files.plant_form import GROUPS
from server.plant.controls import HandSwitch
from server.plant.devices import kind_of
from server.plant.part import Part
from server.plant.plant import LISTS, Plant
from server.plant.step import PlantStep
from server.scan.assembler import Assembler

_DECLARED = re.compile(r"\b([A-Za-z_][A-Za-z0-9_]*)\s*(?:AT\s*\S+\s*)?:\s*([A-Za-z_]+)\b")


def signal_names(data: dict[str, Any]) -> dict[str, list[str]]:
    """Return the names by where they come from; a group without names is left out."""
    plant = _readable_plant(data.get("plant"))
    inputs, outputs, panel, actuators = _of_points(data)
    quantities, hands = _of_plant(plant)
    groups = {
        "Inputs": inputs,
        "Outputs": outputs,
        "Bits that the statement names": [
            symbol
            for row in _dicts(data.get("internal bits"))
            if isinstance(symbol := row.get("symbol"), str)
        ],
        "Hands on the panel": [*panel, *hands],
        "What actuators do": actuators,
        "Supply": ["power"],
        "Quantities and counts": quantities,
        "Observer": _of_observer(data.get("observer")),
    }
    return {group: names for group, names in groups.items() if names}


def _readable_plant(written: Any) -> Plant | None:
    """Return the plant; where it is faulty, its parts that stand by themselves."""
    _, plant = points_and_plant({"plant": written})
    if plant is not None or not isinstance(written, dict):
        return plant
    lists = [written, *(g for key in GROUPS if isinstance(g := written.get(key), dict))]
    alone = {
        key: [row for each in lists for row in _dicts(each.get(key)) if _reads(LISTS[key], row)]
        for key in ("vessels", "axes", "motors")
    }
    return points_and_plant({"plant": alone})[1]


def _dicts(rows: Any) -> list[dict[str, Any]]:
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _reads(kind: type[Part], row: dict[str, Any]) -> bool:
    try:
        TypeAdapter(kind).validate_python(row)
    except ValidationError:
        return False
    return True


def _of_points(data: dict[str, Any]) -> tuple[list[str], list[str], list[str], list[str]]:
    """Return inputs, outputs, controls of the panel, and actuators."""
    inputs, outputs, panel, actuators = list[str](), list[str](), list[str](), list[str]()
    for row in _dicts(data.get("points")):
        points, _ = points_and_plant({"points": [row]})
        for point in points:
            kind = kind_of(point)
            if point.direction is Direction.INPUT:
                inputs.append(point.symbol)
                panel += [f"panel.{point.symbol}"] if kind.by_hand else []
            else:
                outputs.append(point.symbol)
                actuators += [] if kind.number else [f"{point.symbol}.on"]
    return inputs, outputs, panel, actuators


def _of_plant(plant: Plant | None) -> tuple[list[str], list[str]]:
    """Return quantities, and controls that are worked by hand."""
    if plant is None:
        return [], []
    try:
        gauges = list(PlantStep(plant, Assembler()).gauges)
    except ValueError:
        gauges = []
    hands = [each.signal for each in plant.controls if isinstance(each, HandSwitch)]
    return gauges, hands


def _of_observer(text: object) -> list[str]:
    """Return the observer's variables and the outputs of its blocks, in order of declaration."""
    found: list[str] = []
    declared = str(text or "").partition("END_VAR")[0]
    for symbol, kind in _DECLARED.findall(declared):
        block = BLOCK_TYPES.get(kind.upper())
        name = symbol.lower()
        found += [f"{name}.{pin.name}" for pin in block.outputs] if block else [name]
    return found
