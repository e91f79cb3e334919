"""A program that passes every check, compared with the references that run beside it."""

from dataclasses import replace

import pytest

from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.exercise import Exercise
from server.marking.files.document import FileFault, read_document
from server.marking.files.exercise_file import build_exercise, load_exercise
from server.marking.marking import LIKE_A_REFERENCE, Effort, mark
from server.marking.second_look import RACE, Alike, FoundBy, SecondLook, look_again
from server.marking.verdict import Status
from server.paths import EXERCISES
from tests.marking import small_exercise
from tests.unseen.__main__ import programs

REFERENCE = """
PROGRAM reference
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    tank_high AT %IX0.2 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
END_VAR
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT tank_high;
END_PROGRAM
"""

FREE_WHILE_HELD = """
free:
  - outputs: [fill_pump]
    when: tank_high AND panel.start_pb
    sentence: Whether Start works while the tank is full.
"""


def exercise(more: str = "", *, scenarios: bool = True) -> Exercise:
    """The small exercise with one check that is weaker than its sentence, and one reference."""
    text = small_exercise.TEXT
    weak = text[: text.index("requirements:")] + (
        "requirements:\n"
        "  - id: R1\n"
        "    text: Start starts the pump.\n"
        "    kind: stated\n"
        "    checks:\n"
        "      - {whenever: start_pb AND stop_pb AND power AND NOT tank_high, then: fill_pump, "
        "within: 50 ms, unless: NOT start_pb OR NOT stop_pb OR NOT power OR tank_high}\n"
        "scenarios:\n"
        "  - name: Started\n"
        "    steps: [{after: 500 ms, tap: start_pb}]\n"
    )
    if scenarios:
        weak += "  - name: Stopped\n    steps: [{after: 500 ms, tap: start_pb}, "
        weak += "{after: 1 s, tap: stop_pb}]\n"
    document = read_document("small-tank", (weak + more).encode())
    built = build_exercise(document, small_exercise.SLUG)
    return replace(built, references=(parse_program(REFERENCE),))


def program(rung: str) -> Program:
    start = REFERENCE.index("fill_pump :=")
    return parse_program(REFERENCE[:start] + rung + "\nEND_PROGRAM\n")


def look(found: Exercise, rung: str, *, work: int = 6_000_000, runs: int = 256) -> SecondLook:
    return look_again(found, program(rung), runs=runs, seed=1, work=work)


IGNORES_STOP = "fill_pump := (start_pb OR fill_pump) AND NOT tank_high;"
IGNORES_FULL = "fill_pump := (start_pb OR fill_pump) AND stop_pb;"
START_AGAINST_FULL = "fill_pump := (start_pb OR fill_pump AND NOT tank_high) AND stop_pb;"


def test_a_program_like_the_reference_is_proved_alike() -> None:
    found = look(exercise(), "fill_pump := stop_pb AND NOT tank_high AND (fill_pump OR start_pb);")
    assert found == SecondLook((), Alike.WITH_FAULTS)


def test_a_difference_in_a_written_scenario_is_told_with_output_and_time() -> None:
    (difference,) = look(exercise(), IGNORES_STOP).differences
    assert difference.output == "fill_pump"
    assert difference.found_by == FoundBy.SCENARIO
    # A tap lasts 0.3 s, so Stop comes at 0.5 + 0.3 + 1 s; the reference changes in that scan.
    assert difference.at_ms == 1810
    assert difference.sentence == (
        "fill_pump was on for more than 0.15 s, from 1.81 s on; in every reference program it is "
        "off there."
    )
    assert difference.evidence is not None
    assert difference.evidence.at_ms == difference.at_ms
    assert [lane.name for lane in difference.evidence.lanes][:1] == ["start_pb"]


def test_a_difference_that_no_scenario_shows_is_found_by_the_search_and_replayed() -> None:
    (difference,) = look(exercise(scenarios=False), IGNORES_STOP).differences
    assert difference.found_by == FoundBy.SEARCH
    assert difference.evidence, "it was replayed on the plant itself"
    assert any("stop_pb on" in step for step in difference.steps)


def timed(rung: str) -> Program:
    """A program whose timer gives the search more states than it may have."""
    declared = REFERENCE.replace("END_VAR", "    limit : TON;\nEND_VAR")
    start = declared.index("fill_pump :=")
    return parse_program(
        f"{declared[:start]}fill_pump AND limit(PT := T#60s);\n{rung}\nEND_PROGRAM"
    )


AT_MOST_A_MINUTE = "fill_pump := (start_pb OR fill_pump AND NOT limit.Q) AND stop_pb;"


def test_random_runs_take_the_place_of_a_search_that_does_not_end() -> None:
    bounded = replace(exercise(scenarios=False), references=(timed(AT_MOST_A_MINUTE),))
    ignores_stop = timed(AT_MOST_A_MINUTE.replace(" AND stop_pb", ""))
    (difference,) = look_again(bounded, ignores_stop, runs=64, seed=1, work=64).differences
    assert difference.found_by in (FoundBy.RANDOM_RUN, FoundBy.SEARCH)


