"""In one run only what is violated first counts; what a scenario finds comes before a search."""

from dataclasses import replace

import numpy as np

from server.marking.acceptance import acceptance_run
from server.marking.first_violations import are_first
from server.marking.marking import BROKEN_BESIDE, Effort, mark
from server.marking.replay import NEVER
from server.marking.scenario import Adjust, Scenario
from server.marking.verdict import RequirementVerdict, Status
from tests.marking.apple_sump import EXERCISE, press, release, sump_program

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


def test_what_only_a_search_breaks_costs_nothing_where_one_change_mends_it_with_the_rest() -> None:
    start_under_stop = Scenario(
        "start under stop",
        (press("stop_pb"), press("start_pb"), release("start_pb")),
        start=(Adjust("sump.level", 1.2),),
    )
    untried = replace(
        EXERCISE,
        scenarios=(
            *(s for s in EXERCISE.scenarios if s.name not in ("both at once", "used from full")),
            start_under_stop,
        ),
    )
    effort = Effort(runs=64, work=20_000)

    def marked(rungs: str) -> dict[str, RequirementVerdict]:
        return {each.id: each for each in mark(untried, sump_program(rungs), effort).requirements}

    # The lamp, by which the pump goes, is dark while Start is held: one mistake.
    lamp = "lamp := sump_high AND NOT start_pb;"
    one = marked(f"{lamp}\nfill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT lamp;")
    assert one["R4"].status is Status.NOT_MET
    r3 = one["R3"]
    assert (r3.status, r3.score, r3.not_proved) == (Status.MET, 1.0, BROKEN_BESIDE)
    assert r3.sentence == (
        "R3 was also broken, but that can follow from R4, which your program does not meet; "
        "nothing is deducted for it."
    )
    # Start wins over Stop, and the lamp shows something else: two mistakes.
    start_wins = "fill_pump := (start_pb OR fill_pump) AND (stop_pb OR start_pb) AND NOT sump_high;"
    two = marked(f"{start_wins}\nlamp := fill_pump;")
    assert (two["R4"].status, two["R2"].status) == (Status.NOT_MET, Status.NOT_MET)
