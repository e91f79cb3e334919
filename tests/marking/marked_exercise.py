"""Two exercises that have every part of the schema, with markup in every field that there is.

The fields are found by walking the schema, so that a new one is among them by itself.
"""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from json import dumps
from typing import Any

from pydantic import ValidationError
from ruamel.yaml import YAML

from server.marking.checks import CHECKS, kind_of_check
from server.marking.files.document import Document, FileFault
from server.marking.files.exercise_file import build_exercise, exercise_schema
from server.marking.files.exercise_schema import ExerciseForm
from tests.marking.small_exercise import TEXT as SMALL

Path = tuple[str | int, ...]
SCHEMA = exercise_schema()

TANK = (
    SMALL.replace("version: 1\n", "version: 1\nscan period: 10 ms\n")
    .replace(
        "internal bits:",
        """\
  - {symbol: tank_level, address: "%IW2", device: LT-205, kind: level transmitter, label: Level}
  - {symbol: lid_shut, address: "%IX0.3", device: ZS-206, kind: position switch,
     wiring: normally open, label: Lid shut}
  - {symbol: lid_down, address: "%QX0.1", device: M-207, kind: contactor, label: Lid}
  - {symbol: picked_up, address: "%IX0.4", device: YS-211, kind: auxiliary contact,
     wiring: normally open, label: Picked up}
  - {symbol: overload_ok, address: "%IX0.5", device: ISH-212, kind: overload relay,
     wiring: normally closed, label: Overload}
  - {symbol: not_hot, address: "%IX0.6", device: TSH-213, kind: temperature switch,
     wiring: normally closed, label: Hot}
  - {symbol: stirring, address: "%QX0.2", device: M-214, kind: contactor, label: Agitator}
  - {symbol: heating, address: "%QX0.3", device: E-215, kind: heater contactor, label: Heater}
internal bits:""",
    )
    .replace(
        "    level switches:",
        """\
    outlets: [{name: drain, tag: LV-208, from: tank, diameter: 50 mm, label: Drain}]
    level transmitters: [{tag: LT-205, vessel: tank}]
    axes: [{name: lid, forward: lid_down, time forward: 1 s, time back: 1 s, label: Lid}]
    position switches: [{tag: ZS-206, axis: lid, at: 100, width: 4}]
    level switches:""",
    )
    .replace(
        "observer:",
        """\
  motors: [{name: mixer, tag: M-214, actuator: stirring, run up: 1 s, load: 70, label: Mixer}]
  auxiliary contacts: [{tag: YS-211, motor: mixer}]
  overload relays: [{tag: ISH-212, motor: mixer, trip class: 10}]
  heaters:
    - {name: coil, tag: E-215, vessel: tank, power: 40 kW, losses: 100 W/K, surroundings: 20 °C,
       start temperature: 55 °C, actuator: heating, label: Coil}
  temperature switches: [{tag: TSH-213, vessel: tank, at: 60 °C, hysteresis: 4 °C}]
observer:""",
    )
    .replace(
        "requirements:",
        """\
free:
  - {outputs: [fill_pump], when: tank_high, sentence: Whether the pump tries.}
requirements:""",
    )
    .replace(
        "      - {lasts: fill_pump",
        """\
      - {never: fill_pump, given: tank_high}
      - {always: stop_pb, given: power}
      - {only: fill_pump, after: start_pb}
      - {steady: fill_pump, changes: 4, window: 2 s}
      - {lasts: fill_pump""",
    )
    .replace(
        "      - {when: tank_high",
        """\
      - {after: 1 s, press: start_pb, turn on: drain, set: {tank.level: 500 mm}, power: on}
      - {after: 1 s, release: start_pb, turn off: drain, fault: {stop_pb: stuck on}}
      - {after: 1 s, mend: {stop_pb: stuck on}}
      - {when: tank_high""",
    )
    .replace(
        "statement: |",
        """\
parameters: [{name: soak, from: 1 s, to: 3 s, step: 1 s}]
feedback: {release: chart, chart from attempt: 2}
partial credit: {one edit: 0.5, two edits: 0.2}
statement: |""",
    )
)

