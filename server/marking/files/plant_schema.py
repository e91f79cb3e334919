"""The form of ``plant`` in ``exercise.yaml``: a tank plant or a conveyor, in measures with units.

Each part has the fields of its namesake in ``plant.model``, which says what they mean; ``from``
and ``to`` say where liquid comes from and goes to. ``build`` gives it, or raises ValueError with a
sentence.
"""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from server.marking.files.form import Area, Flow, Length, Line, Many, Part, Percent, Seconds, Speed
from server.plant import model

Switch: TypeAlias = Literal["on", "off"]
Count: TypeAlias = Annotated[int, Field(ge=0, le=1000)]


class VesselPart(Part):
    name: Line
    area: Area
    height: Length
    start_level: Length = 0.0
    label: Line

    def build(self) -> model.Vessel:
        return model.Vessel(self.name, self.area, self.height, self.start_level, self.label)


class StreamPart(Part):
    name: Line
    tag: Line
    rate: Flow
    from_: Line | None = None
    to: Line | None = None
    actuator: Line | None = None
    drawn: Literal["pump", "valve"] = "pump"
    at_start: Switch = "on"
    label: Line

    def build(self) -> model.Stream:
        return model.Stream(
            name=self.name,
            tag=self.tag,
            rate=self.rate,
            source=self.from_,
            target=self.to,
            actuator=self.actuator,
            drawn=model.Drawn(self.drawn),
            on_at_start=self.at_start == "on",
            label=self.label,
        )


class OutletPart(Part):
    name: Line
    tag: Line
    from_: Line
    to: Line | None = None
    diameter: Length
    discharge: Annotated[float, Field(strict=False)] = model.DISCHARGE
    actuator: Line | None = None
    at_start: Switch = "on"
    label: Line

    def build(self) -> model.Outlet:
        return model.Outlet(
            name=self.name,
            tag=self.tag,
            vessel=self.from_,
            diameter=self.diameter,
            discharge=self.discharge,
            target=self.to,
            actuator=self.actuator,
            on_at_start=self.at_start == "on",
            label=self.label,
        )


class LevelSwitchPart(Part):
    tag: Line
    vessel: Line
    height: Length
    hysteresis: Length = model.HYSTERESIS

    def build(self) -> model.LevelSwitch:
        return model.LevelSwitch(self.tag, self.vessel, self.height, self.hysteresis)


class LevelTransmitterPart(Part):
    tag: Line
    vessel: Line

    def build(self) -> model.LevelTransmitter:
        return model.LevelTransmitter(self.tag, self.vessel)


class AxisPart(Part):
    name: Line
    forward: Line
    back: Line | None = None
    time_forward: Seconds
    time_back: Seconds
    start: Percent = 0.0
    label: Line

    def build(self) -> model.Axis:
        return model.Axis(
            name=self.name,
            forward=self.forward,
            back=self.back,
            seconds_forward=self.time_forward,
            seconds_back=self.time_back,
            start=self.start,
            label=self.label,
        )


class PositionSwitchPart(Part):
    tag: Line
    axis: Line
    at: Percent
    width: Percent = 4.0

    def build(self) -> model.PositionSwitch:
        return model.PositionSwitch(self.tag, self.axis, self.at, self.width)


class TankPart(Part):
    vessels: Annotated[Many[VesselPart], Field(min_length=1, max_length=8)]
    streams: Many[StreamPart] = ()
    outlets: Many[OutletPart] = ()
    level_switches: Many[LevelSwitchPart] = ()
    level_transmitters: Many[LevelTransmitterPart] = ()
    axes: Many[AxisPart] = ()
    position_switches: Many[PositionSwitchPart] = ()


class BeltPart(Part):
    name: Line
    tag: Line
    length: Length
    speed: Speed
    actuator: Line | None = None
    run_up: Seconds = 0.0
    at_start: Switch = "on"
    label: Line

    def build(self) -> model.Belt:
        return model.Belt(
            name=self.name,
            tag=self.tag,
            length=self.length,
            speed=self.speed,
            actuator=self.actuator,
            run_up=self.run_up,
            on_at_start=self.at_start == "on",
            label=self.label,
        )


class EyePart(Part):
    tag: Line
    at: Length
    marked_only: bool = False

    def build(self) -> model.Eye:
        return model.Eye(self.tag, self.at, self.marked_only)


class StopPart(Part):
    name: Line
    tag: Line
    at: Length
    by: Line
    holds_when: Switch = "on"
    label: Line

    def build(self) -> model.Stop:
        return model.Stop(
            self.name, self.tag, self.at, self.by, self.holds_when == "on", self.label
        )


class PusherPart(Part):
    name: Line
    tag: Line
    at: Length
    by: Line
    label: Line

    def build(self) -> model.Pusher:
        return model.Pusher(self.name, self.tag, self.at, self.by, self.label)


class FeederPart(Part):
    interval: Seconds
    marked_every: Count = 0
    at_start: Switch = "on"

    def build(self) -> model.Feeder:
        return model.Feeder(self.interval, self.marked_every, self.at_start == "on")


class ItemPart(Part):
    name: Line = "item"
    length: Length
    gap: Length = 0.0
    mark: str = ""


class ConveyorPart(Part):
    name: Line
    belts: Annotated[Many[BeltPart], Field(min_length=1, max_length=8)]
    items: ItemPart
    feeder: FeederPart | None = None
    eyes: Many[EyePart] = ()
    stops: Many[StopPart] = ()
    pushers: Many[PusherPart] = ()
    axes: Many[AxisPart] = ()
    position_switches: Many[PositionSwitchPart] = ()


class PlantPart(Part):
    """Exactly one of the two."""

    tank: TankPart | None = None
    conveyor: ConveyorPart | None = None
