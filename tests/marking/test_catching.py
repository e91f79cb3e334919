"""The short way says the same as a whole acceptance run."""

from dataclasses import replace

from server.marking.acceptance import statuses
from server.marking.catching import Complaint, first_complaint
from server.marking.patterns import StructureRule
from server.marking.scenario import Scenario
from server.marking.variants import variants
from server.marking.verdict import Status
from tests.marking.apple_sump import EXERCISE, requirement, sump_program


def test_it_agrees_with_the_acceptance_run_on_every_variant() -> None:
    found = {Status.MET: 0, Status.NOT_MET: 0}
    for variant in variants(sump_program()):
        whole = list(statuses(EXERCISE, variant.program).values())
        complaint = first_complaint(EXERCISE, variant.program)
        if complaint is None:
            assert set(whole) == {Status.MET}
        else:
            assert whole[complaint.requirement] is complaint.status
        found[complaint.status if complaint else Status.MET] += 1
    assert found == {Status.MET: 2, Status.NOT_MET: 35}


def test_what_is_never_brought_to_bear_is_a_complaint() -> None:
    idle = replace(EXERCISE, scenarios=(Scenario("nothing happens", ()),))
    assert first_complaint(idle, sump_program()) == Complaint(0, Status.NOT_EXERCISED)


def test_a_scenario_counts_only_for_what_it_judges() -> None:
    wrong = sump_program("fill_pump := start_pb;\nlamp := sump_high;")
    assert first_complaint(EXERCISE, wrong) is not None
    for_lamp = tuple(replace(s, judges=("R4",)) for s in EXERCISE.scenarios)
    only_lamp = replace(EXERCISE, scenarios=for_lamp, requirements=EXERCISE.requirements[3:4])
    assert first_complaint(only_lamp, wrong) is None


def test_a_rule_about_structure_is_looked_at_first() -> None:
    rule = requirement("R6", StructureRule("element", "TON"))
    asked = replace(EXERCISE, requirements=(*EXERCISE.requirements, rule))
    assert first_complaint(asked, sump_program()) == Complaint(5, Status.NOT_MET)


def test_more_scenarios_than_lanes_are_run_in_blocks() -> None:
    empty = tuple(Scenario(f"nothing {i}", ()) for i in range(70))
    late = replace(EXERCISE, scenarios=(*empty, *EXERCISE.scenarios))
    assert first_complaint(late, sump_program()) is None
    wrong = sump_program("fill_pump := start_pb;\nlamp := sump_high;")
    assert first_complaint(late, wrong) == Complaint(0, Status.NOT_MET)
