"""The standard functions that a rung can have: each means the same as an element or operator."""

from collections.abc import Mapping
from types import MappingProxyType

from server.ladder.elements import EXPANSIONS, Operator, Relation
from server.ladder.xml_names import MOVE

COMPARING: Mapping[str, Relation] = MappingProxyType({r.row.xml: r for r in Relation})
CALCULATING: Mapping[str, str] = MappingProxyType(
    {operator.row.xml: str(operator) for operator in Operator} | {sign: sign for sign in EXPANSIONS}
)
"""The sign that stands for a function of numbers."""

WORDS = ("AND", "OR", "XOR", *(s for s in (*Operator, *EXPANSIONS) if s.isalpha()))
"""Words between two sides that are also the names of functions."""

FUNCTIONS = ("AND", "OR", "XOR", *COMPARING, *CALCULATING, MOVE)


def has_arity(name: str, count: int) -> bool:
    """Return whether a function of this name can have so many inputs."""
    if name == MOVE:
        return count == 1
    return count >= 2 if name in ("AND", "OR", "XOR", "ADD", "MUL") else count == 2
