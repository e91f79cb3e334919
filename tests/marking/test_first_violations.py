"""In one run only what is violated first counts; what a scenario finds comes before a search."""

from dataclasses import replace

import numpy as np

from server.marking.acceptance import acceptance_run
from server.marking.first_violations import are_first
from server.marking.marking import BROKEN_BESIDE, Effort, mark
from server.marking.replay import NEVER
from server.marking.verdict import RequirementVerdict, Status
from tests.marking.apple_sump import EXERCISE, sump_program

WRONG_LAMP = sump_program("fill_pump := start_pb AND stop_pb;\nlamp := fill_pump;")
RIGHT_LAMP = sump_program("fill_pump := start_pb AND stop_pb;\nlamp := sump_high;")


def told(verdicts: tuple[RequirementVerdict, ...]) -> dict[str, Status]:
    return {each.id: each.status for each in verdicts}


def test_only_what_is_violated_first_counts_and_what_follows_within_the_tolerance() -> None:
    violated = np.array([[10, NEVER, 90], [25, 40, 20], [26, 40, NEVER]])
    counts = np.ones((3, 3), np.bool_)
    first = are_first(violated, counts, 15)
    assert first.tolist() == [[True, False, False], [True, True, True], [False, True, False]]
    counts[0, 0] = False  # where a check does not count, it hides nothing
    assert are_first(violated, counts, 15)[:, 0].tolist() == [False, True, True]


def test_a_requirement_whose_violations_are_never_first_is_not_reached() -> None:
    verdicts = acceptance_run(EXERCISE, WRONG_LAMP).requirements
    assert told(acceptance_run(EXERCISE, RIGHT_LAMP).requirements)["R1"] is Status.NOT_MET
    assert told(verdicts)["R4"] is Status.NOT_MET
    r1 = next(each for each in verdicts if each.id == "R1")
    assert (r1.status, r1.score) == (Status.NOT_EXERCISED, 0.0)
    assert r1.sentence == (
        "R1 not reached: it was broken only in runs in which R4 had been broken before. "
        "What comes after that is not judged."
    )


def test_a_check_that_follows_from_a_broken_requirement_does_not_count() -> None:
    r4 = next(each for each in EXERCISE.requirements if each.id == "R4")
    following = replace(
        r4, checks=tuple(check.model_copy(update={"follows": ("R1",)}) for check in r4.checks)
    )
    exercise = replace(
        EXERCISE,
        requirements=tuple(following if r is r4 else r for r in EXERCISE.requirements),
    )
    verdicts = acceptance_run(exercise, WRONG_LAMP).requirements
    assert told(verdicts)["R1"] is Status.NOT_MET
    assert next(each for each in verdicts if each.id == "R4").sentence == (
        "R4 not reached: your program does not meet R1, and what it did wrong here can follow from "
        "that."
    )
    met = sump_program(
        "fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;\nlamp := fill_pump;"
    )
    assert told(acceptance_run(exercise, met).requirements)["R4"] is Status.NOT_MET


def test_what_only_a_search_breaks_costs_nothing_beside_what_a_scenario_has_found() -> None:
    untried = replace(
        EXERCISE, scenarios=tuple(s for s in EXERCISE.scenarios if s.name != "both at once")
    )
    start_wins = "fill_pump := (start_pb OR fill_pump) AND (stop_pb OR start_pb) AND NOT sump_high;"
    effort = Effort(runs=64, work=20_000, edits=0)
    alone = mark(untried, sump_program(f"{start_wins}\nlamp := sump_high;"), effort)
    assert told(alone.requirements)["R2"] is Status.NOT_MET
    beside = mark(untried, sump_program(f"{start_wins}\nlamp := fill_pump;"), effort)
    assert told(beside.requirements)["R4"] is Status.NOT_MET
    r2 = next(each for each in beside.requirements if each.id == "R2")
    assert (r2.status, r2.score, r2.not_proved) == (Status.MET, 1.0, BROKEN_BESIDE)
    assert r2.sentence == (
        "R2 was also broken, but that can follow from R4, which your program does not meet; "
        "nothing is deducted for it."
    )
