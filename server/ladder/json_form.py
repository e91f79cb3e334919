"""The JSON form: what the browser and the database hold. ``from_json(to_json(p)) == p``.

Its shape is that of the classes in ``program``.
"""

from dataclasses import MISSING, dataclass, fields
from enum import StrEnum
from functools import cache
from typing import Any, Literal, TypeAlias

from pydantic import TypeAdapter, ValidationError

from server.ladder.bounds import over_limits_of_parts
from server.ladder.json_faults import messages_of
from server.ladder.limits import MAX_JSON_DEPTH, MAX_NESTING
from server.ladder.messages import Place, ProgramError, error
from server.ladder.program import Program, Series

Json: TypeAlias = dict[str, Any]

VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stored(Program):
    version: Literal[1]


_STORED = TypeAdapter(_Stored)


def to_json(program: Program) -> Json:
    """Return the program as plain JSON data; what has its default is left out."""
    plain: Json = _plain(program)
    return {"version": VERSION} | plain


def from_json(data: object) -> Program:
    """Return the program of JSON data. Raises ProgramError that names each place and its fix."""
    if _deeper_than(MAX_JSON_DEPTH, data):
        raise ProgramError(
            [
                error(
                    "limit",
                    Place(),
                    f"More than {MAX_JSON_DEPTH} lists and objects stand inside each other.",
                    f"A rung may have {MAX_NESTING} branches inside each other.",
                )
            ]
        )
    try:
        stored = _STORED.validate_python(data)
    except ValidationError as refused:
        raise ProgramError(messages_of(refused)) from None
    program = Program(stored.name, stored.variables, stored.rungs, stored.comment)
    if too_large := over_limits_of_parts(program):
        raise ProgramError(too_large)
    return program


def _deeper_than(limit: int, data: object) -> bool:
    """Return whether lists and objects nest deeper, found level by level without recursion."""
    level = [data]
    for _ in range(limit):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return bool(level)


def _plain(value: Any) -> Any:
    match value:
        case Series(items):
            return [_plain(item) for item in items]
        case tuple():
            return [_plain(item) for item in value]
        case StrEnum():
            return value.value
        case None | str() | int():
            return value
        case _:
            shape: Any = type(value)
            given = ((name, getattr(value, name), default) for name, default in _named(shape))
            return {name: _plain(inner) for name, inner, default in given if inner != default}


@cache
def _named(shape: type) -> tuple[tuple[str, object], ...]:
    """Return the fields by name with their defaults.

    What names the kind comes first and has none.
    """
    ordered = sorted(fields(shape), key=lambda each: each.compare)
    return tuple((each.name, each.default if each.compare else MISSING) for each in ordered)
