"""Parameters of an exercise: numbers within a range, drawn anew for each student.

A draw follows from a seed alone, so that it can be repeated; the seed says whose numbers they are
and means nothing here. The empty seed draws the middle of each range.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from hashlib import sha256
from typing import Any

from pydantic import ConfigDict

from server.marking.files.document import Document, FieldPath
from server.marking.files.exercise_schema import ParameterPart, Parameters
from server.marking.files.form import FileMapping
from server.marking.files.placeholders import Draw, Filled, fill, has_places, plain
from server.marking.files.schema_faults import validated
from server.plant.measures import dimension_of, split_measure

MAX_VALUES = 1000
"""Values from the lowest to the highest of one parameter."""

_FOR_ALL = ("exercise", "title", "version", "summary", "outcomes", "parameters")
"""What is the same for everybody."""


@dataclass(frozen=True, slots=True)
class Parameter:
    """``count`` values from ``lowest`` in steps, all in ``unit``, which is empty for a number."""

    name: str
    lowest: Decimal
    step: Decimal
    count: int
    unit: str

    def value(self, number: int) -> str:
        """Return the value that is ``number`` steps above the lowest."""
        return f"{plain(self.lowest + number * self.step)} {self.unit}".strip()


class _Head(FileMapping):
    model_config = ConfigDict(extra="ignore")

    parameters: Parameters = ()


def read_parameters(document: Document) -> tuple[Parameter, ...]:
    """Return the parameters of a document. Raises FileFault with every fault in them."""
    if not isinstance(document.data, dict) or "parameters" not in document.data:
        return ()
    head = validated(document, _Head)
    found = []
    for number, part in enumerate(head.parameters if head else ()):
        try:
            found.append(_parameter(part))
        except ValueError as fault:
            document.fault(("parameters", number), str(fault))
        if part.name in [p.name for p in (head.parameters if head else ())[:number]]:
            document.fault(("parameters", number, "name"), f"{part.name} stands here twice.")
    document.refuse_if_faulty()
    return tuple(found)


def _parameter(part: ParameterPart) -> Parameter:
    measures = [split_measure(str(text)) for text in (part.from_, part.to, part.step)]
    unit = measures[0][1]
    dimension = dimension_of(unit)
    if any(dimension_of(each) is not dimension for _, each in measures):
        raise ValueError("'from', 'to' and 'step' have different kinds of unit. Use one of them.")
    sizes = dimension.units if dimension else {"": Decimal(1)}
    lowest, highest, step = (number * sizes[each] / sizes[unit] for number, each in measures)
    if step <= 0 or highest <= lowest:
        raise ValueError("'to' is more than 'from', and 'step' more than nothing.")
    steps = (highest - lowest) / step
    if abs(steps - round(steps)) > Decimal("1e-9"):
        raise ValueError("Steps that begin at 'from' do not arrive at 'to'. Change one of them.")
    if steps >= MAX_VALUES:
        raise ValueError(f"These are more than {MAX_VALUES} values. Take a larger step.")
    return Parameter(part.name, lowest, step, round(steps) + 1, unit)


def drawn(parameters: Sequence[Parameter], seed: str) -> Draw:
    """Return what a seed draws: each value as likely as another, each parameter by itself."""
    if not seed:
        return middle(parameters)
    return {p.name: p.value(_number(f"{seed}\n{p.name}") % p.count) for p in parameters}


def middle(parameters: Sequence[Parameter]) -> Draw:
    """Return what is marked with where no student is concerned."""
    return {p.name: p.value((p.count - 1) // 2) for p in parameters}


def corners(parameters: Sequence[Parameter]) -> tuple[Draw, ...]:
    """Return all at their lowest, and all at their highest; none without parameters."""
    if not parameters:
        return ()
    return (
        {p.name: p.value(0) for p in parameters},
        {p.name: p.value(p.count - 1) for p in parameters},
    )


def describe_draw(draw: Draw) -> str:
    """Return a draw in a line: soak 2.5 s, crates 4."""
    return ", ".join(f"{name} {value}" for name, value in draw.items())


def _number(seed: str) -> int:
    return int.from_bytes(sha256(seed.encode()).digest()[:8])


def fill_in(document: Document, draw: Draw) -> Document:
    """Return the document with the values of a draw; its faults are those of the document."""
    if not draw:
        return document
    filled: dict[FieldPath, Filled] = {}
    data = {
        key: _same(document, (key,), value)
        if key in _FOR_ALL
        else _filled(document, draw, filled, (key,), value)
        for key, value in document.data.items()
    }
    return replace(document, data=data, filled=filled)


def _filled(
    document: Document, draw: Draw, filled: dict[FieldPath, Filled], path: FieldPath, value: Any
) -> Any:
    match value:
        case dict():
            return {
                k: _filled(document, draw, filled, (*path, k), inner) for k, inner in value.items()
            }
        case list():
            return [
                _filled(document, draw, filled, (*path, i), inner) for i, inner in enumerate(value)
            ]
        case str() if has_places(value):
            found = filled[path] = fill(value, draw)
            for line, column, sentence in found.wrong:
                document.fault(path, sentence, line=line, column=column)
            # Where a whole number belongs, it is one.
            return int(found.text) if found.alone and found.text.isdecimal() else found.text
        case _:
            return value


def _same(document: Document, path: FieldPath, value: Any) -> Any:
    if path != ("parameters",):
        for place, text in _texts(path, value):
            if has_places(text):
                document.fault(place, "This is the same for everybody: no parameter stands here.")
    return value


def _texts(path: FieldPath, value: Any) -> Iterator[tuple[FieldPath, str]]:
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _texts((*path, key), inner)
