"""The fields of a part of ``exercise.yaml``, as the author's page shows them.

They follow from the schema: the page has what the file may have, under the same words. A value is
shown as it stands in the file and is kept as it was typed, wrong or not; what is wrong with it
stands beside it.
"""

import re
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from json import dumps
from typing import Any

from pydantic import TypeAdapter

from server.marking.expression import MAX_CONDITION
from server.marking.files.document import Fault, FieldPath, format_path
from server.marking.files.form import MAX_TEXT
from server.plant.fields import NAMES

_NUMBER = re.compile(r"-?[0-9]{1,9}(\.[0-9]{1,6})?")


@dataclass(frozen=True, slots=True)
class Kind:
    """How a value is typed: ``shape`` names the control, ``choices`` what can be chosen.

    ``names`` is what the value names (vessels, outputs), so that it can be suggested, ``told`` what
    the field says of itself.
    """

    key: str
    shape: str
    required: bool
    choices: tuple[str, ...] = ()
    example: str = ""
    names: str = ""
    told: str = ""

    @property
    def signals(self) -> bool:
        """Whether it is made of signals."""
        return self.shape == "condition" or self.key in ACTING or self.key == "observer"


ACTING = ("press", "release", "tap", "turn on", "turn off", "set", "fault", "mend", "start")
"""Fields of scenarios that name controls."""


@dataclass(frozen=True, slots=True)
class Field:
    """One control of the page; ``path`` is its place in the file as JSON."""

    kind: Kind
    path: str
    id: str
    label: str
    value: str
    faults: tuple[str, ...]
    suggest: str = ""
    help: str = ""

    @property
    def shown(self) -> bool:
        """Whether it is needed, or has something in it."""
        return self.kind.required or bool(self.value) or bool(self.faults)


def kinds_of(part: type) -> tuple[Kind, ...]:
    """Return the fields of a part that hold a value of their own, in the order of the schema."""
    return _kinds_of(part)


@cache
def _kinds_of(part: Hashable) -> tuple[Kind, ...]:
    assert isinstance(part, type), "a form is a class"
    schema = TypeAdapter(part).json_schema()
    required = set(schema.get("required", ()))
    found = []
    for key, rule in schema["properties"].items():
        kind = _kind(key, rule, schema.get("$defs", {}), key in required)
        if kind is not None:
            found.append(replace(kind, told=str(rule.get("description", ""))))
    return tuple(found)


def _kind(key: str, rule: dict[str, Any], parts: dict[str, Any], required: bool) -> Kind | None:
    for each in rule.get("anyOf", ()):
        if each.get("type") != "null":
            rule = {**each}
    if "$ref" in rule:
        rule = parts[rule["$ref"].rpartition("/")[2]]
    if "enum" in rule:
        return Kind(key, "choice", required, tuple(rule["enum"]))
    match rule.get("type"):
        case "string":
            example = str(next(iter(rule.get("examples", ())), ""))
            shape = {MAX_TEXT: "text", MAX_CONDITION: "condition"}.get(
                rule.get("maxLength", 0), "line"
            )
            names = str(rule.get(NAMES, ""))
            return Kind(key, "measure" if example else shape, required, (), example, names)
        case "integer" | "number":
            return Kind(key, "number", required)
        case "boolean":
            return Kind(key, "flag", required)
        case "array":
            items = rule.get("items", {})
            if "$ref" in items:
                return Kind(key, "items", False) if items["$ref"].endswith("PutPart") else None
            return Kind(key, "names", required) if items.get("type") == "string" else None
        case "object":
            if set(rule.get("properties", ())) == {"from", "to"}:
                return Kind(key, "span", required)
            return Kind(key, "map", required) if "properties" not in rule else None
    return None


def fields_of(
    part: type,
    data: Any,
    path: FieldPath,
    faults: Sequence[Fault],
    suggest: Callable[[str], str] = lambda key: "",
) -> list[Field]:
    """Return the controls of the part at ``path``."""
    values = data if isinstance(data, dict) else {}
    found = []
    for kind in kinds_of(part):
        place = (*path, kind.key)
        found.append(
            Field(
                kind=kind,
                path=dumps(place),
                id=field_id(place),
                label=kind.key.capitalize(),
                value=shown(kind, values.get(kind.key)),
                faults=faults_at(faults, place),
                suggest=suggest(kind.names or kind.key),
                help=help_name(part, kind.key),
            )
        )
    return found


def help_name(part: type, key: str) -> str:
    """Return the name under which the page keeps the help on a field."""
    return f"{part.__name__} {key}"


def field_id(place: FieldPath) -> str:
    """Return the id of the control at a place of the file."""
    return f"f-{'-'.join(str(p).replace(' ', '_') for p in place)}"


def faults_at(faults: Sequence[Fault], place: FieldPath, *, inside: bool = True) -> tuple[str, ...]:
    """Sentences about a place, or about something in it."""
    name = format_path(place)
    return tuple(
        f.sentence for f in faults if f.field == name or (inside and f.field.startswith(f"{name}."))
    )


def shown(kind: Kind, value: Any) -> str:
    """Return a value of the file as it is typed."""
    match kind.shape, value:
        case _, None:
            return ""
        case _, bool():
            return "yes" if value else ""
        case "names", list():
            return ", ".join(map(str, value))
        case "map", dict():
            return ", ".join(f"{key}: {inner}" for key, inner in value.items())
        case "items", list():
            return ", ".join(map(_item_shown, value))
        case "span", dict():
            return f"{value.get('from', '')} to {value.get('to', '')}"
        case _:
            return str(value)


def typed(kind: Kind, text: str) -> Any:
    """Return what was typed, as it stands in the file.

    None for nothing, text for what does not fit.
    """
    text = text.replace("\r\n", "\n")
    if not text.strip():
        return None
    match kind.shape:
        case "number" if _NUMBER.fullmatch(text.strip()):
            return float(text) if "." in text else int(text)
        case "flag":
            return True
        case "names":
            return [word.strip() for word in text.split(",") if word.strip()]
        case "map":
            return _map_typed(text)
        case "items":
            return [_item_typed(word.strip()) for word in text.split(",") if word.strip()]
        case "span":
            first, _, last = text.partition(" to ")
            return {"from": first.strip(), "to": last.strip()}
        case "text":
            return text
        case _:
            return text.strip()


def _map_typed(text: str) -> dict[str, str]:
    """Return keys and values; a comma within a value begins no key, which has a ':' behind it."""
    found: dict[str, str] = {}
    for part in text.split(","):
        key, colon, value = part.partition(":")
        if colon or not found:
            if part.strip():
                found[key.strip()] = value.strip()
        else:
            last = next(reversed(found))
            found[last] = f"{found[last]},{part.rstrip()}"
    return found


def _item_shown(item: Any) -> str:
    if not isinstance(item, dict):
        return str(item)
    return f"{item.get('at', '')}{' marked' if item.get('marked') else ''}"


def _item_typed(word: str) -> dict[str, Any]:
    place = word.removesuffix("marked").strip()
    return {"at": place} | ({"marked": True} if word.endswith("marked") else {})
