"""Drawings are well formed, show signals that exist, and are told in words."""

from collections import Counter
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from server.ladder.elements import ContactKind
from server.ladder.points import PointDeclaration
from server.plant.controls import HandItems, HandSetting, HandSwitch
from server.plant.drawing import draw_plant
from server.plant.plant import Plant
from server.plant.step import PlantStep
from server.plant.switchboard import Switchboard
from server.scan.assembler import Assembler, Bit, Quantity
from tests.plant.demo_plants import BOTTLE_POINTS, BOTTLES, SUMP, SUMP_POINTS

DRAWN: list[tuple[Plant, tuple[PointDeclaration, ...]]] = [
    (SUMP, SUMP_POINTS),
    (BOTTLES, BOTTLE_POINTS),
]
SVG = "{http://www.w3.org/2000/svg}"


def symbols(plant: Plant, points: tuple[PointDeclaration, ...]) -> dict[str, object]:
    """Every signal of the plant with its devices in a machine."""
    asm = Assembler()
    step = PlantStep(plant, asm)
    board = Switchboard(asm)
    power = board.supply()
    board.inputs(points, step.senses)
    written = {p.address: Bit(asm.bit()) for p in points if p.address.startswith("%Q")}
    step.emit(board.outputs(points, dict(written), power))
    return dict(asm.machine().symbols)


@pytest.mark.parametrize(("plant", "points"), DRAWN)
def test_every_signal_of_a_drawing_exists(
    plant: Plant, points: tuple[PointDeclaration, ...]
) -> None:
    root = ET.fromstring(draw_plant(plant, points))
    known = symbols(plant, points)
    shown = [e for e in root.iter() if e.get("data-signal") is not None]
    assert shown
    for element in shown:
        signal, kind = element.get("data-signal"), element.get("data-kind")
        assert signal in known, f"{kind} {signal}"
        analog = kind in ("level", "item", "axis")
        assert analog is isinstance(known[signal], Quantity) or kind == "value", f"{kind} {signal}"
        mark = element.get("data-mark")
        assert mark is None or mark in known


@pytest.mark.parametrize(("plant", "points"), DRAWN)
def test_every_part_is_drawn_and_told(plant: Plant, points: tuple[PointDeclaration, ...]) -> None:
    root = ET.fromstring(draw_plant(plant, points, title="Sheet 1", name="p1"))
    texts = {t.text for t in root.iter(f"{SVG}text")}
    told = root.findtext(f"{SVG}desc") or ""
    assert root.findtext(f"{SVG}title") == "Sheet 1"
    assert root.get("aria-labelledby") == "p1-title p1-desc"
    tags = [p.device for p in points if not p.device.startswith(("HS", "YL", "YA"))]
    for tag in tags:
        letters, number = tag.split("-")
        assert tag in texts or {letters, number} <= texts or tag in ("M-306", "M-307")
    for tag in [t for t in tags if t[0] in "LPZ" or t.startswith("YS")]:
        assert tag in told


def test_description_of_a_tank() -> None:
    told = ET.fromstring(draw_plant(SUMP, SUMP_POINTS)).findtext(f"{SVG}desc")
    assert told == (
        "Apple wash sump: 1.2 m high, 0.6 m², filled to 0.5 m. "
        "Juice buffer tank: 0.8 m high, 0.3 m², filled to 0.3 m. "
        "Pump P-201 (fill_pump) from outside to Apple wash sump. "
        "Valve XV-203 (by hand) from outside to Apple wash sump. "
        "Pump P-202 (transfer_pump) from Apple wash sump to Juice buffer tank. "
        "Valve LV-204 (drain_valve) from Juice buffer tank to outside. "
        "Level switch LSL-201 (sump_low) in Apple wash sump at 0.25 m. "
        "Level switch LSH-201 (sump_high) in Apple wash sump at 0.95 m. "
        "Level switch LSHH-202 (sump_full) in Apple wash sump at 1 m. "
        "Level switch LSH-204 (buffer_high) in Juice buffer tank at 0.6 m. "
        "Level transmitter LT-201 (sump_level) on Apple wash sump. "
        "Panel: push-button HS-201 (start_pb), push-button HS-202 (stop_pb), "
        "emergency stop HS-200 (estop), selector switch HS-210 (in_auto), "
        "lamp YL-205 (ready_lamp), horn YA-206 (horn)."
    )


