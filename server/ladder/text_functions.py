"""The standard functions that a rung can have: each means the same as an element or operator."""

from collections.abc import Mapping
from types import MappingProxyType

from server.ladder.elements import MOVED, Operator, Pin, Relation
from server.ladder.xml_names import MOVE

COMPARING: Mapping[str, Relation] = MappingProxyType({r.row.xml: r for r in Relation})
CALCULATING: Mapping[str, Operator] = MappingProxyType({o.row.xml: o for o in Operator})
"""The operator that does what a function of numbers does."""

WORDS = tuple(str(o) for o in Operator if o.infix and o.isalpha())
"""Words between two sides that are also the names of functions."""

FUNCTIONS = (*COMPARING, *CALCULATING, MOVE)


_EXTENSIBLE = ("AND", "OR", "XOR", "ADD", "MUL")
"""What is given any number of values from two on, one by one from left to right."""


def inputs_of(name: str) -> tuple[Pin, ...]:
    """Return the inputs of a function in order."""
    if name in CALCULATING:
        return CALCULATING[name].row.pins
    return MOVED if name == MOVE else Operator.ADD.row.pins


def has_arity(name: str, count: int) -> bool:
    """Return whether a function of this name can have so many inputs."""
    return count >= 2 if name in _EXTENSIBLE else count == len(inputs_of(name))
