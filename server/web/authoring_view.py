"""What the author's page shows of a draft: fields with their faults, drawings, help."""

from dataclasses import dataclass
from json import dumps
from typing import Any

from markupsafe import Markup
from pydantic import ValidationError

from server.marking.authoring.demands import TwoDemands, two_demands
from server.marking.authoring.implied import Implied, implied_requirements
from server.marking.authoring.plant_templates import TEMPLATES
from server.marking.check import Check
from server.marking.checks import CHECKS, kind_of_check, read_check
from server.marking.exercise import Exercise
from server.marking.files import plant_schema
from server.marking.files.document import FieldPath
from server.marking.files.drafts import Draft, Reading, bare_exercise, points_and_plant
from server.marking.files.draws import told
from server.marking.files.exercise_names import signals_of
from server.marking.files.exercise_schema import (
    BitPart,
    ExerciseForm,
    ParameterPart,
    PointPart,
    RequirementPart,
    ScenarioPart,
    StepPart,
)
from server.marking.files.form import Part
from server.marking.files.measures import milliseconds_of
from server.marking.structure import RULES
from server.marking.telling.check_pictures import draw_check
from server.marking.telling.scenario_drawing import LONGEST_MS, draw_scenario
from server.marking.telling.step_handles import Handle, draw_handles
from server.plant.devices import KINDS
from server.plant.drawing import draw_plant
from server.web.authoring_fields import Field, faults_at, fields_of

PLANT_PARTS: dict[str, dict[str, type[Part]]] = {
    "tank": {
        "vessels": plant_schema.VesselPart,
        "streams": plant_schema.StreamPart,
        "outlets": plant_schema.OutletPart,
        "level switches": plant_schema.LevelSwitchPart,
        "level transmitters": plant_schema.LevelTransmitterPart,
        "axes": plant_schema.AxisPart,
        "position switches": plant_schema.PositionSwitchPart,
    },
    "conveyor": {
        "belts": plant_schema.BeltPart,
        "eyes": plant_schema.EyePart,
        "stops": plant_schema.StopPart,
        "pushers": plant_schema.PusherPart,
        "axes": plant_schema.AxisPart,
        "position switches": plant_schema.PositionSwitchPart,
    },
}
CHECK_MENU = {key: kind.menu for key, kind in CHECKS.items()}


@dataclass(frozen=True, slots=True)
class PartView:
    """A part with its fields; ``path`` is its place as JSON."""

    path: str
    title: str
    fields: list[Field]
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckView:
    part: PartView
    passes: Markup | None
    fails: Markup | None


@dataclass(frozen=True, slots=True)
class RequirementView:
    part: PartView
    id: str
    split: TwoDemands | None
    checks: list[CheckView]
    checks_path: str


@dataclass(frozen=True, slots=True)
class ScenarioView:
    part: PartView
    steps: list[PartView]
    steps_path: str
    drawing: Markup | None
    handles: Markup | None


@dataclass(frozen=True, slots=True)
class SheetView:
    """Everything of one draft that can be edited."""

    head: list[Field]
    statement: str
    parameters: list[PartView]
    numbers: str
    points: list[PartView]
    bits: list[PartView]
    plant: Markup | None
    plant_kind: str
    plant_groups: dict[str, list[PartView]]
    plant_faults: tuple[str, ...]
    requirements: list[RequirementView]
    implied: list[Implied]
    scenarios: list[ScenarioView]
    signals: list[str]
    suggestions: dict[str, list[str]]