def test_a_panel_alone_is_drawn_and_told() -> None:
    """A lamp has the letters of its color; a display shows each digit by its segments."""
    points = (
        PointDeclaration("ack_pb", "%IX0.0", "HS-401", "Acknowledge", ContactKind.OPEN, 0,
                         "push-button"),
        PointDeclaration("oil_lamp", "%QX0.0", "YL-402", "Oil", None, 0, "red lamp"),
        PointDeclaration("ready_lamp", "%QX0.1", "YL-403", "Ready", None, 0, "lamp"),
        PointDeclaration("batch", "%QW2", "YI-404", "Batch", None, 0, "seven-segment display"),
        PointDeclaration("total", "%QW4", "YI-405", "Total", None, 0, "number display"),
    )  # fmt: skip
    root = ET.fromstring(draw_plant(Plant(), points))
    assert root.findtext(f"{SVG}desc") == (
        "Panel: push-button HS-401 (ack_pb), red lamp YL-402 (oil_lamp), lamp YL-403 "
        "(ready_lamp), seven-segment display YI-404 (batch), number display YI-405 (total)."
    )
    signals = {e.get("data-signal"): e for e in root.iter() if e.get("data-signal")}
    assert signals["oil_lamp.on"].findtext(f"{SVG}text") == "RD"
    assert not signals["ready_lamp.on"].findtext(f"{SVG}text")
    assert signals["total"].get("data-kind") == "value"
    lit = [Counter(s.get("data-lit") or "") for s in signals["batch"]]
    assert len(lit) == 4 * 7
    # The page of a trial run finds the form that lays items down by this attribute.
    assert all(segment.get("data-place") is None for segment in signals["batch"])
    # How many segments each digit has is common knowledge, no source.
    assert sum(lit[:7], Counter()) == Counter(dict(zip("0123456789-", SEGMENTS, strict=True)))


SEGMENTS = (6, 2, 5, 5, 4, 5, 6, 3, 7, 6, 1)


def test_contacts_stand_as_they_rest() -> None:
    root = ET.fromstring(draw_plant(SUMP, SUMP_POINTS))
    closed = {
        e.get("data-signal")
        for e in root.iter()
        if e.get("data-kind") == "point" and "on" in (e.get("class") or "").split()
    }
    assert closed == {"stop_pb", "estop", "sump_full"}


def test_items_lie_where_they_are_put() -> None:
    svg = draw_plant(BOTTLES, BOTTLE_POINTS, items=((2.0, False), (1.0, True)))
    items = [e for e in ET.fromstring(svg).iter() if e.get("data-kind") == "item"]
    assert len(items) == BOTTLES.track.slots if BOTTLES.track else 0
    origin, scale = (float(items[0].get(f"data-{name}") or 0) for name in ("origin", "scale"))
    moved = (items[0].get("transform") or "").removeprefix("translate(").removesuffix(" 0)")
    assert float(moved) == pytest.approx(origin + 2 * scale, abs=0.01)
    assert items[1].get("class") == "item marked"
    assert [e.get("visibility") for e in items[1:3]] == [None, "hidden"]


def test_markup_in_a_text_is_shown_as_text() -> None:
    evil = '<script>alert("1")</script> & Co'
    vessels = (replace(SUMP.vessels[0], label=evil), SUMP.vessels[1])
    points = (replace(SUMP_POINTS[0], label=evil), *SUMP_POINTS[1:])
    svg = draw_plant(replace(SUMP, vessels=vessels), points, title=evil)
    assert "<script" not in svg
    root = ET.fromstring(svg)
    assert root.findtext(f"{SVG}title") == evil
    assert any(evil in (t.text or "") for t in root.iter(f"{SVG}text"))


def test_no_style_or_script_in_a_drawing() -> None:
    # The page's policy is style-src 'self'; script-src 'self'.
    for plant, points in DRAWN:
        for element in ET.fromstring(draw_plant(plant, points)).iter():
            assert element.tag not in (f"{SVG}style", f"{SVG}script")
            assert not any(name == "style" or name.startswith("on") for name in element.attrib)


@pytest.mark.parametrize(("plant", "points"), DRAWN)
def test_hand_controls_work_signals_that_exist(
    plant: Plant, points: tuple[PointDeclaration, ...]
) -> None:
    known = symbols(plant, points)
    for control in plant.controls:
        match control:
            case HandSwitch():
                assert isinstance(known[control.signal], Bit), control.signal
            case HandSetting():
                assert isinstance(known[control.quantity], Quantity), control.quantity
            case HandItems():
                assert f"{control.line}.item1" in known


def test_hand_controls_of_a_tank() -> None:
    assert SUMP.controls == (
        HandSetting("sump.level", "level", "Level of the apple wash sump", 1.2, 1000, "mm"),
        HandSetting("buffer.level", "level", "Level of the juice buffer tank", 0.8, 1000, "mm"),
        HandSwitch("supply", "Town water", "XV-203", on_at_start=True),
    )


def test_hand_controls_of_a_conveyor() -> None:
    assert BOTTLES.controls == (
        HandSwitch("exit_blocked", "Exit", on="blocked", off="free"),
        HandItems("bottles", "bottle", "short fill", 0.2, 3.0),
        HandSwitch("feeder", "Feeder", "", on_at_start=True, on="feeding", off="stopped"),
    )
