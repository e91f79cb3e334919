"""A photo-eye: blocked from front to rear edge, by all items or by marked ones."""

from dataclasses import replace

import pytest
from hypothesis import strategies as st

from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.stop import Stop
from server.plant.physics import PhysicsOp
from tests.plant.line_rig import LINE, fronts, put, running
from tests.plant.plain_physics import Lane, PlainOp, line, place, sense

SAMPLE = replace(
    LINE, feeder=Feeder(1.0, 2), eyes=(Eye("YS-301", 1.0), Eye("YS-302", 1.0, marked_only=True))
)


def eye(lane: Lane, plane: int, base: int, slots: int, at: int, length: int, kind: int) -> None:
    lane.bits[plane] = any(
        0 <= front - lane.p[at] < lane.p[length] and kind in (-1, of_kind)
        for front, of_kind, _ in lane.items(base, slots)
    )


PLAIN = {
    PhysicsOp.EYE: PlainOp(
        eye,
        st.builds(lambda d, a, k: (d, *line, a, 20, k), sense, place, st.sampled_from([-1, 0, 1])),
    )
}


def test_eye_is_blocked_from_front_to_rear_edge() -> None:
    # Front edge at 1.0 m after (1.0 - 0.3)/0.25 = 2.8 s, rear edge 0.3/0.25 = 1.2 s later
    rig = running(replace(LINE, eyes=(Eye("YS-301", 1.0),)))
    put(rig, 0.3)
    blocked = []
    for _ in range(500):
        rig.run()
        blocked.append(rig.sensed("YS-301"))
    first, last = blocked.index(1), 499 - blocked[::-1].index(1)
    assert (first + 1) / 100 == pytest.approx(2.8, abs=0.011)
    assert (last - first + 1) / 100 == pytest.approx(1.2, abs=0.011)
    assert sum(blocked) == last - first + 1, "without a break"


def test_eye_at_a_stop_sees_the_item_that_is_held_there() -> None:
    plant = replace(
        LINE,
        eyes=(Eye("YS-301", 1.0),),
        stops=(Stop("gate", "YV-301", 1.0, "gate_valve", label="gate"),),
    )
    rig = running(plant)
    put(rig, 0.9)
    rig.turn("gate_valve", True)
    rig.run(300)
    assert fronts(rig) == [1.0]
    assert rig.sensed("YS-301")


def test_eye_for_marked_items_sees_no_others() -> None:
    plant = replace(LINE, eyes=(Eye("YS-301", 1.0), Eye("YS-302", 1.0, marked_only=True)))
    rig = running(plant)
    put(rig, 0.9)
    put(rig, 0.4, marked=True)
    seen = set()
    for _ in range(500):
        rig.run()
        seen.add((rig.sensed("YS-301"), rig.sensed("YS-302")))
    assert seen == {(0, 0), (1, 0), (1, 1)}
