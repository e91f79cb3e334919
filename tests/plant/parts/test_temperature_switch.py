"""A temperature switch: actuated when it is hot, until it has cooled by its hysteresis."""

from dataclasses import replace

import pytest

from server.plant.parts.temperature_switch import TemperatureSwitch
from tests.plant.parts.test_heater import STILL
from tests.plant.rig import Rig

SAMPLE = replace(STILL, temperature_switches=(TemperatureSwitch("TSH-525", "tank", 60.0),))


def test_it_drops_out_below_its_hysteresis() -> None:
    rig = Rig(SAMPLE)
    seen = []
    for temperature in (59.9, 60.0, 57.0, 56.9, 59.9):
        rig.set("tank.temperature", temperature)
        seen.append(rig.sensed("TSH-525"))
    assert seen == [0, 1, 1, 0, 0]


@pytest.mark.parametrize("actuated", [True, False])
def test_a_hand_brings_it_to_where_it_switches(actuated: bool) -> None:
    rig = Rig(SAMPLE)
    for name, value in SAMPLE.temperature_switches[0].stand_in(actuated=actuated).items():
        rig.set(name, value)
    assert rig.sensed("TSH-525") == actuated


def test_one_that_never_switches_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing heats tank"):
        replace(SAMPLE, heaters=())
    with pytest.raises(ValueError, match="can't switch on and off"):
        replace(SAMPLE, temperature_switches=(TemperatureSwitch("TSH-525", "tank", 22.0),))
