"""Plants that can't be built are refused with a sentence for their author."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from server.plant.parts.axis import Axis
from server.plant.parts.belt import Belt
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.level_switch import LevelSwitch
from server.plant.parts.outlet import Outlet
from server.plant.parts.position_switch import PositionSwitch
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.plant import Plant
from tests.plant.demo_plants import BOTTLES, SUMP

BELT = Belt("belt", "M-301", 2.0, 0.2, label="belt")


def line(*belts: Belt, length: float = 0.3, gap: float = 0.0) -> Plant:
    return Plant(line=ConveyorLine("line", length, gap=gap), belts=belts)


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (lambda: Vessel("sump", 0, 1, label="sump"),
         "sump: the area must be more than zero, not 0."),
        (lambda: Vessel("sump", 1, 1, 1.5, label="sump"),
         "sump: the start level is outside the vessel. Choose 0 m to 1 m."),
        (lambda: Vessel("Sump", 1, 1, label="Sump"),
         "Sump stands for signals. Write it in lower case."),
        (lambda: Stream("fill", "P-1", 0.1, "sump", "sump", label="fill"),
         "fill: it leads from sump to the same place. Name another source or target."),
        (lambda: Stream("fill", "P-1", 0.1, label="fill"),
         "fill: it leads from outside to the same place. Name another source or target."),
        (lambda: Outlet("drain", "LV-1", "sump", -0.02, label="drain"),
         "drain: the diameter must be more than zero, not -0.02."),
        (lambda: replace(SUMP, streams=(Stream("fill", "P-1", 0.1, None, "cellar", label="fill"),)),
         "fill: no vessel cellar."),
        (lambda: replace(SUMP, level_switches=(LevelSwitch("LSH-1", "sump", 2.0),)),
         "LSH-1: it can't switch on and off. Put it above its hysteresis of 0.01 m and not above "
         "1.2 m."),
        (lambda: replace(SUMP, level_switches=(SUMP.level_switches[0], SUMP.level_switches[0])),
         "The tag LSL-201 is there 2 times. Choose another one."),
        (lambda: replace(SUMP, vessels=(*SUMP.vessels, replace(SUMP.vessels[0]))),
         "The name sump is there 2 times. Choose another one."),
        (lambda: replace(SUMP, outlets=(*SUMP.outlets, Outlet("o", "LV-2", "buffer", 0.1,
                                                              target="sump", label="o"))),
         "buffer: its outlets lead to different places."),
        (lambda: Axis("lift", "up", None, seconds_forward=0, seconds_back=1, label="lift"),
         "lift: the seconds forward must be more than zero, not 0."),
        (lambda: Axis("lift", "up", None, seconds_forward=1, seconds_back=1, start=101,
                      label="lift"),
         "lift: the start is outside its travel, 0 to 100 %."),
        (lambda: replace(SUMP, position_switches=(PositionSwitch("ZS-1", "lift", 0),)),
         "ZS-1: no axis lift."),
        (lambda: replace(BOTTLES, position_switches=(PositionSwitch("ZS-1", "lift", 120),)),
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
    track = BOTTLES.track
    assert track is not None
    assert track.length == pytest.approx(3.0)
    assert track.begin_of("outfeed") == pytest.approx(1.2)
    assert track.slots == 17
    assert replace(track, gap=0.1).pitch == pytest.approx(0.3)
    assert SUMP.track is None