def test_no_difference_and_no_end_of_the_search_is_not_proved() -> None:
    bounded = replace(exercise(), references=(timed(AT_MOST_A_MINUTE),))
    found = look_again(bounded, timed(AT_MOST_A_MINUTE), runs=64, seed=1, work=64)
    assert (found.differences, found.alike) == ((), Alike.NO)
    assert found.reason.startswith("The search stopped after")


def test_what_the_sheet_leaves_open_is_no_difference() -> None:
    assert [d.output for d in look(exercise(), START_AGAINST_FULL).differences] == ["fill_pump"]
    assert look(exercise(FREE_WHILE_HELD), START_AGAINST_FULL).alike is Alike.WITH_FAULTS


def test_a_difference_outside_of_what_is_free_still_counts() -> None:
    (difference,) = look(exercise(FREE_WHILE_HELD), IGNORES_FULL).differences
    assert difference.output == "fill_pump"


def late_by(delay: str) -> Program:
    """The reference, with a pump that follows so much later."""
    rung = REFERENCE[REFERENCE.index("fill_pump :=") :].splitlines()[0]
    declared = REFERENCE.replace("END_VAR", "    m : BOOL;\n    d : TON;\nEND_VAR")
    own = rung.replace("fill_pump", "m")
    return parse_program(
        declared.replace(rung, f"{own}\nm AND d(PT := T#{delay});\nfill_pump := d.Q AND m;")
    )


@pytest.mark.parametrize(("delay", "alike"), [("10ms", True), ("150ms", True), ("170ms", False)])
def test_a_difference_shorter_than_the_tolerance_is_none(delay: str, alike: bool) -> None:
    assert (look_again(exercise(), late_by(delay), runs=64, seed=1).differences == ()) is alike


def test_an_output_a_scan_late_is_not_unlike_a_reference_that_changes_in_every_scan() -> None:
    late = REFERENCE.replace("END_VAR", "    m : BOOL;\nEND_VAR").replace(
        "fill_pump := (start_pb OR fill_pump)", "fill_pump := m;\nm := (start_pb OR m)"
    )
    assert look_again(exercise(), parse_program(late), runs=64, seed=1).alike is Alike.WITH_FAULTS


def test_a_race_of_inputs_is_no_difference_but_stands_against_the_proof() -> None:
    """Start goes a scan after Stop came back: who reads Stop a scan late never sees Start."""
    late = REFERENCE.replace("END_VAR", "    ready : BOOL;\nEND_VAR").replace(
        "AND stop_pb AND NOT tank_high;",
        "AND ready AND stop_pb AND NOT tank_high;\nready := stop_pb AND NOT tank_high;",
    )
    assert look_again(exercise(), parse_program(late), runs=64, seed=1) == SecondLook(
        (), Alike.NO, RACE
    )


def test_the_verdict_carries_the_differences_and_deducts_nothing() -> None:
    verdict = mark(exercise(), program(IGNORES_STOP), Effort(runs=64))
    assert verdict.score == verdict.max_score
    assert [d.output for d in verdict.second_look] == ["fill_pump"]
    alike = mark(exercise(), parse_program(REFERENCE), Effort(runs=64))
    assert alike.second_look == ()
    assert [r.known_by for r in alike.requirements] == [LIKE_A_REFERENCE]


def test_a_program_that_fails_a_check_gets_no_second_look() -> None:
    verdict = mark(exercise(), program("fill_pump := start_pb AND NOT stop_pb;"), Effort(runs=64))
    assert verdict.requirements[0].status is Status.NOT_MET
    assert verdict.second_look == ()


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (
            "free:\n  - {outputs: [tank_high], when: start_pb, sentence: Open.}\n",
            "'tank_high' is not an output. Name output points here.",
        ),
        (
            "free:\n  - {outputs: [fill_pump], when: start_bp, sentence: Open.}\n",
            "start_bp",
        ),
        ("tolerance: 10 s\n", "5000"),
    ],
)
def test_what_is_wrong_with_free_is_told_at_its_place(more: str, sentence: str) -> None:
    with pytest.raises(FileFault, match=sentence):
        exercise(more)


def test_a_difference_that_takes_a_fault_is_found_by_the_search() -> None:
    tank = load_exercise(EXERCISES / "juice-buffer-tank")
    source = EXERCISES.parent / "tests" / "unseen" / "juice-buffer-tank.txt"
    tried = parse_program(dict(programs(tank, source.read_text()))["wrong-fill-on-edges"])
    # The program is wrong only where a wire is mended below the low switch: take that away.
    name = "The wire of the high switch breaks below the low switch, and is mended"
    untried = replace(tank, scenarios=tuple(s for s in tank.scenarios if s.name != name))
    found = look_again(untried, tried, runs=0, seed=1)
    assert [(d.output, d.found_by) for d in found.differences] == [("inlet_valve", FoundBy.SEARCH)]
    assert any("not_full is mended" in step for step in found.differences[0].steps)
