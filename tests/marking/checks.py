"""Checks as an exercise file has them, from keyword arguments; ``_`` stands for a space."""

from server.marking.check import Pattern
from server.marking.checks import read_check
from server.marking.checks.uses import StructureRule


def pattern(**keys: object) -> Pattern:
    """``pattern(whenever="a", then="b", within="50 ms", held_for="1 s")``."""
    check = read_check({key.replace("_", " "): value for key, value in keys.items()})
    assert isinstance(check, Pattern)
    return check


def rule(uses: str, of: str = "", by: str = "", times: int = 1, **more: str) -> StructureRule:
    """``rule("driven by", "fill_pump", "filling")``; ``more`` are the keys to and preset."""
    check = read_check({"uses": uses, "of": of, "by": by, "times": times, **more})
    assert isinstance(check, StructureRule)
    return check