def sheet_view(draft: Draft, reading: Reading) -> SheetView:
    data, faults, filled = reading.data or {}, reading.faults, reading.filled
    suggestions = _suggestions(data)

    def parts(form: type[Part], path: FieldPath, name: str) -> list[PartView]:
        rows = _at(data, path)
        return [
            _part(form, row, (*path, number), f"{name} {number + 1}", reading, suggestions)
            for number, row in enumerate(rows if isinstance(rows, list) else ())
        ]

    points, plant = points_and_plant(filled)
    bare = bare_exercise(filled)
    plant_data = data.get("plant") if isinstance(data.get("plant"), dict) else {}
    kind = next((k for k in PLANT_PARTS if k in (plant_data or {})), "")
    groups = {
        key: parts(form, ("plant", kind, key), key[:-1] if key != "axes" else "axis")
        for key, form in (PLANT_PARTS[kind].items() if kind else ())
    }
    if kind == "conveyor":
        own: list[tuple[type[Part], FieldPath, str]] = [
            (plant_schema.ItemPart, ("plant", kind, "items"), "items"),
            (plant_schema.FeederPart, ("plant", kind, "feeder"), "feeder"),
        ]
        groups = {"the line": [
            _part(form, _at(data, path), path, name, reading, suggestions)
            for form, path, name in own
        ]} | groups  # fmt: skip
    wanted = {str(r.get("text")) for r in _dicts(filled, "requirements")}
    return SheetView(
        head=[f for f in fields_of(ExerciseForm, data, (), faults) if f.kind.key != "exercise"],
        statement=str(filled.get("statement") or ""),
        parameters=parts(ParameterPart, ("parameters",), "parameter"),
        numbers=told(dict(reading.exercise.numbers)) if reading.exercise else "",
        points=parts(PointPart, ("points",), "point"),
        bits=parts(BitPart, ("internal bits",), "bit"),
        plant=_drawn_plant(data, points, plant),
        plant_kind=kind,
        plant_groups=groups,
        plant_faults=faults_at(faults, ("plant",), inside=not kind)
        + (faults_at(faults, ("plant", kind), inside=False) if kind else ()),
        requirements=[
            _requirement(row, number, reading, suggestions)
            for number, row in enumerate(_dicts(data, "requirements"))
        ],
        implied=[i for i in implied_requirements(points, plant) if i.text not in wanted],
        scenarios=[
            _scenario(row, number, reading, suggestions)
            for number, row in enumerate(_dicts(data, "scenarios"))
        ],
        signals=_signals(bare),
        suggestions=suggestions,
    )


def _part(
    form: type[Part],
    row: Any,
    path: FieldPath,
    title: str,
    reading: Reading,
    suggestions: dict[str, list[str]],
) -> PartView:
    def suggest(key: str) -> str:
        return f"list-{key.replace(' ', '-')}" if key in suggestions else ""

    faults = faults_at(reading.faults, path, inside=False)
    return PartView(dumps(path), title, fields_of(form, row, path, reading.faults, suggest), faults)


def _requirement(
    row: dict[str, Any], number: int, reading: Reading, suggestions: dict[str, list[str]]
) -> RequirementView:
    path: FieldPath = ("requirements", number)
    part = _part(RequirementPart, row, path, str(row.get("id", "")), reading, suggestions)
    text = row.get("text")
    rows = row.get("checks")
    checks = [
        _check(check, (*path, "checks", place), reading, suggestions)
        for place, check in enumerate(rows if isinstance(rows, list) else ())
    ]
    return RequirementView(
        part,
        str(row.get("id", "")),
        two_demands(text) if isinstance(text, str) else None,
        checks,
        dumps((*path, "checks")),
    )


def _check(
    row: Any, path: FieldPath, reading: Reading, suggestions: dict[str, list[str]]
) -> CheckView:
    form = kind_of_check(row) or CHECKS["never"]
    name = form.key()
    view = _part(form, row, path, name, reading, suggestions)
    # What the pattern says comes first; its sentences and scenarios after it.
    own = [f for f in view.fields if f.kind.key not in Check.model_fields]
    rest = [f for f in view.fields if f.kind.key in Check.model_fields]
    view = PartView(view.path, name, own + rest, view.faults)
    try:
        drawn = draw_check(read_check(_at(reading.filled, path)))
    except ValidationError:
        drawn = None
    if drawn is None:
        return CheckView(view, None, None)
    return CheckView(view, Markup(drawn[0].drawing), Markup(drawn[1].drawing))


def _scenario(
    row: dict[str, Any], number: int, reading: Reading, suggestions: dict[str, list[str]]
) -> ScenarioView:
    path: FieldPath = ("scenarios", number)
    part = _part(ScenarioPart, row, path, str(row.get("name", "")), reading, suggestions)
    rows = row.get("steps")
    steps = [
        _part(StepPart, step, (*path, "steps", place), f"step {place + 1}", reading, suggestions)
        for place, step in enumerate(rows if isinstance(rows, list) else ())
    ]
    drawing = handles = None
    exercise = reading.exercise
    if exercise is not None:
        program = next((p.program for p in reading.programs if p.right), None)
        written = [r if isinstance(r, dict) else {} for r in rows or ()]
        # A tap is two steps of the scenario: pressed, and released.
        taps = [1 + bool(step.get("tap")) for step in written]
        first = [sum(taps[:place]) for place in range(len(taps))]
        drawn = draw_scenario(exercise, exercise.scenarios[number], program, first)
        drawing = Markup(drawn.svg)
        row_of_handles = _handles(written, drawn.moments, number)
        handles = Markup(draw_handles(row_of_handles, drawn.to_ms, f"Steps of {part.title}"))
    return ScenarioView(part, steps, dumps((*path, "steps")), drawing, handles)