CONVEYOR = """\
exercise: small-line
title: Small line
summary: A belt.
statement: Move it.
points:
  - {symbol: start_pb, address: "%IX0.0", device: HS-301, kind: push-button,
     wiring: normally open, label: Start}
  - {symbol: at_end, address: "%IX0.1", device: YS-302, kind: photo-eye,
     wiring: normally open, label: At the end}
  - {symbol: belt, address: "%QX0.0", device: M-303, kind: contactor, label: Belt}
  - {symbol: gate_valve, address: "%QX0.1", device: YV-304, kind: solenoid valve, label: Gate}
  - {symbol: reject_valve, address: "%QX0.2", device: YV-305, kind: solenoid valve, label: Reject}
plant:
  conveyor:
    name: boxes
    items: {name: box, length: 400 mm, gap: 100 mm, mark: dented}
    belts: [{name: line, tag: M-303, length: 4 m, speed: 400 mm/s, actuator: belt, label: Line}]
    feeder: {interval: 4 s}
    eyes: [{tag: YS-302, at: 3.6 m}]
    stops: [{name: gate, tag: YV-304, at: 2 m, by: gate_valve, label: Gate}]
    pushers: [{name: reject, tag: YV-305, at: 3 m, by: reject_valve, label: Reject}]
requirements:
  - id: R1
    text: Start starts the belt.
    kind: stated
    checks: [{never: belt AND NOT start_pb AND at_end, given: belt}]
scenarios:
  - name: Start
    items: [{at: 1 m}]
    steps:
      - {after: 1 s, press: start_pb, put: [{at: 3 m}], clear: {from: 3.5 m, to: 4 m}}
"""


def marker(number: int) -> str:
    return f"<img src=x onerror=alert({number})>"


def leaves(data: Any, rule: dict[str, Any], path: Path = ()) -> Iterator[tuple[Path, str]]:
    """Every place at which a value may stand, there or not, and the part that it is in.

    A list or mapping of values has a place behind its last.
    """
    rule = _told(data, rule)
    if "properties" in rule:
        for key, inner in rule["properties"].items():
            here = data.get(key) if isinstance(data, dict) else None
            yield from leaves(here, inner, (*path, key))
        yield path, rule["title"]
    elif rule.get("type") == "array":
        rows = data if isinstance(data, list) else [data] if isinstance(data, str) else []
        for number, row in enumerate(rows):
            yield from leaves(row, rule["items"], (*path, number))
        if "type" in rule["items"]:
            yield (*path, len(rows)), ""
    elif rule.get("type") == "object":
        for key in data if isinstance(data, dict) else ():
            yield (*path, key), ""
        yield (*path, ""), ""
    else:
        yield path, ""


def _told(data: Any, rule: dict[str, Any]) -> dict[str, Any]:
    """The rule itself, where the schema has a reference to it or a choice."""
    for each in rule.get("anyOf", ()):
        if each.get("type") != "null":
            rule = each
    if "oneOf" in rule:
        kind = kind_of_check(data) or CHECKS["never"]
        rule = {"$ref": f"#/$defs/{kind.__name__}"}
    while "$ref" in rule:
        rule = SCHEMA["$defs"][rule["$ref"].rpartition("/")[2]]
    return rule


def put(data: dict[str, Any], path: Path, value: str) -> dict[str, Any] | None:
    """The data with a value at a place; None where it can't stand beside what is there."""
    data = deepcopy(data)
    at: Any = data
    for key, behind in pairwise(path):
        if isinstance(at, dict):
            at = at.setdefault(str(key), [] if isinstance(behind, int) else {})
        elif isinstance(at, list):
            at = at[int(key)]
    if not isinstance(at, dict | list):
        return None
    if isinstance(at, list):
        at[int(path[-1]) :] = [value]
    else:
        at[str(path[-1]) or value] = value
    return data


def sound(data: dict[str, Any]) -> bool:
    try:
        build_exercise(Document("marked", deepcopy(data)), data["exercise"])
    except FileFault:
        return False
    return True


@dataclass(frozen=True)
class Marked:
    """Texts of an exercise with markup wherever it may be, and of some where it may not be.

    ``places`` are those of the first; ``parts`` are the parts of the schema that were met with.
    """

    whole: str
    faulty: tuple[str, ...]
    places: tuple[Path, ...]
    parts: frozenset[str]


@cache
def marked(base: str) -> Marked:
    data = YAML(typ="safe", pure=True).load(base)
    assert sound(data), "the base is sound"
    whole, places, parts = data, [], set()
    # What one fault hides is told where that part is right: a draft for each, in two steps.
    faulty: dict[tuple[object, bool], dict[str, Any]] = {}
    for number, (path, part) in enumerate(list(leaves(data, SCHEMA))):
        if part:
            parts.add(part)
        elif path != ("exercise",):
            tried = put(whole, path, marker(number))
            if tried is not None and sound(tried):
                whole = tried
                places.append(path)
            else:
                group = path[0], tried is not None and _fits(tried)
                more = put(faulty.get(group, data), path, marker(number))
                faulty[group] = more or faulty.get(group, data)
    texts = (dumps(each, ensure_ascii=False) for each in faulty.values())
    return Marked(dumps(whole, ensure_ascii=False), tuple(texts), tuple(places), frozenset(parts))


def _fits(data: dict[str, Any]) -> bool:
    """Whether data has the form of an exercise, whatever it says."""
    try:
        ExerciseForm.model_validate(data)
    except ValidationError:
        return False
    return True
