"""The short way says the same as a whole acceptance run."""

from collections.abc import Set
from dataclasses import replace

from server.marking.faults.catching import Suite, complaints
from server.marking.faults.variants import variants
from server.marking.scenario import Scenario
from server.marking.verdict import Status
from tests.marking.apple_sump import EXERCISE, requirement, sump_program
from tests.marking.checks import rule
from tests.marking.statuses import statuses

WRONG = sump_program("fill_pump := start_pb;\nlamp := sump_high;")


class Witness:
    """What was sure at each look; it is always worthwhile to go on."""

    def __init__(self) -> None:
        self.sure: list[set[int]] = []

    def __call__(self, sure: Set[int]) -> bool:
        self.sure.append(set(sure))
        return True


def test_it_agrees_with_the_acceptance_run_on_every_variant() -> None:
    missed, suite = [], Suite(EXERCISE)
    for variant in variants(sump_program()):
        whole = list(statuses(EXERCISE, variant.program).values())
        found = complaints(EXERCISE, variant.program)
        assert [found.get(i, Status.MET) for i in range(len(whole))] == whole
        seen = Witness()
        assert suite.complaints_while(variant.program, seen) == found
        assert all(each <= found.keys() for each in seen.sure)
        if seen.sure[-1]:
            assert suite.complaints_while(variant.program, lambda sure: not sure) is None
        first = complaints(EXERCISE, variant.program, first_only=True)
        assert bool(first) == bool(found)
        assert first.keys() <= found.keys()
        if not found:
            missed.append(variant.sentence)
    assert missed == [
        "rungs 1 and 2, exchanged",
        "rung 2, coil lamp, set coil instead of coil",
        "declaration of lamp, with RETAIN",
    ]


def test_what_is_never_brought_to_bear_is_a_complaint() -> None:
    idle = replace(EXERCISE, scenarios=(Scenario("nothing happens", ()),))
    found = complaints(idle, sump_program())
    assert set(found) == {0, 1, 2, 3, 4}
    assert set(found.values()) == {Status.NOT_EXERCISED}


def test_a_scenario_counts_only_for_what_it_judges() -> None:
    assert set(complaints(EXERCISE, WRONG)) == {0, 1, 2}
    for_lamp = tuple(replace(s, judges=("R4",)) for s in EXERCISE.scenarios)
    only_lamp = replace(EXERCISE, scenarios=for_lamp)
    assert complaints(only_lamp, WRONG)[0] is Status.NOT_EXERCISED


def test_a_rule_about_structure_needs_no_run() -> None:
    timed = requirement("R6", rule("element", "TON"))
    asked = replace(EXERCISE, requirements=(*EXERCISE.requirements, timed))
    assert set(complaints(asked, WRONG)) == {0, 1, 2, 5}
    assert complaints(asked, WRONG, first_only=True) == {5: Status.NOT_MET}


def test_more_scenarios_than_lanes_are_run_in_blocks() -> None:
    empty = tuple(Scenario(f"nothing {i}", ()) for i in range(70))
    late = replace(EXERCISE, scenarios=(*empty, *EXERCISE.scenarios))
    assert complaints(late, sump_program()) == {}
    assert complaints(late, WRONG) == complaints(EXERCISE, WRONG)
