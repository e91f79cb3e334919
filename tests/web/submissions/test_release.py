"""What is released of a verdict, in words: attempt by attempt, and which setting says so."""

from dataclasses import replace

from server.marking.exercise import FeedbackPolicy, Release
from server.marking.files.catalogue import Catalogue
from server.store.courses import Assignment, Feedback
from server.web.submissions.release import describe_release
from tests.factories import EXERCISES, NOON


def told(policy: FeedbackPolicy, feedback: Feedback, from_attempt: int = 1) -> str:
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None
    assignment = Assignment(
        feedback=feedback,
        feedback_from_attempt=from_attempt,
        feedback_after_due=False,
        due_at=NOON,
    )
    return describe_release(assignment, replace(exercise, feedback=policy), NOON)


def test_the_stricter_setting_decides() -> None:
    usual = FeedbackPolicy()
    assert told(usual, Feedback.CHART) == (
        "from attempt 1 verdict and sentence; from attempt 2 verdict and sentence, with See it "
        "happen. In the end the exercise decides, since it permits less."
    )
    assert told(usual, Feedback.VERDICT) == (
        "from attempt 1 the verdict only. In the end the section decides, since it permits less."
    )
    assert told(FeedbackPolicy(Release.CHART), Feedback.CHART, from_attempt=3) == (
        "from attempt 1 the verdict only; from attempt 3 verdict, sentence and timing chart, with "
        "See it happen. In the end both settings say the same."
    )
