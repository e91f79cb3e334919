"""What follows from an exercise alone is made once."""

from dataclasses import replace

from server.marking.exercise import Exercise
from server.marking.kept import kept
from tests.marking.apple_sump import EXERCISE


def test_it_is_made_once_for_each_exercise_and_each_further_argument() -> None:
    made = []

    @kept
    def title(exercise: Exercise, ending: str) -> str:
        made.append(ending)
        return exercise.title + ending

    first = title(EXERCISE, "!")
    assert title(EXERCISE, "!") is first
    assert title(EXERCISE, "?") == EXERCISE.title + "?"
    other = replace(EXERCISE, title="Other")
    assert title(other, "!") == "Other!"
    assert made == ["!", "?", "!"]
