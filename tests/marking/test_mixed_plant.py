"""Plants that are neither a tank nor a conveyor: parts of all kinds side by side, or none."""

from xml.etree import ElementTree as ET

import pytest

from server.ladder.text_form import parse_program
from server.marking.files.document import FileFault
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.verdict import Status
from server.plant.drawing import draw_plant
from server.plant.plant import Plant
from tests.marking.small_exercise import built
from tests.marking.statuses import statuses

MIXED = """\
plant:
  tank:
    vessels: [{name: vat, area: 0.5 m², height: 1 m, label: Vat}]
    streams: [{name: fill, tag: P-204, rate: 5 l/s, to: vat, actuator: motor, label: Fill}]
  line: {name: crates, item: crate, item length: 400 mm, gap: 100 mm}
  belts: [{name: belt, tag: M-302, length: 2 m, speed: 500 mm/s, actuator: motor, label: Belt}]
  eyes: [{tag: YS-301, at: 1 m}]
  axes: [{name: lift, forward: motor, time forward: 2 s, time back: 2 s, label: Lift}]
"""

TEXT = """\
exercise: mixed
title: Mixed
summary: A motor works everything.
statement: Start.
points:
  - {symbol: start_pb, address: "%IX0.1", device: HS-201, kind: push-button,
     wiring: normally open, label: Start}
  - {symbol: eye, address: "%IX0.0", device: YS-301, kind: photo-eye, wiring: normally open,
     label: Crate}
  - {symbol: motor, address: "%QX0.0", device: M-302, kind: contactor, label: Motor}
PLANT
requirements:
  - {id: R1, text: All of it moves., kind: stated, checks: [{whenever: start_pb, held for: 3 s,
     then: CONDITION, within: 50 ms}]}
scenarios:
  - name: Started
    START
    steps: [{after: 500 ms, press: start_pb}]
    run on: 3.2 s
"""

PROGRAM = parse_program(
    "PROGRAM p\nVAR\n start_pb AT %IX0.1 : BOOL;\n motor AT %QX0.0 : BOOL;\nEND_VAR\n"
    "motor := start_pb;\nEND_PROGRAM"
)


def text(plant: str, condition: str, start: str = "") -> str:
    filled = TEXT.replace("PLANT", plant).replace("CONDITION", condition)
    return filled.replace("    START\n", start)


def test_a_tank_a_belt_and_an_axis_are_one_plant() -> None:
    condition = "eye AND vat.level >= 10 AND lift.position >= 90"
    start = "    start: {vat.level: 2 mm}\n    items: [{at: 400 mm}]\n"
    exercise = built(text(MIXED, condition, start), "mixed")
    # After 3 s at 0.5 m/s the crate, 0.4 m long, is past the eye at 1 m; at 0.25 m/s it is there.
    assert statuses(exercise, PROGRAM) == {"R1": Status.NOT_MET}
    slower = MIXED.replace("500 mm/s", "250 mm/s")
    exercise = built(text(slower, condition, start), "mixed")
    assert statuses(exercise, PROGRAM) == {"R1": Status.MET}
    abstract = AbstractMachines(exercise, PROGRAM).of(0, exact_timers=True)
    assert abstract.machine.choices, "the search lets all of it move as it may"


def test_a_mixed_plant_is_drawn_one_area_below_the_other() -> None:
    exercise = built(text(MIXED, "eye"), "mixed")
    root = ET.fromstring(draw_plant(exercise.plant, exercise.points))
    moved = [g.get("transform") or "" for g in root if g.get("transform")]
    assert moved[0].startswith("translate(0 "), "the line stands below the vessels"
    shown = {e.get("data-signal") for e in root.iter()}
    assert {"vat.level", "crates.item1", "lift.position", "panel.start_pb"} <= shown


def test_an_axis_needs_no_vessel() -> None:
    axis = "plant:\n  axes: [{name: lift, forward: motor, time forward: 2 s, time back: 2 s,\n"
    axis += "          label: Lift}]"
    without_eye = text(axis, "lift.position >= 100").replace(
        '  - {symbol: eye, address: "%IX0.0", device: YS-301, kind: photo-eye, '
        "wiring: normally open,\n     label: Crate}\n",
        "",
    )
    assert statuses(built(without_eye, "mixed"), PROGRAM) == {"R1": Status.MET}
    panel_alone = without_eye.replace(axis, "plant: {}").replace("lift.position >= 100", "motor.on")
    exercise = built(panel_alone, "mixed")
    assert exercise.plant == Plant()
    assert statuses(exercise, PROGRAM) == {"R1": Status.MET}
    assert "panel.start_pb" in draw_plant(exercise.plant, exercise.points)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("  line: {", "  conveyor: {name: a, items: {length: 1 m}, belts: [{name: b, tag: M-1, "
         "length: 1 m, speed: 1 m/s, label: B}]}\n  line: {", "A plant has one line."),
        ("  line: {name: crates, item: crate, item length: 400 mm, gap: 100 mm}\n", "",
         "belt: nothing travels on it."),
        ("  belts: [{name: belt, tag: M-302, length: 2 m, speed: 500 mm/s, actuator: motor, "
         "label: Belt}]\n", "", "A conveyor has at least one belt."),
        ("name: lift", "name: vat", "The name vat is there 2 times."),
        ("to: vat", "to: crates", "fill: no vessel crates."),
    ],
)  # fmt: skip
def test_parts_that_do_not_fit_are_refused(old: str, new: str, sentence: str) -> None:
    assert old in MIXED
    with pytest.raises(FileFault, match=sentence):
        built(text(MIXED.replace(old, new), "eye"), "mixed")
