"""Values in place of the names of parameters: ``<soak>``, ``<soak + 100 ms>``, ``<soak in s>``.

A name gives its value as it was drawn, ``2.5 s``; with ``in`` it gives a number in that unit, as
conditions and programs need it: ``T#<soak - 100 ms in ms>ms``, ``sump.level >= <high in mm>``.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from typing import TypeAlias

from server.ladder.names import shortened
from server.plant.measures import Dimension, dimension_of, split_measure

Draw: TypeAlias = Mapping[str, str]
"""The drawn value of each parameter: a measure like ``2.5 s``, or a whole number."""

_PLACE = re.compile(
    r"<([a-z][a-z0-9_]*)(?: ([+-]) ([0-9.]+(?: ?[^\s<>0-9]\S{0,8}?)?))?(?: in ([^\s<>]{1,8}))?>"
)


@dataclass(frozen=True, slots=True)
class Filled:
    """A text with its values, and what is wrong: line and column before, and a sentence.

    ``shifts`` are line and columns of each value, and how much longer it is than its name;
    ``alone`` says that the text was one name and nothing else.
    """

    text: str
    wrong: tuple[tuple[int, int, str], ...] = ()
    shifts: tuple[tuple[int, int, int, int], ...] = ()
    alone: bool = False

    def column(self, line: int, column: int) -> int:
        """Return the column, before the values were put in, of a place of the text."""
        moved = 0
        for at, begins, ends, longer in self.shifts:
            if at == line and ends <= column:
                moved += longer
            elif at == line and begins < column:
                moved += column - begins
        return column - moved


def fill(text: str, draw: Draw) -> Filled:
    """Return the text with the values of a draw. Without parameters it is left alone."""
    if not draw or "<" not in text:
        return Filled(text)
    filled, end = "", 0
    wrong: list[tuple[int, int, str]] = []
    shifts: list[tuple[int, int, int, int]] = []
    for found in _PLACE.finditer(text):
        name, sign, by, unit = found.groups()
        try:
            value = _spelt(draw, name, sign or "+", by, unit)
        except ValueError as fault:
            wrong.append((*_place(text, found.start()), str(fault)))
            continue
        filled += text[end : found.start()]
        line, column = _place(filled, len(filled))
        shifts.append((line, column, column + len(value), len(value) - len(found[0])))
        filled += value
        end = found.end()
    alone = _PLACE.fullmatch(text) is not None
    return Filled(filled + text[end:], tuple(wrong), tuple(shifts), alone)


def has_places(text: str) -> bool:
    """Return whether something in the text looks like the name of a parameter."""
    return _PLACE.search(text) is not None


def _spelt(draw: Draw, name: str, sign: str, by: str | None, unit: str | None) -> str:
    if name not in draw:
        close = get_close_matches(name, draw, 1)
        fix = f"Did you mean <{close[0]}>?" if close else f"There are {', '.join(draw)}."
        raise ValueError(f"There is no parameter {shortened(name)}. {fix}")
    number, own = split_measure(draw[name])
    dimension = dimension_of(own)
    if by is not None:
        more, of = split_measure(by)
        number += (1 if sign == "+" else -1) * _in(more, of, own, dimension)
    if unit is None:
        return f"{plain(number)} {own}".strip()
    return plain(_in(number, own, unit, dimension))


def _in(number: Decimal, unit: str, wanted: str, dimension: Dimension | None) -> Decimal:
    """Return a number of one unit in another of the same dimension."""
    if unit == wanted:
        return number
    known = dimension.units if dimension else {"": Decimal(1)}
    for each in (unit, wanted):
        if each not in known:
            what = shortened(each) if each else "A number without unit"
            units = f"the units {', '.join(known)}" if dimension else "no unit"
            raise ValueError(f"{what} does not fit here: this parameter has {units}.")
    return number * known[unit] / known[wanted]


def plain(number: Decimal) -> str:
    """Return a number without exponent and needless zeros, to nine digits behind the point."""
    text = f"{round(number, 9):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _place(text: str, position: int) -> tuple[int, int]:
    return text.count("\n", 0, position) + 1, position - text.rfind("\n", 0, position)
