"""Requirements that nobody writes down, with checks that are ready for an exercise's own points.

They are common practice of the trade, no source. Each is offered where the exercise has the
devices that it speaks of.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from server.ladder.elements import ContactKind
from server.ladder.points import PointDeclaration
from server.plant.plant import Plant

Check = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Implied:
    """A requirement to consider: why, and its text and checks as they stand in the file."""

    key: str
    text: str
    why: str
    checks: tuple[Check, ...]


def implied_requirements(
    points: Sequence[PointDeclaration], plant: Plant | None
) -> tuple[Implied, ...]:
    """Return what is worth considering for these points and this plant."""
    offered = [*_stops(points), *_restart(points)]
    if plant is not None:
        offered += [*_overfill(plant), *_dry_running(points, plant), *_jam(points, plant)]
        offered += _both_directions(plant)
    return tuple(offered)


def _motors(points: Sequence[PointDeclaration]) -> list[PointDeclaration]:
    return [p for p in points if p.description == "contactor"]


def _stop(points: Sequence[PointDeclaration]) -> tuple[PointDeclaration, str] | None:
    """Return the stop push-button, known by its wiring, and the condition that it asks to stop."""
    for point in points:
        if point.description in ("push-button", "emergency stop") and (
            point.wiring is ContactKind.CLOSED
        ):
            return point, f"NOT {point.symbol}"
    return None


def _stops(points: Sequence[PointDeclaration]) -> Iterator[Implied]:
    stop = _stop(points)
    for motor in _motors(points) if stop else ():
        point, asked = stop or (motor, "")
        yield Implied(
            f"stop-{motor.symbol}",
            f"{point.label} wins over every start of {_the(motor)}, also when its wire is broken.",
            "Stop wins over start; a broken stop wire must stop the machine.",
            (
                {
                    "whenever": f"{asked} AND {motor.symbol}.on",
                    "then": f"NOT {motor.symbol}.on",
                    "within": "100 ms",
                    "until": point.symbol,
                    "fails": f"{_the(motor)} ran although {point.label} asked for a stop.",
                    "idle": f"{_the(motor)} never ran when {point.label} was worked.",
                },
            ),
        )


def _restart(points: Sequence[PointDeclaration]) -> Iterator[Implied]:
    starts = [p for p in points if p.description == "push-button" and p.wiring is ContactKind.OPEN]
    for motor in _motors(points) if starts else ():
        pressed = " OR ".join(p.symbol for p in starts)
        yield Implied(
            f"restart-{motor.symbol}",
            f"{_the(motor)} does not restart by itself when power returns.",
            "Somebody may have a hand in the machine when power comes back.",
            (
                {
                    "only": f"{motor.symbol}.on",
                    "after": pressed,
                    "afresh": "NOT power",
                    "fails": f"{_the(motor)} ran again after the power failure although nobody "
                    "had pressed a button.",
                    "idle": f"{_the(motor)} never ran.",
                },
            ),
        )


def _overfill(plant: Plant) -> Iterator[Implied]:
    for vessel in plant.vessels:
        edge = round(vessel.height * 1000) - 1
        fills = [s for s in plant.streams if s.target == vessel.name and s.actuator]
        if fills:
            label = vessel.label
            yield Implied(
                f"overfill-{vessel.name}",
                f"{label} never runs over.",
                "A level switch that sticks or a pump that runs on floods the floor.",
                (
                    {
                        "never": f"{vessel.name}.level >= {edge}",
                        "given": " OR ".join(f"{s.actuator}.on" for s in fills),
                        "fails": f"{label} ran over.",
                        "idle": "nothing was filled in.",
                    },
                ),
            )


def _dry_running(points: Sequence[PointDeclaration], plant: Plant) -> Iterator[Implied]:
    low = {s.tag: s.vessel for s in plant.level_switches if s.tag.startswith("LSL")}
    switches = [p for p in points if p.device in low]
    for stream in plant.streams:
        for switch in switches:
            if stream.source == low[switch.device] and stream.actuator:
                covered = switch.wiring is not ContactKind.CLOSED
                dry = f"NOT {switch.symbol}" if covered else switch.symbol
                yield Implied(
                    f"dry-{stream.name}",
                    f"{stream.label} never runs dry.",
                    "A pump without liquid is ruined in minutes.",
                    (
                        {
                            "whenever": f"{dry} AND {stream.actuator}.on",
                            "then": f"NOT {stream.actuator}.on",
                            "within": "100 ms",
                            "fails": "the pump ran although there was nothing to pump.",
                            "idle": "the pump never ran until the vessel was empty.",
                        },
                    ),
                )


def _jam(points: Sequence[PointDeclaration], plant: Plant) -> Iterator[Implied]:
    eyes = [p for p in points if p.description == "photo-eye"]
    for belt in plant.belts:
        for eye in eyes if belt.actuator else ():
            blocked = eye.symbol if eye.wiring is not ContactKind.CLOSED else f"NOT {eye.symbol}"
            yield Implied(
                f"jam-{belt.name}-{eye.symbol}",
                f"{belt.label} stops when {eye.label} stays blocked for 5 s.",
                "An item that jams at the eye is crushed by those behind it.",
                (
                    {
                        "whenever": f"{blocked} AND {belt.actuator}.on",
                        "held for": "5 s",
                        "then": f"NOT {belt.actuator}.on",
                        "within": "200 ms",
                        "fails": f"the belt ran on although {eye.label} stayed blocked.",
                        "idle": f"{eye.label} was never blocked for so long while the belt ran.",
                    },
                ),
            )


def _both_directions(plant: Plant) -> Iterator[Implied]:
    for axis in plant.axes:
        if axis.back is not None:
            yield Implied(
                f"both-{axis.name}",
                f"{axis.label} is never driven in both directions at once.",
                "Two contactors closed at once short the supply.",
                (
                    {
                        "never": f"{axis.forward} AND {axis.back}",
                        "given": f"{axis.forward} OR {axis.back}",
                        "fails": "both directions were on at once.",
                        "idle": "neither direction was ever on.",
                    },
                ),
            )


def _the(point: PointDeclaration) -> str:
    return point.label or point.symbol
