"""What the author's page shows of a draft: fields with their faults, drawings, help."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from json import dumps
from typing import Any

from markupsafe import Markup
from pydantic import ValidationError

from server.marking.authoring.demands import TwoDemands, two_demands
from server.marking.authoring.implied import Implied, implied_requirements
from server.marking.authoring.plant_templates import TEMPLATES
from server.marking.authoring.signal_names import signal_names
from server.marking.check import Check
from server.marking.checks import CHECKS, kind_of_check, read_check
from server.marking.files.document import Fault, FieldPath
from server.marking.files.drafts import Draft, DraftReading, points_and_plant
from server.marking.files.draws import describe_draw
from server.marking.files.exercise_schema import (
    BitPart,
    ExerciseForm,
    FreePart,
    ParameterPart,
    PointPart,
    RequirementPart,
    ScenarioPart,
    StepPart,
)
from server.marking.files.form import FileMapping
from server.marking.files.plant_form import GROUPS, part_form
from server.marking.presentation.check_pictures import draw_check
from server.marking.presentation.scenario_drawing import LONGEST_MS, draw_scenario
from server.marking.presentation.step_handles import Handle, draw_handles
from server.marking.structure import RULES
from server.plant.devices import KINDS
from server.plant.drawing import draw_plant
from server.plant.measures import milliseconds_of
from server.plant.plant import LISTS, SINGLES
from server.web.authoring.fields import Field, faults_at, field_id, fields_of, kinds_of

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
class PlantGroup:
    """The parts of one list of the plant; ``path`` is the list's place as JSON.

    It is empty for a part of which there is only one.
    """

    title: str
    path: str
    parts: list[PartView]


@dataclass(frozen=True, slots=True)
class OpenFault:
    """A fault of the file, and the id of the field or part where it stands; empty without one."""

    place: str
    sentence: str
    id: str


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
    plant_place: str
    plant_groups: list[PlantGroup]
    plant_faults: tuple[str, ...]
    requirements: list[RequirementView]
    implied: list[Implied]
    free: list[PartView]
    scenarios: list[ScenarioView]
    signals: dict[str, list[str]]
    open_faults: list[OpenFault]
    suggestions: dict[str, list[str]]


def sheet_view(draft: Draft, reading: DraftReading) -> SheetView:
    data, faults, filled = reading.data or {}, reading.faults, reading.filled
    suggestions = _suggestions(data)

    def parts(form: type[FileMapping], path: FieldPath, name: str) -> list[PartView]:
        rows = _at(data, path)
        return [
            _part(form, row, (*path, number), f"{name} {number + 1}", reading, suggestions)
            for number, row in enumerate(rows if isinstance(rows, list) else ())
        ]

    points, plant = points_and_plant(filled)
    place = plant_place(data)
    groups = list(_plant_groups(data, reading, suggestions))
    wanted = {str(r.get("text")) for r in _dicts(filled, "requirements")}
    return SheetView(
        head=[f for f in fields_of(ExerciseForm, data, (), faults) if f.kind.key != "exercise"],
        statement=str(filled.get("statement") or ""),
        parameters=parts(ParameterPart, ("parameters",), "parameter"),
        numbers=describe_draw(dict(reading.exercise.numbers)) if reading.exercise else "",
        points=parts(PointPart, ("points",), "point"),
        bits=parts(BitPart, ("internal bits",), "bit"),
        plant=_drawn_plant(data, points, plant),
        plant_place=dumps(place),
        plant_groups=groups,
        plant_faults=faults_at(faults, ("plant",), inside=not groups)
        + (faults_at(faults, place, inside=False) if len(place) > 1 else ()),
        requirements=[
            _requirement(row, number, reading, suggestions)
            for number, row in enumerate(_dicts(data, "requirements"))
        ],
        implied=[i for i in implied_requirements(points, plant) if i.text not in wanted],
        free=parts(FreePart, ("free",), "item"),
        scenarios=[
            _scenario(row, number, reading, suggestions)
            for number, row in enumerate(_dicts(data, "scenarios"))
        ],
        signals=signal_names(filled),
        open_faults=list(_open_faults(data, faults)),
        suggestions=suggestions,
    )


def plant_place(data: dict[str, Any]) -> FieldPath:
    """Return where new parts of the plant go: into the group that it begins with, if it has one."""
    plant = data.get("plant")
    groups = [group for group in GROUPS if isinstance(plant, dict) and group in plant]
    return ("plant", *groups[:1])


def _plant_groups(
    data: dict[str, Any], reading: DraftReading, suggestions: dict[str, list[str]]
) -> Iterator[PlantGroup]:
    """Yield all parts that stand under ``plant``, in its groups and beside them."""
    for place in (("plant",), *(("plant", group) for group in GROUPS)):
        lists = _at(data, place)
        for key in lists if isinstance(lists, dict) else ():
            path, rows = (*place, key), lists[key]
            single = part_form(path[1:])
            if single is not None:
                yield PlantGroup(key, "", [_part(single, rows, path, key, reading, suggestions)])
            elif key in LISTS and isinstance(rows, list):
                kind = LISTS[key]
                parts = [
                    _part(kind, row, (*path, i), f"{kind.noun} {i + 1}", reading, suggestions)
                    for i, row in enumerate(rows)
                ]
                yield PlantGroup(key, dumps(path), parts)


def _part(
    form: type[Any],
    row: Any,
    path: FieldPath,
    title: str,
    reading: DraftReading,
    suggestions: dict[str, list[str]],
) -> PartView:
    def suggest(key: str) -> str:
        return f"list-{key.replace(' ', '-')}" if key in suggestions else ""

    faults = faults_at(reading.faults, path, inside=False)
    return PartView(dumps(path), title, fields_of(form, row, path, reading.faults, suggest), faults)


def _requirement(
    row: dict[str, Any], number: int, reading: DraftReading, suggestions: dict[str, list[str]]
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
    row: Any, path: FieldPath, reading: DraftReading, suggestions: dict[str, list[str]]
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
    row: dict[str, Any], number: int, reading: DraftReading, suggestions: dict[str, list[str]]
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
    """Return each step that comes, and how far it may be moved before it meets its neighbours."""
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


def _open_faults(data: dict[str, Any], faults: Sequence[Fault]) -> Iterator[OpenFault]:
    """Yield each fault once, with the innermost field around its place."""
    for fault in dict.fromkeys(faults):
        keys = fault.field.split(".")
        path = tuple(int(key) - 1 if key.isdecimal() else key for key in keys)
        held = next((path[:n] for n in range(len(path), 0, -1) if _is_field(path[:n], data)), None)
        yield OpenFault(fault.field, fault.sentence, "" if held is None else field_id(held))


def _is_field(path: FieldPath, data: Any) -> bool:
    try:
        part = part_at(path[:-1], data)
    except (LookupError, TypeError):
        return False
    return part is not None and any(kind.key == path[-1] for kind in kinds_of(part))


def _suggestions(data: dict[str, Any]) -> dict[str, list[str]]:
    """Return what may stand in fields that name something, by what they name or by their key."""
    points = _dicts(data, "points")
    symbols = [str(p.get("symbol")) for p in points]
    outputs = [str(p.get("symbol")) for p in points if str(p.get("address")).startswith("%Q")]
    lists = [_at(data, place) for place in (("plant",), *(("plant", group) for group in GROUPS))]
    named = {
        key: [str(row["name"]) for each in lists for row in _dicts(each, key) if "name" in row]
        for key in LISTS
    }
    outcomes = data.get("outcomes")
    return {
        "kind": list(KINDS),
        "outputs": outputs,
        "symbols": symbols,
        **{key: names for key, names in named.items() if names},
        "uses": list(RULES),
        "of": symbols,
        "outcomes": list(outcomes) if isinstance(outcomes, dict) else [],
        "judges": [str(r.get("id")) for r in _dicts(data, "requirements")],
        "follows": [str(r.get("id")) for r in _dicts(data, "requirements")],
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


PLANT_KEYS = (*LISTS, *SINGLES)
"""The keys under which parts of a plant stand."""

TEMPLATE_NAMES = {name: describe_draw for name, (describe_draw, _, _) in TEMPLATES.items()}


def part_at(path: FieldPath, data: Any) -> type[Any] | None:
    """Return the form of the part at ``path``; None where no part stands."""
    match path:
        case ():
            return ExerciseForm
        case ("parameters", int()):
            return ParameterPart
        case ("points", int()):
            return PointPart
        case ("internal bits", int()):
            return BitPart
        case ("plant", *rest):
            return part_form(tuple(rest))
        case ("free", int()):
            return FreePart
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
