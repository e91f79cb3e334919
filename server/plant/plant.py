"""A plant: which parts there are, in which order they are listed, and what they are together.

``PartLists`` is the catalogue of parts: everything that loads, checks, describes, draws or runs a
plant walks over its fields. A new kind of part is a file of
``server.plant.parts`` and a field here.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cache
from types import UnionType
from typing import Annotated, Any, ClassVar, Union, get_args, get_origin, get_type_hints

from pydantic import ConfigDict, Field
from pydantic.fields import FieldInfo

from server.plant.checks import require, require_different
from server.plant.controls import HandControl
from server.plant.fields import NAMES, PART_CONFIG, Many, key_of
from server.plant.part import Part
from server.plant.parts.auxiliary_contact import AuxiliaryContact
from server.plant.parts.axis import Axis
from server.plant.parts.belt import Belt
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.heater import Heater
from server.plant.parts.level_switch import LevelSwitch
from server.plant.parts.level_transmitter import LevelTransmitter
from server.plant.parts.motor import Motor
from server.plant.parts.outlet import Outlet
from server.plant.parts.overload_relay import OverloadRelay
from server.plant.parts.position_switch import PositionSwitch
from server.plant.parts.pusher import Pusher
from server.plant.parts.stop import Stop
from server.plant.parts.stream import Stream
from server.plant.parts.temperature_switch import TemperatureSwitch
from server.plant.parts.vessel import Vessel
from server.plant.parts_view import Kind
from server.plant.track import Track


@dataclass(frozen=True, slots=True)
class PartLists:
    """Parts by kind, as a file lists them."""

    __pydantic_config__: ClassVar[ConfigDict] = PART_CONFIG

    vessels: Annotated[Many[Vessel], Field(max_length=8)] = ()
    streams: Many[Stream] = ()
    outlets: Many[Outlet] = ()
    level_switches: Many[LevelSwitch] = ()
    level_transmitters: Many[LevelTransmitter] = ()
    belts: Annotated[Many[Belt], Field(max_length=8)] = ()
    line: ConveyorLine | None = None
    feeder: Feeder | None = None
    eyes: Many[Eye] = ()
    stops: Many[Stop] = ()
    pushers: Many[Pusher] = ()
    axes: Many[Axis] = ()
    position_switches: Many[PositionSwitch] = ()
    motors: Annotated[Many[Motor], Field(max_length=8)] = ()
    auxiliary_contacts: Many[AuxiliaryContact] = ()
    overload_relays: Many[OverloadRelay] = ()
    heaters: Many[Heater] = ()
    temperature_switches: Many[TemperatureSwitch] = ()

    @property
    def parts(self) -> tuple[Part, ...]:
        """All parts, in the order of the fields; what a subclass has beside them is left out."""
        return tuple(part for each in fields(self) for part in _listed(self, each.name))


@dataclass(frozen=True, slots=True)
class Plant(PartLists):
    """Parts that fit together; wrong combinations raise ValueError with a sentence."""

    def __post_init__(self) -> None:
        parts = self.parts
        require_different("name", (name for part in parts for name in part.names()))
        require_different("tag", self.tags)
        for part in parts:
            self._check_references(part)
        for part in parts:
            part.check(self)

    def of(self, kind: type[Kind]) -> tuple[Kind, ...]:
        """Return all parts of one kind, in their order."""
        return tuple(part for part in self.parts if isinstance(part, kind))

    def label(self, name: str | None) -> str:
        """Return what people call the part with this name, None being outside."""
        if name is None:
            return "outside"
        return next(str(getattr(p, "label", name)) for p in self.parts if name in p.names())

    @property
    def track(self) -> Track | None:
        """The line on which items travel, None where there is none."""
        if self.line is None:
            return None
        line = self.line
        belts = tuple((belt.name, belt.length) for belt in self.belts)
        return Track(line.name, line.item_length, line.gap, line.item, line.mark, belts)

    @property
    def tags(self) -> tuple[str, ...]:
        """The tags of all parts."""
        return tuple(tag for part in self.parts for tag in part.tags())

    @property
    def controls(self) -> tuple[HandControl, ...]:
        """Everything that may be done to the plant by hand."""
        return tuple(control for part in self.parts for control in part.controls(self))

    def _check_references(self, part: Part) -> None:
        """Require that each part that a field names is there."""
        for field_name, list_name in references_of(type(part)).items():
            name = getattr(part, field_name)
            if name is not None:
                known = {n for each in _listed(self, list_name) for n in each.names()}
                own, noun = (*part.names(), *part.tags())[0], PART_KINDS[list_name].noun
                require(name in known, f"{own}: no {noun} {name}.")


def _listed(lists: PartLists, field_name: str) -> tuple[Part, ...]:
    value = getattr(lists, field_name)
    listed = value if isinstance(value, tuple) else (value,)
    return tuple(part for part in listed if isinstance(part, Part))


def _kinds_in(hint: Any) -> Iterator[type[Part]]:
    if isinstance(hint, type) and issubclass(hint, Part):
        yield hint
    for inner in get_args(hint):
        yield from _kinds_in(inner)


PART_KINDS: dict[str, type[Part]] = {
    name: next(_kinds_in(hint))
    for name, hint in get_type_hints(PartLists, include_extras=True).items()
    if name != "__pydantic_config__"
}
"""Every kind of part by its field of ``PartLists``."""

LISTS: dict[str, type[Part]] = {
    key_of(each.name): PART_KINDS[each.name] for each in fields(PartLists) if each.default == ()
}
"""The kinds of which there may be several, by their key in a file."""

SINGLES: dict[str, type[Part]] = {
    key_of(name): kind for name, kind in PART_KINDS.items() if key_of(name) not in LISTS
}
"""The kinds of which there is at most one, by their key."""

for _kind in PART_KINDS.values():
    _missing = [*getattr(_kind, "__abstractmethods__", ())]
    _missing += [name for name in ("noun",) if not hasattr(_kind, name)]
    assert not _missing, f"{_kind.__name__} does not define {', '.join(sorted(_missing))}"


@cache
def references_of(kind: type[Part]) -> dict[str, str]:
    """Return the fields of a part that name other parts, with the field that lists those."""
    hints = get_type_hints(kind, include_extras=True)
    found = {name: _named_by(hint) for name, hint in hints.items()}
    return {name: named for name, named in found.items() if named in PART_KINDS}


def _named_by(hint: Any) -> str:
    """Return the key after NAMES in the annotation of a field; empty where there is none."""
    if get_origin(hint) in (Union, UnionType):
        return next((named for inner in get_args(hint) if (named := _named_by(inner))), "")
    for metadata in getattr(hint, "__metadata__", ()):
        extra = metadata.json_schema_extra if isinstance(metadata, FieldInfo) else None
        if isinstance(extra, dict) and NAMES in extra:
            return str(extra[NAMES])
    return _named_by(get_args(hint)[0]) if get_origin(hint) is Annotated else ""
