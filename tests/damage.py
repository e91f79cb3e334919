"""What goes wrong with a text on its way, made up from a seed."""

import re
from collections.abc import Callable, Sequence
from copy import deepcopy
from random import Random
from typing import Any

_TOKENS = re.compile(r"\s+|%[A-Z0-9.]+|T#\w+|[\w.]+|:=|<=|>=|<>|.", re.DOTALL)
_STRAY = ["AND", "OR", "NOT", "TRUE", ";", "(", ")", ":=", "x", "n", "f0", "f1.Q", "f2.ET", "7",
          "T#1s", "RISING", "a", "level", "pause", "-", "<", "END_IF", "%QX0.0", "TON"]  # fmt: skip

_SCALARS = ["0", "-1", "1e308", "9999999999", "0.5", "50 ms", "99999 min", "-2 s", "1 m", "0 l/s",
            "300 mm", "on", "null", "~", "''", "a AND", "stop_pb", "sump.level >= 9", "RISING(a)",
            "[]", "{}", "[a, [b]]", "{a: {b: c}}", "&x 1", "*x", "!!int a", "|", "ä\u2028", "R1",
            "'%IX0.0'", "'%QX9999.9'", "\x07", "\ufeff", "- ", "? a", "broken wire"]  # fmt: skip

_STRAY_DATA: list[Any] = [None, True, 0, -1, 2**63, 1.5, 1e308, "", "x", "T#1s", "%QX0.0", "\x00",
                          [], {}, [[]], {"symbol": "a"}, "TON", "rising", "\ud800"]  # fmt: skip

_STRAY_XML = [b"<", b">", b"/>", b"&amp;", b"&#0;", b"&x;", b'"', b"<!--", b"]]>", b"\xff", b"\x00",
              b"<Contact/>", b"<LeftPowerRail/>", b'refConnectionPointOutId="1"', b"-1", b"9" * 30,
              b"<!DOCTYPE a [<!ENTITY x 'y'>]>", b"<LdObject/>", b"xsi:type"]  # fmt: skip
_XML_TOKENS = re.compile(rb"<[^>]*>|[^<]+|<")


def _spoilt(parts: list[Any], random: Random, strays: Sequence[Any]) -> None:
    """One or two parts dropped, doubled, exchanged or replaced."""
    for _ in range(random.choice([1, 1, 2])):
        if not parts:
            return
        at, other = random.randrange(len(parts)), random.randrange(len(parts))
        match random.randint(0, 4):
            case 0:
                del parts[at]
            case 1:
                parts.insert(at, parts[other])
            case 2:
                parts[at], parts[other] = parts[other], parts[at]
            case 3:
                parts[at] = parts[other]
            case _:
                parts[at] = random.choice(strays)


def damaged(text: str, random: Random) -> str:
    """A program's text with one or two tokens changed."""
    tokens = _TOKENS.findall(text)
    _spoilt(tokens, random, _STRAY)
    return "".join(tokens)


def damaged_data(data: Any, random: Random) -> Any:
    """JSON data in which one to three values or keys are changed, wherever in it."""
    data = deepcopy(data)
    for _ in range(random.randint(1, 3)):
        holders = list(_holders(data))
        holder = random.choice(holders)
        if isinstance(holder, list):
            _spoilt(holder, random, _STRAY_DATA)
            continue
        key = random.choice(list(holder) or ["x"])
        match random.randint(0, 3):
            case 0:
                holder.pop(key, None)
            case 1:
                holder[key] = random.choice(_STRAY_DATA)
            case 2:
                holder[key] = deepcopy(random.choice(holders))
            case _:
                holder[random.choice(["x", "symbol", "type", "rungs", ""])] = holder.pop(key, 1)
    return data


def _holders(data: Any) -> list[Any]:
    found = [data] if isinstance(data, dict | list) else []
    for holder in found:
        inner = holder.values() if isinstance(holder, dict) else holder
        found.extend(each for each in inner if isinstance(each, dict | list))
    return found


def damaged_xml(data: bytes, random: Random) -> bytes:
    """An XML file with one or two tags or texts changed, or bytes inside of one."""
    parts = _XML_TOKENS.findall(data)
    _spoilt(parts, random, _STRAY_XML)
    if parts and random.random() < 0.5:
        at = random.randrange(len(parts))
        parts[at] = bytes(_nibbled(bytearray(parts[at]), random))
    return b"".join(parts)


def _nibbled(data: bytearray, random: Random) -> bytearray:
    for _ in range(random.randint(1, 3)):
        at = random.randrange(len(data) + 1)
        data[at : at + random.randint(0, 2)] = random.choice(_STRAY_XML)
    return data


def damaged_yaml(text: str, random: Random) -> str:
    """A YAML text in which one to three lines or values are changed, or which ends too early."""
    lines = text.splitlines(keepends=True)
    ways: list[Callable[[], None]] = [
        lambda: _spoilt(lines, random, ["\n", "\t- x\n", "---\n", "points: 3\n", "? {\n"]),
        lambda: _other_value(lines, random, _SCALARS),
        lambda: _other_value(lines, random, _SCALARS),
        lambda: _other_value(lines, random, [line.partition(":")[2].strip() for line in lines]),
        lambda: _shifted(lines, random),
    ]
    for _ in range(random.randint(1, 3)):
        if lines:
            random.choice(ways)()
    whole = "".join(lines)
    return whole[: random.randrange(len(whole) + 1)] if random.random() < 0.05 else whole


def _other_value(lines: list[str], random: Random, values: Sequence[str]) -> None:
    """What stands after one of the colons of a line, up to the next comma or bracket."""
    at = random.randrange(len(lines))
    places = list(re.finditer(r"(?<=: )[^,{}\[\]\n]+", lines[at]))
    if places:
        place = random.choice(places)
        line = lines[at]
        lines[at] = line[: place.start()] + random.choice(values) + line[place.end() :]


def _shifted(lines: list[str], random: Random) -> None:
    at = random.randrange(len(lines))
    lines[at] = random.choice(["  " + lines[at], lines[at].lstrip(" "), lines[at][2:]])
