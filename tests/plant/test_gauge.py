"""A gauge's planes at the value of a boundary itself, and one step of the number beside it."""

import math

import pytest

from server.plant.gauge import Gauge
from server.scan.assembler import Assembler


@pytest.mark.parametrize(
    ("level", "at_least", "more_than"),
    [(math.nextafter(0.5, 0), 0, 0), (0.5, 1, 0), (math.nextafter(0.5, 1), 1, 1)],
)
def test_at_least_includes_its_value_and_more_than_does_not(
    level: float, at_least: int, more_than: int
) -> None:
    gauge = Gauge(Assembler(10), "tank.level", None, 0.0, 1.0, 0.0)
    reached, passed = gauge.at_least(0.5), gauge.more_than(0.5)
    assert reached != passed
    planes = gauge.planes_at(level)
    assert (planes[reached], planes[passed]) == (at_least, more_than)
