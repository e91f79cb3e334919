"""What is proposed for an undemanded output: a check that right programs pass, an item of free."""

from dataclasses import replace

import pytest

from server.marking.check import Pattern
from server.marking.checks import read_check
from server.marking.coverage.proposals import propose
from server.marking.coverage.undemanded import Undemanded, find_undemanded
from server.marking.exercise import Exercise, Freedom
from server.marking.expression import Expression
from tests.marking.apple_sump import EXERCISE, requirement, sump_program

LAMP = next(r for r in EXERCISE.requirements if r.id == "R4")


def weak() -> Exercise:
    """The sump, whose lamp must come on when it is full, and may do so at any other time."""
    kept = tuple(r for r in EXERCISE.requirements if r.id != "R4")
    half = requirement("R4", *LAMP.checks[:1])
    return replace(EXERCISE, references=(sump_program(),), requirements=(*kept, half))


@pytest.fixture(scope="module")
def story() -> Undemanded:
    (found,) = find_undemanded(weak(), blocks=4)
    return next(each for each in found if each.output == "lamp")


def test_a_check_is_proposed_that_demands_the_output(story: Undemanded) -> None:
    proposal = propose(weak(), story)
    assert proposal.requirement == "R4"
    assert proposal.check == {
        "whenever": "NOT sump_high",
        "then": "NOT lamp",
        "within": "150 ms",
        "unless": "sump_high",
        "fails": "lamp was on although sump_high was off.",
    }
    check = read_check(dict(proposal.check))
    assert isinstance(check, Pattern)
    stronger = requirement("R4", LAMP.checks[0], check)
    requirements = tuple(stronger if r.id == "R4" else r for r in weak().requirements)
    (found,) = find_undemanded(replace(weak(), requirements=requirements), blocks=4)
    assert not [each for each in found if each.output == "lamp"]


def test_an_item_of_free_is_proposed_for_the_situation(story: Undemanded) -> None:
    free = propose(weak(), story).free
    assert free["outputs"] == ["lamp"]
    assert "NOT sump_high" in free["when"]
    assert free["sentence"].startswith("What lamp does while ")
    item = Freedom(("lamp",), Expression.read(free["when"]), free["sentence"])
    (found,) = find_undemanded(replace(weak(), free=(item,)), blocks=4)
    assert story.situation not in [each.situation for each in found if each.output == "lamp"]
