"""Plants that can't be built are refused with a sentence for their author."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from server.plant.model import (
    Axis,
    Belt,
    ConveyorPlant,
    Eye,
    Feeder,
    LevelSwitch,
    Outlet,
    PositionSwitch,
    Stream,
    TankPlant,
    Vessel,
)
from tests.plant.demo_plants import BOTTLES, SUMP

BELT = Belt("belt", "M-301", 2.0, 0.2)


def line(*belts: Belt, length: float = 0.3, gap: float = 0.0) -> ConveyorPlant:
    return ConveyorPlant("line", belts, length, gap)


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (lambda: Vessel("sump", 0, 1),
         "sump: the area must be more than zero, not 0."),
        (lambda: Vessel("sump", 1, 1, 1.5),
         "sump: the start level is outside the vessel. Choose 0 m to 1 m."),
        (lambda: Vessel("Sump", 1, 1),
         "Sump stands for signals. Write it in lower case."),
        (lambda: Stream("fill", "P-1", 0.1, "sump", "sump"),
         "fill: it leads from sump to the same place. Name another source or target."),
        (lambda: Stream("fill", "P-1", 0.1),
         "fill: it leads from outside to the same place. Name another source or target."),
        (lambda: Outlet("drain", "LV-1", "sump", -0.02),
         "drain: the diameter must be more than zero, not -0.02."),
        (lambda: TankPlant(()), "A tank plant has at least one vessel."),
        (lambda: replace(SUMP, streams=(Stream("fill", "P-1", 0.1, None, "cellar"),)),
         "fill: no vessel cellar."),
        (lambda: replace(SUMP, switches=(LevelSwitch("LSH-1", "sump", 2.0),)),
         "LSH-1: it can't switch on and off. Put it above its hysteresis of 0.01 m and not above "
         "1.2 m."),
        (lambda: replace(SUMP, switches=(SUMP.switches[0], SUMP.switches[0])),
         "The tag LSL-201 is there 2 times. Choose another one."),
        (lambda: replace(SUMP, vessels=(*SUMP.vessels, replace(SUMP.vessels[0]))),
         "The name sump is there 2 times. Choose another one."),
        (lambda: replace(SUMP, outlets=(*SUMP.outlets, Outlet("o", "LV-2", "buffer", 0.1, 0.62,
                                                              "sump"))),
         "buffer: its outlets lead to different places."),
        (lambda: Axis("lift", "up", None, 0, 1),
         "lift: the seconds forward must be more than zero, not 0."),
        (lambda: Axis("lift", "up", None, 1, 1, 101),
         "lift: the start is outside its travel, 0 to 100 %."),
        (lambda: replace(SUMP, positions=(PositionSwitch("ZS-1", "lift", 0),)),
         "ZS-1: no axis lift."),
        (lambda: replace(BOTTLES, positions=(PositionSwitch("ZS-1", "lift", 120),)),
         "ZS-1: it is never actuated. Put it at 0 to 100 % with a width above 0 %."),
        (lambda: replace(BELT, run_up=-1), "belt: the run-up is negative. Choose 0 s or more."),
        (line, "A conveyor has at least one belt."),
        (lambda: line(BELT, gap=-0.1), "line: the gap is negative. Choose 0 m or more."),
        (lambda: line(BELT, length=0.02),
         "line: 102 items find room on it, 24 are possible. Make it shorter, or the items longer."),
        (lambda: replace(line(BELT), eyes=(Eye("YS-1", 3.0),)),
         "YS-1: 3 m is not on the conveyor. Choose a place up to 2 m."),
        (lambda: Feeder(0), "The feeder: the interval must be more than zero, not 0."),
        (lambda: Feeder(1, -1), "The feeder marks every n-th item; n is 0 or more."),
    ],
)  # fmt: skip
def test_refused_with_a_sentence(build: Callable[[], object], sentence: str) -> None:
    with pytest.raises(ValueError, match=re.escape(sentence)) as refused:
        build()
    assert str(refused.value) == sentence


def test_measures_of_a_line() -> None:
    assert BOTTLES.length == pytest.approx(3.0)
    assert BOTTLES.begin_of(BOTTLES.belts[1]) == pytest.approx(1.2)
    assert BOTTLES.slots == 17
    assert replace(BOTTLES, gap=0.1).pitch == pytest.approx(0.3)