def _handles(
    rows: list[dict[str, Any]], moments: tuple[int | None, ...], scenario: int
) -> list[Handle]:
    """Each step that comes, and how far it may be moved before it meets its neighbours."""
    handles = []
    waits = [milliseconds_of(row.get("after")) for row in rows]
    for place, (row, at) in enumerate(zip(rows, moments, strict=True)):
        if at is None:
            continue
        after = waits[place]
        behind = waits[place + 1] if place + 1 < len(rows) else None
        room = LONGEST_MS if behind is None else behind
        done = (
            f"{key} {', '.join(map(str, value)) if isinstance(value, list | dict) else value}"
            for key, value in row.items()
            if key not in ("after", "when", "within")
        )
        handles.append(
            Handle(
                number=place + 1,
                words="; ".join(done) or "nothing",
                at_ms=at,
                least_ms=at if after is None else at - after,
                most_ms=at if after is None else at + room,
                key=f"{scenario}-{place}",
            )
        )
    return handles


def _drawn_plant(data: dict[str, Any], points: Any, plant: Any) -> Markup | None:
    if plant is None:
        return None
    try:
        return Markup(draw_plant(plant, points, title=str(data.get("title") or "Plant")))
    except (ValueError, KeyError):
        # Points and plant do not fit together yet.
        return Markup(draw_plant(plant, (), title="Plant", panel=False))


def _signals(bare: Exercise | None) -> list[str]:
    if bare is None:
        return []
    try:
        return sorted(signals_of(bare))
    except (ValueError, KeyError, AssertionError):
        return []


def _suggestions(data: dict[str, Any]) -> dict[str, list[str]]:
    """What may stand in fields that name something, by key."""
    points = _dicts(data, "points")
    symbols = [str(p.get("symbol")) for p in points]
    outputs = [str(p.get("symbol")) for p in points if str(p.get("address")).startswith("%Q")]
    tank = _at(data, ("plant", "tank"))
    vessels = [str(v.get("name")) for v in _dicts(tank or {}, "vessels")]
    axes = [str(a.get("name")) for a in _dicts(tank or {}, "axes")]
    outcomes = data.get("outcomes")
    return {
        "kind": list(KINDS),
        "actuator": outputs,
        "forward": outputs,
        "back": outputs,
        "by": symbols,
        "vessel": vessels,
        "from": vessels,
        "to": vessels,
        "axis": axes,
        "uses": list(RULES),
        "of": symbols,
        "outcomes": list(outcomes) if isinstance(outcomes, dict) else [],
        "judges": [str(r.get("id")) for r in _dicts(data, "requirements")],
    }


def _dicts(data: Any, key: str) -> list[dict[str, Any]]:
    rows = data.get(key) if isinstance(data, dict) else None
    return [r if isinstance(r, dict) else {} for r in rows] if isinstance(rows, list) else []


def _at(data: Any, path: FieldPath) -> Any:
    for key in path:
        if isinstance(data, list) and isinstance(key, int) and key < len(data):
            data = data[key]
        elif isinstance(data, dict):
            data = data.get(str(key))
        else:
            return None
    return data


TEMPLATE_NAMES = {name: told for name, (told, _, _) in TEMPLATES.items()}


def part_at(path: FieldPath, data: Any) -> type[Part] | None:
    """The form of the part at ``path``; None where no part stands."""
    match path:
        case ():
            return ExerciseForm
        case ("parameters", int()):
            return ParameterPart
        case ("points", int()):
            return PointPart
        case ("internal bits", int()):
            return BitPart
        case ("plant", "conveyor", "items"):
            return plant_schema.ItemPart
        case ("plant", "conveyor", "feeder"):
            return plant_schema.FeederPart
        case ("plant", str(kind), str(key), int()) if key in PLANT_PARTS.get(kind, {}):
            return PLANT_PARTS[kind][key]
        case ("requirements", int()):
            return RequirementPart
        case ("requirements", int(number), "checks", int(place)):
            check = data["requirements"][number]["checks"][place]
            return kind_of_check(check)
        case ("scenarios", int()):
            return ScenarioPart
        case ("scenarios", int(), "steps", int()):
            return StepPart
    return None
