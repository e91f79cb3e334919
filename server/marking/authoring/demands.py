"""Sentences that carry two demands: each demand is marked by itself, so each has its sentence.

The words are those at which English joins demands (common practice, no source). What is found is
a question to the author, never a fault: 'start and stop push-button' is one thing.
"""

import re
from dataclasses import dataclass

_JOINTS = re.compile(
    r"(?:,\s*|;\s*|\s+)(but\s+not|and\s+not|as\s+well\s+as|unless|but|and|or\s+else)\s+", re.I
)
_VERB = re.compile(
    r"\b(?:is|are|was|may|must|can|shall|will|does|do|has|have|not|never|always|"
    r"starts?|stops?|runs?|opens?|closes?|lights?|goes|go|stays?|stands?|holds?|falls?|rises?|"
    r"turns?|switch(?:es)?|counts?|passes?|fills?|drains?|ends?|begins?|waits?|works?|sounds?|"
    r"remains?|returns?|leaves?|lets?|gives?|pushes?|moves?|keeps?|comes?)\b",
    re.I,
)


@dataclass(frozen=True, slots=True)
class TwoDemands:
    """The word that joins them, and the two sentences that are offered instead."""

    word: str
    first: str
    second: str


def two_demands(text: str) -> TwoDemands | None:
    """Return how a sentence may be split; None if it seems to carry one demand.

    A part that lacks its own subject gets that of the first.
    """
    sentence = " ".join(text.split()).rstrip(".,;")
    for joint in _JOINTS.finditer(sentence):
        before, word, behind = sentence[: joint.start()], joint[1].lower(), sentence[joint.end() :]
        word = " ".join(word.split())
        subject = _subject(before)
        if not subject:
            continue
        inner = before[:1].lower() + before[1:]
        if word == "unless":
            second = f"While {behind}, it must not be that {inner}"
            return TwoDemands(word, _closed(before), _closed(second))
        if word in ("but not", "and not"):
            second = f"It must not be that {inner} {behind}"
            return TwoDemands(word, _closed(before), _closed(second))
        if _VERB.match(behind):
            return TwoDemands(word, _closed(before), _closed(f"{subject} {behind}"))
        if _VERB.search(behind):
            return TwoDemands(word, _closed(before), _closed(behind))
    return None


def split_number(number: str, taken: set[str]) -> tuple[str, str]:
    """Return the numbers of two requirements made of R2: R2a, and R2b that stays."""
    base = number.rstrip("abcdefghijklmnopqrstuvwxyz")
    free = (f"{base}{letter}" for letter in "abcdefghijklmnopqrstuvwxyz")
    others = taken - {number}
    names = [name for name in free if name not in others]
    if number != base:
        return number, next(name for name in names if name > number)
    return names[0], names[1]


def _subject(sentence: str) -> str:
    """Return what stands before the first verb; empty if it is no more than an article."""
    verb = _VERB.search(sentence)
    subject = sentence[: verb.start()].strip() if verb else ""
    return "" if subject.lower() in ("", "a", "an", "the", "every", "each") else subject


def _closed(sentence: str) -> str:
    words = sentence.strip().rstrip(".,;")
    return words[:1].upper() + words[1:] + "."
