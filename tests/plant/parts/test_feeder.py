"""A feeder: it waits for room and for its control, and marks every n-th item."""

from dataclasses import replace

from hypothesis import strategies as st

from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.physics import PhysicsOp
from tests.plant.line_rig import LINE, running
from tests.plant.plain_physics import Lane, PlainOp, line, on

SAMPLE = replace(LINE, feeder=Feeder(1.0, 3), eyes=(Eye("YS-301", 0.2),))


def feed(lane: Lane, base: int, slots: int, on: int, feed: int, since: int, fed: int) -> None:
    length, pitch, scans, every = lane.p[feed : feed + 4]
    lane.q[since] += 1
    if not lane.bits[on] or lane.q[since] < scans:
        return
    items = lane.items(base, slots)
    if len(items) == slots or any(abs(item[0] - length) < pitch for item in items):
        return
    kind = float(every > 0 and (lane.q[fed] + 1) % every == 0)
    lane.put(base, slots, sorted([*items, [length, kind, length]], reverse=True))
    lane.q[fed] += 1
    lane.q[since] = 0.0


PLAIN = {PhysicsOp.FEED: PlainOp(feed, st.builds(lambda o: (*line, o, 0, 8, 9), on))}


def test_feeder_marks_every_third_item() -> None:
    rig = running(replace(LINE, feeder=Feeder(1.5, 3)))
    rig.run(3200)
    assert rig.value("bottles.fed") == 22
    assert (rig.value("bottles.passed"), rig.value("bottles.passed_marked")) == (10, 4)


def test_feeder_waits_for_room_and_for_its_control() -> None:
    rig = running(replace(LINE, feeder=Feeder(0.5)))
    rig.run(121)
    assert rig.value("bottles.fed") == 2, "0.3 m at 0.25 m/s take 1.2 s"
    rig.turn("panel.feeder", False)
    rig.run(1000)
    assert rig.value("bottles.fed") == 2
