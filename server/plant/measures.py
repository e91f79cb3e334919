"""Measures as people write them, '100 ms' or '0.5 l/s', to whole milliseconds and SI units."""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from server.ladder.names import shortened

_MEASURE = re.compile(r"\s*(-?[0-9]{1,9}(?:\.[0-9]{1,9})?)\s*([^\s0-9.][^\s]*)\s*", re.ASCII)
_BARE = re.compile(r"-?[0-9]{1,9}", re.ASCII)


_KNOWN: list["Dimension"] = []
"""Every dimension that has been made; a kind of part may bring one of its own."""


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of measure: its units with their size in ``unit``, in which the core computes."""

    name: str
    unit: str
    units: dict[str, Decimal]
    example: str

    def __post_init__(self) -> None:
        _KNOWN.append(self)

    @property
    def json_schema(self) -> dict[str, Any]:
        """What a measure of this kind looks like, for editors."""
        units = "|".join(map(re.escape, self.units))
        pattern = rf"^\s*(-?[0-9]+(\.[0-9]+)?\s*({units})|<[a-z][^<>]*>)\s*$"
        return {"type": "string", "pattern": pattern, "examples": [self.example]}


def _units(**sizes: str) -> dict[str, Decimal]:
    return {name.replace("_", "/"): Decimal(size) for name, size in sizes.items()}


DURATION = Dimension("duration", "ms", _units(ms="1", s="1000", min="60000", h="3600000"), "100 ms")
LENGTH = Dimension("length", "m", _units(mm="0.001", cm="0.01", m="1"), "300 mm")
AREA = Dimension(
    "area", "m²", {"mm²": Decimal("1e-6"), "cm²": Decimal("1e-4"), "m²": Decimal(1)}, "0.8 m²"
)
VOLUME = Dimension("volume", "m³", {"l": Decimal("0.001"), "m³": Decimal(1)}, "250 l")
FLOW = Dimension(
    "flow",
    "m³/s",
    {"l/s": Decimal("0.001"), "l/min": Decimal("0.001") / 60, "m³/h": Decimal(1) / 3600},
    "0.5 l/s",
)
SPEED = Dimension("speed", "m/s", _units(mm_s="0.001", m_s="1"), "200 mm/s")
TEMPERATURE = Dimension("temperature", "°C", {"°C": Decimal(1)}, "60 °C")
PERCENT = Dimension("position", "%", {"%": Decimal(1)}, "50 %")


def dimension_of(unit: str) -> Dimension | None:
    """Return the kind of measure that people write with this unit; None if there is none."""
    return next((d for d in _KNOWN if unit in d.units), None)


def computed_in(unit: str) -> Dimension | None:
    """Return the kind of measure that the core computes in this unit; None if there is none."""
    return next((d for d in _KNOWN if d.unit == unit), None)


def split_measure(text: str) -> tuple[Decimal, str]:
    """Return number and unit of a measure, or of a bare number, whose unit is empty.

    Raises ValueError.
    """
    match = _MEASURE.fullmatch(text.replace("m2", "m²").replace("m3", "m³"))
    if match is not None:
        number, unit = match.groups()
    elif _BARE.fullmatch(text.strip()) is not None:
        number, unit = text.strip(), ""
    else:
        raise ValueError(f"{shortened(text)} is no measure and no number.")
    if unit and dimension_of(unit) is None:
        raise ValueError(f"{shortened(unit)} is no unit.")
    return Decimal(number), unit


def parse_measure(text: object, dimension: Dimension) -> float:
    """Return a measure in the core's unit: m, m², m³, m³/s, m/s; milliseconds for a duration.

    Raises ValueError with a sentence that says what is wrong and how to write it.
    """
    fix = f"Write it with its unit, like '{dimension.example}'."
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise ValueError(f"This is no {dimension.name}. {fix}")
    if isinstance(text, int | float):
        raise ValueError(f"The {dimension.name} {text} has no unit. {fix}")
    match = _MEASURE.fullmatch(text.replace("m2", "m²").replace("m3", "m³"))
    if match is None:
        raise ValueError(f"{shortened(text)} is no {dimension.name}. {fix}")
    number, unit = match.groups()
    if unit not in dimension.units:
        known = ", ".join(dimension.units)
        raise ValueError(
            f"{shortened(unit)} is no unit of a {dimension.name}. The units are {known}."
        )
    return float(Decimal(number) * dimension.units[unit])


def parse_milliseconds(text: object) -> int:
    """Return a duration, zero or more, in whole milliseconds.

    Raises ValueError like parse_measure.
    """
    ms = parse_measure(text, DURATION)
    if ms < 0:
        raise ValueError(f"The duration {shortened(str(text))} is negative. Write it without '-'.")
    if ms != int(ms):
        raise ValueError(f"{shortened(str(text))} is no whole number of milliseconds.")
    return int(ms)


def milliseconds_of(text: object) -> int | None:
    """Return the same, or None for what is no duration: nothing, or a name that stands for one."""
    try:
        return parse_milliseconds(text)
    except ValueError:
        return None
