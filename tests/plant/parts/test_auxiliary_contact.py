"""An auxiliary contact: it follows the contactor, not the motor."""

from tests.plant.parts.test_motor import SAMPLE as MOTOR
from tests.plant.rig import Rig

SAMPLE = MOTOR


def test_it_tells_that_the_contactor_has_picked_up() -> None:
    rig = Rig(SAMPLE)
    assert not rig.sensed("YS-512")
    rig.turn("auger_motor", True)
    rig.run()
    assert rig.sensed("YS-512")
    rig.turn("auger_motor", False)
    rig.run()
    assert not rig.sensed("YS-512"), "the motor still coasts"
