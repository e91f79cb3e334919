"""An axis: from end to end in its time, back by an output or a spring."""

from dataclasses import replace

import pytest

from server.plant.drawing import draw_plant
from server.plant.parts.axis import Axis, AxisDrawn
from server.plant.parts.position_switch import PositionSwitch
from server.plant.plant import Plant
from tests.plant.line_rig import running

TURNTABLE = Plant(
    axes=(
        Axis(
            "table",
            "turn_out",
            "turn_back",
            seconds_forward=2.0,
            seconds_back=4.0,
            label="Turntable",
        ),
    ),
    position_switches=(
        PositionSwitch("ZS-304", "table", 0),
        PositionSwitch("ZS-305", "table", 100),
    ),
)
SAMPLE = TURNTABLE


def test_axis_goes_from_switch_to_switch_in_its_time() -> None:
    rig = running(TURNTABLE)
    assert (rig.sensed("ZS-304"), rig.sensed("ZS-305")) == (1, 0)
    rig.turn("turn_out", True)
    rig.run(100)
    assert rig.value("table.position") == pytest.approx(50)
    assert (rig.sensed("ZS-304"), rig.sensed("ZS-305")) == (0, 0)
    rig.run(100)
    assert rig.value("table.position") == pytest.approx(100)
    assert (rig.sensed("ZS-304"), rig.sensed("ZS-305")) == (0, 1)
    rig.turn("turn_out", False)
    rig.turn("turn_back", True)
    rig.run(200)
    assert rig.value("table.position") == pytest.approx(50)


def test_a_turntable_is_drawn_from_above_with_its_switches_at_the_rim() -> None:
    [axis] = TURNTABLE.axes
    table = replace(TURNTABLE, axes=(replace(axis, drawn=AxisDrawn.TURNTABLE),))
    drawing = draw_plant(table, ())
    assert 'data-kind="turntable" data-signal="table.position"' in drawing
    assert "turn_out" in drawing
    assert "turn_back" in drawing
    assert repr(table) == repr(TURNTABLE), "what it is drawn as decides no verdict"


def test_a_spring_pulls_the_axis_back() -> None:
    axis = Axis("table", "turn_out", None, seconds_forward=1.0, seconds_back=1.0, label="table")
    rig = running(replace(TURNTABLE, axes=(axis,)))
    rig.turn("turn_out", True)
    rig.run(60)
    rig.turn("turn_out", False)
    rig.run(30)
    assert rig.value("table.position") == pytest.approx(30)
