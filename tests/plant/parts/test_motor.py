"""A motor: it runs up behind its contactor, and a jam stops it."""

import numpy as np
import pytest

from server.marking.operator_acts import acts_in
from server.plant.drawing import draw_plant
from server.plant.parts.auxiliary_contact import AuxiliaryContact
from server.plant.parts.motor import Motor
from server.plant.parts.overload_relay import OverloadRelay
from server.plant.plant import Plant
from tests.plant.rig import Rig

SAMPLE = Plant(
    motors=(Motor("auger", "M-511", "auger_motor", 2.0, 80.0, label="Pomace auger"),),
    auxiliary_contacts=(AuxiliaryContact("YS-512", "auger"),),
    overload_relays=(OverloadRelay("ISH-513", "auger"),),
)


def test_it_runs_up_in_its_time_and_coasts_as_long() -> None:
    rig = Rig(SAMPLE)
    rig.turn("auger_motor", True)
    rig.run(100)
    assert rig.value("auger.speed") == pytest.approx(50)
    rig.run(150)
    assert rig.value("auger.speed") == 100
    rig.turn("auger_motor", False)
    rig.run(150)
    assert rig.value("auger.speed") == pytest.approx(25)


def test_a_jam_stops_it_while_its_contactor_stays_closed() -> None:
    rig = Rig(SAMPLE)
    rig.turn("auger_motor", True)
    rig.run(300)
    rig.turn("panel.auger_jam", True)
    rig.run(300)
    assert rig.value("auger.speed") == 0
    assert rig.sensed("YS-512")
    rig.turn("panel.auger_jam", False)
    rig.run(100)
    assert rig.value("auger.speed") == pytest.approx(50)


def test_its_power_circuit_is_drawn_in_one_line() -> None:
    drawing = draw_plant(SAMPLE, ())
    assert 'data-kind="jam" data-signal="panel.auger_jam"' in drawing
    assert 'data-kind="point" data-signal="auger_motor.on"' in drawing


def test_a_verdict_says_what_a_hand_did_to_it() -> None:
    signals = {
        "panel.auger_jam": np.array([0.0, 1.0, 1.0]),
        "panel.auger_reset": np.array([1.0, 1.0, 0.0]),
    }
    assert [act.words for act in acts_in((), SAMPLE, signals)] == [
        "Pomace auger (M-511) jammed",
        "the reset of ISH-513 was released",
    ]


def test_one_without_relay_and_contact_runs_all_the_same() -> None:
    rig = Rig(Plant(motors=SAMPLE.motors))
    rig.turn("auger_motor", True)
    rig.run(300)
    assert rig.value("auger.speed") == 100
    assert "<svg" in draw_plant(rig.plant, ())
