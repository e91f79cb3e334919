"""A pusher: it takes the item at its place and counts it."""

from dataclasses import replace

import pytest
from hypothesis import strategies as st

from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.pusher import Pusher
from server.plant.physics import PhysicsOp
from tests.plant.line_rig import LINE, fronts, put, running
from tests.plant.plain_physics import Lane, PlainOp, line, on, place

SAMPLE = replace(
    LINE,
    feeder=Feeder(1.0, 2),
    eyes=(Eye("YS-301", 1.0),),
    pushers=(Pusher("reject", "YV-302", 1.2, "reject_valve", label="Reject"),),
)


def push(
    lane: Lane, base: int, slots: int, on: int, at: int, length: int, good: int, marked: int
) -> None:
    kept = []
    for item in lane.items(base, slots):
        if lane.bits[on] and 0 <= item[0] - lane.p[at] < lane.p[length]:
            lane.q[marked if item[1] else good] += 1
        else:
            kept.append(item)
    lane.put(base, slots, kept)


PLAIN = {
    PhysicsOp.PUSH: PlainOp(push, st.builds(lambda o, a: (*line, o, a, 20, 10, 11), on, place))
}


def test_pusher_takes_the_item_at_its_place_and_counts_it() -> None:
    plant = replace(
        LINE, pushers=(Pusher("reject", "YV-302", 1.5, "reject_valve", label="reject"),)
    )
    rig = running(plant)
    put(rig, 2.0, 1.0)
    put(rig, 1.6, marked=True)
    rig.turn("reject_valve", True)
    rig.run()
    assert fronts(rig) == pytest.approx([2.0025, 1.0025])
    assert rig.value("reject.pushed") == 0
    assert rig.value("reject.pushed_marked") == 1
    rig.run(210)
    assert rig.value("reject.pushed") == 1
