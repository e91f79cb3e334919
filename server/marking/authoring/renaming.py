"""A new name for a point, a part of the plant, a requirement, a scenario: all that uses it follows.

Sentences that people read stay as they were written, but for what stands in backquotes in them and
for numbers of requirements.
"""

import re
from collections.abc import Callable, Mapping
from typing import Any

from server.ladder.names import REQUIREMENT, SYMBOL
from server.marking.authoring.yaml_edit import change_texts
from server.marking.files.document import FieldPath

_PROSE = ("title", "summary", "statement", "text", "label", "fails", "idle", "sentence")
_REFERENCES = ("actuator", "by", "forward", "back", "from", "to", "vessel", "axis")
"""Fields of parts of the plant that name a point or another part."""

_COMMENT = re.compile(r"(//[^\n]*|\(\*.*?\*\))", re.DOTALL)
_QUOTED = re.compile(r"(`[^`\n]*`)")

_MAPS = ("start", "set", "fault", "mend")
"""Fields whose keys name points, controls and quantities."""

Change = Callable[[FieldPath, str], str]


def renamed(
    text: str, programs: Mapping[str, str], path: FieldPath, old: str, new: str
) -> tuple[str, dict[str, str]]:
    """Return both with ``new`` at ``path`` and wherever ``old`` was used."""
    kind = kind_of_name(path)
    own = {name: _in_program(kind, program, old, new) for name, program in programs.items()}
    change = _CHANGES[kind](old, new)

    def everywhere(place: FieldPath, value: str) -> str:
        return new if place == path else change(place, value)

    def keys(place: FieldPath, key: str) -> str:
        return change(place, key) if place[-2:-1] and place[-2] in _MAPS else key

    return change_texts(text, everywhere, keys), own


def kind_of_name(path: FieldPath) -> str:
    """Return what is named at a path; empty for what nothing else can name."""
    match path:
        case ("points" | "internal bits", int(), "symbol"):
            return "symbol"
        case ("plant", *_, int(), "name"):
            return "part"
        case ("requirements", int(), "id"):
            return "requirement"
        case ("scenarios", int(), "name"):
            return "scenario"
    return ""


def may_follow(data: Any, path: FieldPath, old: object, new: object) -> bool:
    """Return whether what uses the old name can follow: both are names, and nobody else has one."""
    kind = kind_of_name(path)
    if not kind or not isinstance(old, str) or not isinstance(new, str) or old == new:
        return False
    form = {"requirement": REQUIREMENT, "scenario": re.compile(r".+")}.get(kind, SYMBOL)
    if form.fullmatch(old) is None or form.fullmatch(new) is None:
        return False
    names = list(_names_of(kind, data, ()))
    return names.count(old) == 1 and new not in names


def _names_of(kind: str, data: Any, path: FieldPath) -> list[str]:
    """Return all names of points and parts, which share one space, or all of another kind."""
    found: list[str] = []
    rows = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in rows:
        here = (*path, key)
        if isinstance(value, dict | list):
            found += _names_of(kind, value, here)
        elif isinstance(value, str):
            other = kind_of_name(here)
            alike = other == kind or {other, kind} == {"symbol", "part"}
            found += [value] if alike else []
    return found


def _symbol(old: str, new: str) -> Change:
    token = re.compile(rf"(?<![\w.])(panel\.|fault\.)?{re.escape(old)}(?!\w)(?!\.(?!on\b))")
    return _of_tokens(lambda value: token.sub(lambda m: f"{m[1] or ''}{new}", value))


def _part(old: str, new: str) -> Change:
    token = re.compile(rf"(?<![\w.])(panel\.)?{re.escape(old)}(?!\w)")
    return _of_tokens(lambda value: token.sub(lambda m: f"{m[1] or ''}{new}", value))


def _of_tokens(put: Callable[[str], str]) -> Change:
    def change(path: FieldPath, value: str) -> str:
        if path == ("observer",):
            return _outside_comments(put, value)
        if _names_something(path):
            return put(value)
        if path[-1] in _PROSE:
            pieces = _QUOTED.split(value)
            return "".join(put(piece) if piece.startswith("`") else piece for piece in pieces)
        return value

    return change


def _names_something(path: FieldPath) -> bool:
    """Return whether a text or a key at this place is a condition, or the name of something."""
    match path:
        case ("plant", *_, str(key)):
            return key in _REFERENCES
        case ("free", int(), "outputs" | "when", *_) | ("scenarios", int(), "start", _):
            return True
        case ("requirements", int(), "checks", int(), str(key), *_):
            return key not in (*_PROSE, "scenarios", "uses")
        case ("scenarios", int(), "steps", int(), str(key), *rest):
            return key in ("press", "release", "tap", "turn on", "turn off", "when") or (
                key in ("set", "fault", "mend") and len(rest) == 1
            )
    return False


def _requirement(old: str, new: str) -> Change:
    token = re.compile(rf"\b{old}\b")

    def change(path: FieldPath, value: str) -> str:
        named = path == ("statement",) or "judges" in path or "follows" in path
        return token.sub(new, value) if named else value

    return change


def _scenario(old: str, new: str) -> Change:
    def change(path: FieldPath, value: str) -> str:
        return new if value == old and path[-2:-1] == ("scenarios",) and len(path) > 3 else value

    return change


_CHANGES: dict[str, Callable[[str, str], Change]] = {
    "symbol": _symbol,
    "part": _part,
    "requirement": _requirement,
    "scenario": _scenario,
}


def _in_program(kind: str, program: str, old: str, new: str) -> str:
    """Return a reference program with the new name; one that has it already stays as it is."""
    if kind == "requirement":
        heads = re.compile(r"^// (?:fails|not exercised):.*$|\[[R0-9a-z, ]*\]", re.MULTILINE)
        return heads.sub(lambda m: re.sub(rf"\b{old}\b", new, m[0]), program)
    if kind != "symbol" or re.search(rf"(?i)\b{new}\b", _COMMENT.sub("", program)):
        return program
    token = re.compile(rf"(?i)(?<![\w.]){old}(?!\w)")
    return _outside_comments(lambda code: token.sub(new, code), program)


def _outside_comments(put: Callable[[str], str], text: str) -> str:
    pieces = _COMMENT.split(text)
    return "".join(p if p.startswith(("//", "(*")) else put(p) for p in pieces)
