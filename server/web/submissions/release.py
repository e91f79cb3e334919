"""How much of a verdict a student sees: what the exercise and the section both release."""

from datetime import datetime

from server.marking.exercise import Exercise, Release
from server.store.courses import Assignment, Feedback
from server.web.workplace import Workplace

SEEN_FROM_ATTEMPT = 2
"""A first failure is thought about before it is shown."""

_LEVELS = list(Feedback)

_WORDS = {
    Feedback.VERDICT: "the verdict only",
    Feedback.SENTENCE: "verdict and sentence",
    Feedback.CHART: "verdict, sentence and timing chart",
}


def released(assignment: Assignment, exercise: Exercise, attempt: int, now: datetime) -> Feedback:
    """Return how much of the verdict on an attempt a student sees at a moment."""
    by_section = assignment.feedback_for(attempt, now)
    return min(_by_exercise(exercise, attempt), by_section, key=_LEVELS.index)


def may_see_it_happen(here: Workplace, attempt: int, now: datetime) -> bool:
    """Return whether a student may watch how an attempt breaks a requirement."""
    return _seen(released(here.assignment, here.exercise, attempt, now), attempt)


def describe_release(assignment: Assignment, exercise: Exercise, now: datetime) -> str:
    """Return what students see at a moment, attempt by attempt, and which setting says so."""
    policy = exercise.feedback
    starts = (1, SEEN_FROM_ATTEMPT, assignment.feedback_from_attempt, policy.chart_from_attempt)
    told: list[str] = []
    before = ""
    for attempt in sorted({start for start in starts if start is not None}):
        level = released(assignment, exercise, attempt, now)
        words = _WORDS[level] + (", with See it happen" if _seen(level, attempt) else "")
        if words != before:
            told.append(f"from attempt {attempt} {words}")
            before = words
    last = max(start for start in starts if start is not None)
    exercise_level = _LEVELS.index(_by_exercise(exercise, last))
    section_level = _LEVELS.index(assignment.feedback_for(last, now))
    decides = "both settings say the same"
    if exercise_level != section_level:
        stricter = "exercise" if exercise_level < section_level else "section"
        decides = f"the {stricter} decides, since it permits less"
    return f"{'; '.join(told)}. In the end {decides}."


def _by_exercise(exercise: Exercise, attempt: int) -> Feedback:
    policy = exercise.feedback
    release = policy.release
    if policy.chart_from_attempt is not None and release is not Release.VERDICT:
        release = Release.CHART if attempt >= policy.chart_from_attempt else Release.SENTENCE
    return Feedback(release.value)


def _seen(level: Feedback, attempt: int) -> bool:
    """Return whether See it happen is offered: with the chart, or the sentence and a second try."""
    return level is Feedback.CHART or (level is Feedback.SENTENCE and attempt >= SEEN_FROM_ATTEMPT)
