"""The acceptance run: which status, which scenario is the evidence, and in which words."""

from dataclasses import replace

from server.marking.acceptance import acceptance_run
from server.marking.exercise import Exercise
from server.marking.verdict import RequirementVerdict, Status
from tests.marking.apple_sump import EXERCISE, requirement, sump_program
from tests.marking.checks import rule

NO_STOP = "fill_pump := (start_pb OR fill_pump) AND NOT sump_high;\nlamp := sump_high;"


def verdicts(exercise: Exercise, rungs: str | None = None) -> dict[str, RequirementVerdict]:
    program = sump_program() if rungs is None else sump_program(rungs)
    return {r.id: r for r in acceptance_run(exercise, program).requirements}


def test_what_is_met_says_how_it_is_known() -> None:
    found = verdicts(EXERCISE)
    assert {r.status for r in found.values()} == {Status.MET}
    assert {r.sentence for r in found.values()} == {""}
    assert {number: r.known_by for number, r in found.items()} == {
        "R1": "held in 3 scenarios (25 s of plant time)",
        "R2": "held in 2 scenarios (10 s of plant time)",
        "R3": "held in 4 scenarios (41 s of plant time)",
        "R4": "held in 5 scenarios (43 s of plant time)",
        "R5": "held in 1 scenario (5 s of plant time)",
    }


def test_what_is_not_met_says_what_the_machine_did() -> None:
    found = verdicts(EXERCISE, NO_STOP)
    before = (
        "Before that: Start (HS-201) was pressed at 0.50 s, Start (HS-201) was released at 0.80 s, "
        "Stop (HS-202) was pressed at 2.80 s."
    )
    assert {n: r.sentence for n, r in found.items() if r.status is Status.NOT_MET} == {
        "R2": 'R2 not met: "NOT fill_pump" must be true within 0.05 s whenever "NOT stop_pb" is '
        "true. Due at 2.80 s: fill_pump was still on 3.05 s later; 0.05 s is allowed. "
        f"fill_pump was on from 0.50 s to 5.85 s or longer. {before}",
        "R3": 'R3 not met: "fill_pump" may be true only after "start_pb" (again after "NOT stop_pb '
        'OR sump_high"). At 2.80 s fill_pump was on; "start_pb" was last true at 0.79 s. '
        f"fill_pump was on from 0.50 s to 5.80 s or longer. {before}",
    }
    assert {found[n].known_by for n in ("R2", "R3")} == {"a scenario"}


def test_what_is_not_reached_says_what_never_happened() -> None:
    found = verdicts(EXERCISE, "lamp := sump_high;")["R3"]
    assert found.status is Status.NOT_EXERCISED
    assert found.sentence == (
        'R3 not reached: in no scenario was "fill_pump" true. In the 5 scenarios for it your '
        "program never turned on fill_pump and turned on lamp in 1."
    )
    assert (found.known_by, found.score) == ("", 0.0)


def test_a_rule_about_the_program_is_judged_before_any_run() -> None:
    asked = replace(EXERCISE, requirements=(requirement("R6", rule("element", "TON")),))
    found = verdicts(asked)["R6"]
    assert (found.status, found.known_by) == (Status.NOT_MET, "the program's text")
    assert found.sentence == "The program uses no TON; the exercise asks for one."
    kept = replace(EXERCISE, requirements=(requirement("R6", rule("seal-in")),))
    assert verdicts(kept)["R6"].known_by == "seen in the program's text"


def test_an_open_scenario_is_the_evidence_before_an_earlier_hidden_one() -> None:
    failing = [s.name for s in EXERCISE.scenarios if violates_stop(s.name)]
    assert failing == ["stop on the way", "both at once"]
    hidden = verdicts(EXERCISE, NO_STOP)["R2"].evidence
    assert hidden is not None
    assert (hidden.scenario, hidden.open) == ("stop on the way", False)
    shown = tuple(replace(s, open=s.name == "both at once") for s in EXERCISE.scenarios)
    evidence = verdicts(replace(EXERCISE, scenarios=shown), NO_STOP)["R2"].evidence
    assert evidence is not None
    assert (evidence.scenario, evidence.open) == ("both at once", True)


def violates_stop(name: str) -> bool:
    alone = tuple(s for s in EXERCISE.scenarios if s.name == name)
    return verdicts(replace(EXERCISE, scenarios=alone), NO_STOP)["R2"].status is Status.NOT_MET
