"""What the help says of an element: two lines, and an example whose run is the element's picture.

The behavior is IEC 61131-3's (contacts and coils of the ladder language; standard function blocks),
from memory. The names of the examples are invented.
"""

from dataclasses import dataclass
from typing import TypeAlias

Course: TypeAlias = tuple[tuple[int, str], ...]
"""Stretches of time in milliseconds, each with the inputs that are ON in it, or ``level=600``."""

EXAMPLE_DECLARATIONS = (
    "start_pb AT %IX0.0 : BOOL; reset_pb AT %IX0.1 : BOOL; crate_eye AT %IX0.2 : BOOL; "
    "level AT %IW2 : INT; lamp AT %QX0.0 : BOOL; batches : INT; pattern : WORD := 16#0003;"
)
"""What every example may name."""


@dataclass(frozen=True, slots=True)
class ElementHelp:
    """``lines`` say what it does; ``lanes`` are the symbols that the picture shows, by label.

    ``rung`` is the example in text form, ``blocks`` declares what it calls.
    """

    title: str
    lines: tuple[str, str]
    rung: str
    lanes: tuple[tuple[str, str], ...]
    course: Course
    blocks: str = ""


ON_AND_OFF: Course = ((400, ""), (900, "start_pb"), (600, ""), (400, "start_pb"), (500, ""))
START_AND_LAMP = (("start_pb", "start_pb"), ("lamp", "lamp"))


def pulses(symbol: str, count: int) -> Course:
    """Return an input that comes ON ``count`` times, each time for 150 ms with 150 ms after it."""
    return ((150, symbol), (150, "")) * count
