"""How far from right, where the fault is, and what credit the policy gives."""

from dataclasses import replace

import pytest

from server.ladder.text_form import parse_program, print_program
from server.marking.acceptance import acceptance_run
from server.marking.exercise import PartialCredit, RequirementKind
from server.marking.faults.blame import blame
from server.marking.faults.catching import complaints
from server.marking.faults.diagnosis import diagnose
from server.marking.faults.repair import nearest_right
from server.marking.faults.variants import variants
from tests.marking.apple_sump import EXERCISE, RIGHT, requirement, sump_program
from tests.marking.checks import rule

OPEN_STOP = sump_program(
    "fill_pump := (start_pb OR fill_pump) AND NOT stop_pb AND NOT sump_high;\nlamp := sump_high;"
)


@pytest.mark.parametrize(
    ("rungs", "sentence"),
    [
        (
            "fill_pump := (start_pb OR fill_pump) AND NOT stop_pb AND NOT sump_high;\n"
            "lamp := sump_high;",
            "one edit from right: rung 1, contact stop_pb, normally open instead of "
            "normally closed",
        ),
        (
            "fill_pump := start_pb AND stop_pb AND NOT sump_high;\nlamp := sump_high;",
            "one edit from right: rung 1, seal-in of fill_pump, added around start_pb",
        ),
        (
            "fill_pump := (start_pb OR fill_pump) AND stop_pb;\nlamp := sump_high;",
            "one edit from right: rung 1, contact sump_high, normally closed, added in series "
            "with (start_pb OR fill_pump) AND stop_pb",
        ),
        (
            "fill_pump := (start_pb OR fill_pump) AND NOT stop_pb AND NOT sump_high;\n"
            "lamp := NOT sump_high;",
            "two edits from right: rung 1, contact stop_pb, normally open instead of "
            "normally closed; rung 2, contact sump_high, normally open instead of "
            "normally closed",
        ),
    ],
)
def test_the_nearest_right_program_is_found(rungs: str, sentence: str) -> None:
    repair = nearest_right(EXERCISE, sump_program(rungs)).repair
    assert repair is not None
    assert repair.sentence == sentence
    assert acceptance_run(EXERCISE, repair.program).all_met
    assert parse_program(print_program(repair.program)) == repair.program


def test_every_caught_variant_is_one_edit_from_right() -> None:
    for variant in variants(sump_program())[::2]:
        if complaints(EXERCISE, variant.program):
            repair = nearest_right(EXERCISE, variant.program).repair
            assert repair is not None, variant.sentence
            assert len(repair.edits) == 1, variant.sentence


def test_a_search_ends_after_its_trials() -> None:
    search = nearest_right(EXERCISE, sump_program("fill_pump := lamp;"), most=20)
    assert search.repair is None
    assert len(search.trials) == 20


def test_what_lacks_only_comments_needs_no_repair() -> None:
    undocumented = requirement("R6", rule("comment on every rung"))
    documented = replace(undocumented, kind=RequirementKind.DOCUMENTATION)
    asked = replace(EXERCISE, requirements=(documented, *EXERCISE.requirements))
    assert nearest_right(asked, sump_program()).trials == ()
    repair = nearest_right(asked, OPEN_STOP).repair
    assert repair is not None
    assert repair.edits[0].place.rung == 0


TWO_STAGES = parse_program(
    print_program(sump_program("lamp := sump_high;")).replace(
        "END_VAR\n\nlamp := sump_high;",
        """    running : BOOL;
END_VAR

IF start_pb THEN running := TRUE; END_IF;

IF NOT stop_pb THEN running := FALSE; END_IF;

IF sump_high THEN running := FALSE; END_IF;

fill_pump := running;

lamp := sump_high;""",
    )
)


def test_the_rung_at_fault_is_found_behind_the_one_that_shows_it() -> None:
    assert acceptance_run(EXERCISE, TWO_STAGES).all_met
    hits = suspicions = 0
    for variant in variants(TWO_STAGES)[::2]:
        verdict = acceptance_run(EXERCISE, variant.program)
        trials = nearest_right(EXERCISE, variant.program).trials
        for suspicion in blame(EXERCISE, variant.program, verdict, trials):
            suspicions += 1
            hits += suspicion.rung in (variant.place.rung, None)
    # Some faults are mended as well in a rung before or behind.
    assert hits >= 0.8 * suspicions
    assert suspicions > 25


def test_without_trials_the_slice_decides() -> None:
    forgotten = sump_program("fill_pump := start_pb AND stop_pb;\nlamp := sump_high;")
    verdict = acceptance_run(EXERCISE, forgotten)
    told = [suspicion.sentence for suspicion in blame(EXERCISE, forgotten, verdict)]
    assert told == ["R1: most likely rung 1", "R3: most likely rung 1"]
    wrong_lamp = sump_program(f"{RIGHT.splitlines()[0]}\nlamp := fill_pump;")
    verdict = acceptance_run(EXERCISE, wrong_lamp)
    told = [suspicion.sentence for suspicion in blame(EXERCISE, wrong_lamp, verdict)]
    assert told == ["R4: most likely rung 2"]


def test_an_output_that_no_rung_writes_is_named() -> None:
    bare = sump_program("fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;")
    [suspicion] = blame(EXERCISE, bare, acceptance_run(EXERCISE, bare))
    assert suspicion.sentence == "R4: no rung writes lamp"
    assert suspicion.rung is None


def test_partial_credit_is_a_share_of_the_points_missed() -> None:
    verdict = acceptance_run(EXERCISE, OPEN_STOP)
    missed = verdict.max_score - verdict.score
    assert missed > 0
    assert diagnose(EXERCISE, OPEN_STOP, verdict).credit == 0
    generous = replace(EXERCISE, partial_credit=PartialCredit(one_edit=0.5))
    assert diagnose(generous, OPEN_STOP, verdict).credit == 0.5 * missed
    assert diagnose(generous, OPEN_STOP, verdict, most=3).credit == 0
