"""A level transmitter: ten thousandths of the height."""

import pytest

from tests.plant.parts.test_level_switch import WATCHED
from tests.plant.rig import Rig

SAMPLE = WATCHED


@pytest.mark.parametrize(
    ("level", "shown"), [(0.0, 0), (0.25, 2500), (0.50004, 5000), (0.50006, 5001), (1.0, 10000)]
)
def test_transmitter_gives_ten_thousandths_of_the_height(level: float, shown: int) -> None:
    rig = Rig(WATCHED)
    rig.set("tank.level", level)
    assert rig.sensed("LT-101") == shown
