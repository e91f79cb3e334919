"""TIME literals of IEC 61131-3: ``T#2s500ms`` to whole milliseconds and back."""

import re
from decimal import Decimal

from server.ladder.elements import TIME_MAX_MS

_UNITS_MS = {
    "d": Decimal(86_400_000),
    "h": Decimal(3_600_000),
    "m": Decimal(60_000),
    "s": Decimal(1_000),
    "ms": Decimal(1),
    "us": Decimal("0.001"),
    "ns": Decimal("0.000001"),
}
_LITERAL = re.compile(
    r"(?:T|TIME)#(?P<parts>[0-9][0-9_.]*[a-z]+(?:_?[0-9][0-9_.]*[a-z]+)*)", re.IGNORECASE
)
_PART = re.compile(r"([0-9]{1,15})(\.[0-9]{1,15})?(d|h|ms|m|s|us|ns)", re.IGNORECASE)


def parse_duration(literal: str) -> int:
    """Return milliseconds of a TIME literal.

    The first unit may overflow (``T#90s``), only the last may have a fraction (``T#2.5s``), units
    stand from large to small, digits may be apart by an underscore (IEC 61131-3, duration literals;
    from memory). Raises ValueError with one sentence.
    """
    if literal.partition("#")[2].startswith("-"):
        raise ValueError("A duration can't be negative here: no timer runs backward.")
    whole = _LITERAL.fullmatch(literal)
    if whole is None:
        raise ValueError("Write a duration like T#2s500ms.")
    parts = whole["parts"].replace("_", "")
    matches = list(_PART.finditer(parts))
    if "".join(m[0] for m in matches) != parts:
        raise ValueError("The units of a duration are d, h, m, s, ms, us and ns.")
    units = [m[3].lower() for m in matches]
    if units != sorted(set(units), key=list(_UNITS_MS).index):
        raise ValueError("The units of a duration go from large to small, each once.")
    if any(m[2] for m in matches[:-1]):
        raise ValueError("Only the last unit of a duration may have a fraction.")
    total = sum(
        (
            Decimal(m[1] + (m[2] or "")) * _UNITS_MS[unit]
            for m, unit in zip(matches, units, strict=True)
        ),
        Decimal(0),
    )
    if total != int(total):
        raise ValueError("A duration is a whole number of milliseconds.")
    if total > TIME_MAX_MS:
        raise ValueError(f"A duration is {print_duration(TIME_MAX_MS)} at most.")
    return int(total)


def print_duration(ms: int) -> str:
    """Return the canonical literal: largest unit first, without zero units; ``T#0s`` for none."""
    parts: list[str] = []
    for unit in ("d", "h", "m", "s", "ms"):
        count, ms = divmod(ms, int(_UNITS_MS[unit]))
        if count:
            parts.append(f"{count}{unit}")
    return "T#" + ("".join(parts) or "0s")
