"""The form of ``plant`` in ``exercise.yaml``: lists of parts, side by side or in two groups.

All parts make up one plant, wherever they stand. The groups ``tank`` and ``conveyor`` say beside
their lists what a tank and a conveyor can't be without.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Annotated, Any, ClassVar

from pydantic import ConfigDict, Field

from server.marking.files.document import Document, FieldPath
from server.plant.checks import require
from server.plant.fields import PART_CONFIG, Length, Line, Many, key_of
from server.plant.part import Part
from server.plant.parts.belt import Belt
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.parts.vessel import Vessel
from server.plant.plant import LISTS, SINGLES, PartLists, Plant


@dataclass(frozen=True, slots=True)
class ItemsForm:
    """What travels on a conveyor."""

    __pydantic_config__: ClassVar[ConfigDict] = PART_CONFIG

    name: Line = "item"
    length: Length = field(kw_only=True)
    gap: Length = 0.0
    mark: str = ""


@dataclass(frozen=True, slots=True)
class TankForm(PartLists):
    """Lists with at least one vessel."""

    vessels: Annotated[Many[Vessel], Field(min_length=1, max_length=8)] = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class ConveyorForm(PartLists):
    """Lists with at least one belt; the line's name and its items stand beside them."""

    belts: Annotated[Many[Belt], Field(min_length=1, max_length=8)] = field(kw_only=True)
    name: Line = field(kw_only=True)
    items: ItemsForm = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class PlantForm(PartLists):
    """Everything that may stand under ``plant``."""

    tank: TankForm | None = None
    conveyor: ConveyorForm | None = None


GROUPS = ("tank", "conveyor")


def part_form(path: FieldPath) -> type[Part] | type[ItemsForm] | None:
    """Return the form of the part at a path below ``plant``; None where no part stands."""
    match path:
        case (str(group), *rest) if group in GROUPS:
            return ItemsForm if path == ("conveyor", "items") else part_form(tuple(rest))
        case (str(key),):
            return SINGLES.get(key)
        case (str(key), int()):
            return LISTS.get(key)
    return None


def build_plant(document: Document, path: FieldPath, form: PlantForm) -> Plant | None:
    """Return the plant of a form; None if it is faulty, which is noted at ``path``."""
    groups: list[PartLists] = [each for each in (form.tank, form.conveyor) if each is not None]
    if len(groups) == 1 and not form.parts:
        path = (*path, GROUPS[0] if form.tank else GROUPS[1])
    try:
        lists = [_lists(form), *map(_lists, groups)]
        if form.conveyor is not None:
            lists.append({"line": _line_of(form.conveyor)})
        return Plant(**_together(lists))
    except ValueError as fault:
        document.fault(path, str(fault))
        return None


def _lists(lists: PartLists) -> dict[str, object]:
    return {each.name: getattr(lists, each.name) for each in fields(PartLists)}


def _line_of(form: ConveyorForm) -> ConveyorLine:
    items = form.items
    return ConveyorLine(form.name, items.length, items.gap, items.name, items.mark)


def _together(lists: Sequence[Mapping[str, object]]) -> dict[str, Any]:
    """Return all lists of each key as one; of a single part there is at most one."""
    found: dict[str, Any] = {}
    for each in lists:
        for name, value in each.items():
            if isinstance(value, tuple):
                found[name] = (*found.get(name, ()), *value)
            elif value is not None:
                require(found.get(name) is None, f"A plant has one {key_of(name)}. Leave one out.")
                found[name] = value
    return found
