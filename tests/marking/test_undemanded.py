"""Behavior coverage: what a right program with a saboteur does while no check notices."""

from dataclasses import replace

import pytest

from server.ladder.program import Program
from server.marking.coverage.undemanded import Undemanded, find_undemanded
from server.marking.exercise import Exercise, Freedom, Requirement
from server.marking.expression import Expression
from server.marking.machine import assemble
from server.marking.replay import NEVER, replay
from server.marking.scenario import Turn
from tests.marking.apple_sump import EXERCISE, requirement, sump_program
from tests.marking.checks import pattern

STOPS = "NOT stop_pb OR sump_high OR NOT power"
R3 = requirement(
    "R3",
    pattern(whenever="sump_high", then="NOT fill_pump", within="50 ms"),
    pattern(only="fill_pump", after="start_pb", afresh=STOPS),
)


def sump(*requirements: Requirement, free: tuple[Freedom, ...] = ()) -> Exercise:
    """The sump with one right program; ``requirements`` stand in place of R3."""
    kept = [r for r in EXERCISE.requirements if r.id != "R3"]
    return replace(
        EXERCISE,
        references=(sump_program(),),
        requirements=(*kept, *requirements),
        free=free,
    )


def undemanded(exercise: Exercise, blocks: int = 4) -> list[Undemanded]:
    (found,) = find_undemanded(exercise, blocks=blocks)
    return found


@pytest.fixture(scope="module")
def weak() -> list[Undemanded]:
    """What is undemanded where no check asks for the pump to stop when the sump is full."""
    return undemanded(sump())


def test_where_every_deviation_is_noticed_nothing_is_undemanded() -> None:
    assert undemanded(sump(R3)) == []


def test_an_output_that_no_check_asks_for_is_told_as_a_short_story(
    weak: list[Undemanded],
) -> None:
    assert {(each.output, each.on) for each in weak} == {("fill_pump", True)}
    story = weak[0]
    assert story.sentence == (
        f"fill_pump is on from {story.at_ms / 1000:.2f} s on, where every right program has it "
        "off; no check notices."
    )
    assert sum("from here on " in step for step in story.steps) == 1
    assert story.saboteur in " ".join(story.steps)
    assert len(story.steps) <= 6
    assert story.evidence.at_ms == story.at_ms


def test_the_run_of_a_story_is_one_that_right_programs_pass(weak: list[Undemanded]) -> None:
    for story in weak:
        actions = [a for step in story.scenario.steps for a in step.actions]
        assert not any(isinstance(a, Turn) and a.control.startswith("saboteur") for a in actions)
        assembled = assemble(sump(), sump_program())
        assert (replay(assembled, [story.scenario]).violated == NEVER).all()


def test_what_the_sheet_leaves_open_is_not_undemanded() -> None:
    anything = Freedom(("fill_pump",), Expression.read("power"), "When the pump runs.")
    assert undemanded(sump(free=(anything,))) == []


def test_the_same_exercise_has_the_same_findings(
    weak: list[Undemanded],
) -> None:
    assert undemanded(sump()) == weak


def test_a_right_program_without_rungs_has_nothing_that_could_go_wrong() -> None:
    empty = replace(EXERCISE, references=(Program("empty"),))
    assert [story for stories in find_undemanded(empty) for story in stories] == []
