"""A faulty exercise file with something harmless in place of what is wrong with its form.

What does not fit the form hides what else is wrong: a name that leads nowhere can be told only once
all parts can be read. So faulty checks, steps and texts get a stand-in of the same place, and the
rest is looked at. Points, plant and observer get none: everything speaks of them.
"""

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace
from typing import Any

from server.marking.files.document import Document, Fault, FieldPath

_CHECK = {"always": "power", "given": "power"}
_STEP = {"after": "0 ms"}
_REQUIREMENT = {"text": "x", "kind": "stated", "checks": [_CHECK]}
_SCENARIO = {"name": "x", "steps": [_STEP]}
_HEAD = {"title": "x", "summary": "x", "statement": "x", "requirements": [], "scenarios": []}
_EVERYTHING_SPEAKS_OF = ("exercise", "points", "plant", "observer", "internal bits", "parameters")


def with_stand_ins(document: Document, faults: Sequence[Fault]) -> Document | None:
    """Return the document as far as stand-ins make it readable; None where they can't."""
    data = deepcopy(document.data)
    if not isinstance(data, dict) or any(key not in data for key in ("points", "plant")):
        return None
    try:
        if not all(_put(data, _path(fault)) for fault in faults):
            return None
    except (LookupError, TypeError, AttributeError):
        return None
    for key, part in (("requirements", _REQUIREMENT), ("scenarios", _SCENARIO)):
        if not data[key]:
            data[key] = [{"id": "R999", **part} if key == "requirements" else part]
    return replace(document, data=data, faults=[], advice=[])


def _path(fault: Fault) -> FieldPath:
    keys = fault.field.split(".") if fault.field else []
    return tuple(int(key) - 1 if key.isdecimal() else key for key in keys)


def _put(data: dict[str, Any], path: FieldPath) -> bool:
    """Put a stand-in where something is wrong; return whether there is one."""
    match path:
        case ():
            for key, value in _HEAD.items():
                data.setdefault(key, value)
        case ("requirements", int(i), "checks", int(k), *_):
            data["requirements"][i]["checks"][k] = _CHECK
        case ("scenarios", int(i), "steps", int(k), *_):
            data["scenarios"][i]["steps"][k] = _STEP
        case ("requirements", int(i), *rest):
            return "id" not in rest and _complete(data["requirements"][i], rest, _REQUIREMENT)
        case ("scenarios", int(i), *rest):
            return _complete(data["scenarios"][i], rest, _SCENARIO)
        case (str(key), *_) if key not in _EVERYTHING_SPEAKS_OF:
            return _complete(data, [key], _HEAD)
        case _:
            return False
    return True


def _complete(part: dict[str, Any], rest: Sequence[str | int], wanted: dict[str, Any]) -> bool:
    """Take out what is wrong in a part, and give it all that it must have."""
    if rest:
        part.pop(str(rest[0]), None)
    for key, value in wanted.items():
        part.setdefault(key, value)
    return True
