"""Adequacy: what is caught, what can't be told apart, and what the suite should catch."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from server.cli import main
from server.ladder.program import Program
from server.ladder.text_form import parse_program, print_program
from server.marking.faults.adequacy import Adequacy, Fate, adequacy, judge
from server.marking.faults.catching import complaints
from server.marking.faults.variants import variants
from server.marking.files.reference_programs import ReferenceProgram
from server.marking.verdict import Status
from tests.marking.apple_sump import EXERCISE, requirement, sump_program
from tests.marking.checks import pattern


def reference(name: str, program: Program, **expected: Status) -> ReferenceProgram:
    return ReferenceProgram(Path(name), program, expected)


RIGHT = reference("right-a.st", sump_program())
WRONG = reference("wrong-a.st", sump_program("fill_pump := start_pb;"), R1=Status.NOT_MET)


@pytest.fixture(scope="module")
def found() -> Adequacy:
    return adequacy(EXERCISE, [RIGHT, WRONG])


def test_right_and_wrong_programs_are_told_apart(found: Adequacy) -> None:
    assert (found.right, found.right_failed) == (1, ())
    assert (found.wrong, found.wrong_passed) == (1, ())


def test_every_variant_has_one_fate(found: Adequacy) -> None:
    assert len(found.findings) == len(variants(RIGHT.program)) == 39
    assert {fate: found.count(fate) for fate in Fate} == {
        Fate.CAUGHT: 36,
        Fate.SAME: 1,
        Fate.RIGHT: 1,
        Fate.SURVIVED: 1,
    }


def test_a_survivor_comes_with_a_scenario_that_catches_it(found: Adequacy) -> None:
    [survivor] = found.survivors
    assert survivor.variant.sentence == "rung 2, coil lamp, set coil instead of coil"
    assert survivor.requirement == "R4"
    assert survivor.scenario is not None
    better = replace(EXERCISE, scenarios=(*EXERCISE.scenarios, survivor.scenario))
    assert complaints(better, survivor.variant.program)
    assert not complaints(better, RIGHT.program)
    caught = complaints(better, survivor.variant.program)
    assert judge(better, RIGHT, survivor.variant, caught).fate is Fate.CAUGHT


def test_what_no_requirement_speaks_of_is_no_fault() -> None:
    # Only starting and stopping are asked for; what a full sump does is left to the program.
    asked = replace(EXERCISE, requirements=EXERCISE.requirements[:2])
    little = replace(asked, scenarios=EXERCISE.scenarios[:2])
    found = adequacy(little, [RIGHT])
    assert [survivor.variant.sentence for survivor in found.survivors] == [
        "rung 1, contact start_pb, normally closed instead of normally open",
        "declaration of fill_pump, with RETAIN",
    ]
    assert found.count(Fate.RIGHT) == 14
    for finding in found.findings:
        if finding.fate in (Fate.SAME, Fate.RIGHT):
            assert Status.NOT_MET not in complaints(asked, finding.variant.program).values()


def test_what_is_neither_caught_nor_settled_has_survived() -> None:
    late = pattern(
        whenever="sump_high AND power",
        then="lamp",
        within="50 ms",
        held_for="2.5 s",
        unless="NOT sump_high OR NOT power",
    )
    asked = replace(EXERCISE, requirements=(requirement("R4", late),))
    delayed = "lamp := sump_high AND pause(PT := T#2s);"
    text = print_program(sump_program(delayed.replace(" AND pause(PT := T#2s)", "")))
    text = text.replace("END_VAR", "    pause : TON;\nEND_VAR").replace(
        "lamp := sump_high;", delayed
    )
    original = reference("right-c.st", parse_program(text))
    [early] = [v for v in variants(original.program) if "T#1s" in v.sentence]
    assert judge(asked, original, early, {}).fate is Fate.RIGHT
    unsettled = judge(asked, original, early, {}, work=1)
    assert (unsettled.fate, unsettled.requirement) == (Fate.SURVIVED, "R4")
    assert unsettled.reason


def test_what_two_right_programs_have_in_common_is_tried_once() -> None:
    [again] = [v for v in variants(RIGHT.program) if v.sentence == "rungs 1 and 2, exchanged"]
    both = adequacy(EXERCISE, [RIGHT, reference("right-b.st", again.program)])
    programs = [finding.variant.program for finding in both.findings]
    assert len(set(programs)) == len(programs)
    assert not {RIGHT.program, again.program} & set(programs)


def test_the_command_prints_the_counts(capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["adequacy", "apple-wash-sump", "--json"])
    counts = json.loads(capsys.readouterr().out)
    assert set(counts) == {
        "right",
        "right_failed",
        "wrong",
        "wrong_passed",
        "variants",
        "equivalent",
        "survived",
        "undemanded",
        "free",
    }
    assert counts["right"] >= 2
    assert counts["right_failed"] == counts["wrong_passed"] == 0
    assert counts["variants"] > 100
    assert status == (counts["survived"] > 0 or counts["undemanded"] != [])
    for each in counts["undemanded"]:
        assert set(each) == {"output", "sentence", "story", "at_ms", "saboteur"}


def test_the_command_refuses_what_is_no_exercise(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["adequacy", "nowhere"]) == 2
    assert "There is no exercise 'nowhere'" in capsys.readouterr().err
