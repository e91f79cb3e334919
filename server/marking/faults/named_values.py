"""Times and counts that the text of an exercise names: what a preset should perhaps have been."""

import re

from server.marking.exercise import Exercise
from server.plant.measures import DURATION, parse_milliseconds

_NUMBER = re.compile(r"(?<![\w.-])([0-9]{1,5})(?![\w.-])")
_DURATION = re.compile(rf"(?<![\w.])[0-9]+(?:\.[0-9]+)? ?(?:{'|'.join(DURATION.units)})\b")
_WORDS = {"two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "eight": 8, "ten": 10, "twelve": 12}


def named_times(exercise: Exercise) -> tuple[int, ...]:
    """Durations in milliseconds, in order of appearance, each once."""
    found = (parse_milliseconds(text) for text in _DURATION.findall(_text(exercise)))
    return tuple(dict.fromkeys(found))


def named_counts(exercise: Exercise) -> tuple[int, ...]:
    """Whole numbers without a unit of time, and some that are written as words."""
    text = _text(exercise)
    found = [int(number) for number in _NUMBER.findall(_DURATION.sub("", text))]
    found += [_WORDS[word] for word in re.findall(r"[a-z]+", text.lower()) if word in _WORDS]
    return tuple(dict.fromkeys(found))


def _text(exercise: Exercise) -> str:
    return "\n".join((exercise.statement, *(r.text for r in exercise.requirements)))
