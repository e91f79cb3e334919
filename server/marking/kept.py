"""What follows from an exercise alone, made once for all programs that are marked against it."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import lru_cache
from typing import Concatenate, ParamSpec, TypeVar

from server.marking.exercise import Exercise

Rest = ParamSpec("Rest")
Made = TypeVar("Made")

MOST_KEPT = 32
"""Exercises of one function that are kept; a class whose numbers are drawn has many."""


@dataclass(frozen=True, eq=False)
class _Key:
    """An exercise as a key: the same object, not an equal one, whose comparison would be slow."""

    exercise: Exercise

    def __hash__(self) -> int:
        return id(self.exercise)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.exercise is self.exercise


def kept(
    make: Callable[Concatenate[Exercise, Rest], Made],
) -> Callable[Concatenate[Exercise, Rest], Made]:
    """Keep what a function makes of an exercise and of further arguments, which can be hashed.

    What it returns is shared by threads and must not be changed.
    """
    made: Callable[..., Made] = make

    @lru_cache(MOST_KEPT)
    def remembered(key: _Key, rest: Hashable) -> Made:
        assert isinstance(rest, tuple), "the further arguments"
        return made(key.exercise, *rest)

    def found(exercise: Exercise, /, *args: Rest.args, **kwargs: Rest.kwargs) -> Made:
        assert not kwargs, "further arguments go by place"
        return remembered(_Key(exercise), args)

    return found
