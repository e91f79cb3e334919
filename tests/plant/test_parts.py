"""What holds for every kind of part, on the sample that its own tests offer."""

import json
from dataclasses import replace
from itertools import count
from math import inf
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from numpy.random import default_rng
from pydantic import TypeAdapter

from server.ladder.elements import ContactKind
from server.ladder.points import PointDeclaration
from server.paths import PACKAGE
from server.plant.controls import HandItems, HandSetting, HandSwitch
from server.plant.drawing import draw_plant
from server.plant.part import Part
from server.plant.parts.axis import Axis
from server.plant.plant import PART_KINDS, Plant
from server.plant.step import PlantStep
from server.scan.assembler import Assembler, Word
from server.scan.lanes import LANES, plane_of
from server.web.authoring.fields import kinds_of
from tests.plant.paths import check_paths
from tests.plant.rig import Rig, actuators_of
from tests.plant.samples import SAMPLES

KINDS = pytest.mark.parametrize("kind", SAMPLES, ids=[kind.__name__ for kind in SAMPLES])
EVEN = plane_of(np.arange(LANES) % 2 == 0)


def points_of(plant: Plant) -> tuple[PointDeclaration, ...]:
    """A point for everything that a plant senses or is worked by."""
    number = count()
    found = []
    for part in plant.parts:
        kind = part.senses
        for tag in part.tags() if kind else ():
            assert kind is not None, "just asked"
            address = f"%IW{next(number)}" if kind.number else f"%IX{next(number)}.0"
            wiring = ContactKind.OPEN if kind.wirings else None
            symbol = tag.lower().replace("-", "_")
            found.append(PointDeclaration(symbol, address, tag, tag, wiring, None, kind.name))
    for symbol in actuators_of(plant):
        found.append(
            PointDeclaration(symbol, f"%QX{next(number)}.0", "M-1", symbol, None, 0, "contactor")
        )
    return tuple(found)


def test_every_file_of_parts_is_in_the_catalogue() -> None:
    files = {file.stem for file in (PACKAGE / "plant" / "parts").glob("*.py")} - {"__init__"}
    listed = {kind.__module__.rpartition(".")[2] for kind in PART_KINDS.values()}
    assert files == listed, "Give each kind of part a field in PartLists (server/plant/plant.py)."


@KINDS
def test_it_stands_in_its_sample(kind: type[Part]) -> None:
    assert SAMPLES[kind].of(kind)


@KINDS
def test_all_its_fields_are_on_the_authors_page(kind: type[Part]) -> None:
    schema = TypeAdapter(kind).json_schema()
    assert [field.key for field in kinds_of(kind)] == list(schema["properties"])


@KINDS
def test_a_part_that_names_another_is_checked_and_suggested(kind: type[Part]) -> None:
    """A field that a sample's parts fill with the name of a part has the type of such a name."""
    plant = SAMPLES[kind]
    names = {name for part in plant.parts for name in part.names()}
    for field in kinds_of(kind):
        for part in plant.of(kind):
            value = json.loads(TypeAdapter(kind).dump_json(part, by_alias=True)).get(field.key)
            if field.key not in ("name", "label") and value in names:
                assert field.names, f"{field.key} of a {kind.noun} names {value}"


@KINDS
@pytest.mark.parametrize("abstract", [False, True])
def test_what_it_senses_is_a_device_of_the_catalogue(kind: type[Part], abstract: bool) -> None:
    plant = SAMPLES[kind]
    senses = PlantStep(plant, Assembler(), abstract=abstract).senses
    kinds = {tag: part.senses for part in plant.parts if part.senses for tag in part.tags()}
    assert senses.keys() == kinds.keys()
    for tag, device in kinds.items():
        assert isinstance(senses[tag], Word) is device.number, tag


def set_by_hand(rig: Rig, rng: np.random.Generator) -> None:
    """Set all that a hand may set, alike in each even lane and the odd one after it."""
    for control in rig.plant.controls:
        if isinstance(control, HandSetting):
            row = rig.step.gauges[control.quantity].row
            rig.quantities[row] = np.repeat(rng.uniform(0, control.high, LANES // 2), 2)


def _differ(rig: Rig, tag: str) -> bool:
    """Whether what a tag senses is not the same in all even and all odd lanes."""
    return any(rig.sensed(tag, lane) != rig.sensed(tag, lane + 1) for lane in range(0, LANES, 2))


@KINDS
def test_all_that_works_it_changes_something(kind: type[Part]) -> None:
    """In every second lane one actuator or hand stays off; all others are worked alike."""
    plant = SAMPLES[kind]
    switches = [
        control.signal
        for part in plant.of(kind)
        for control in part.controls(plant)
        if isinstance(control, HandSwitch)
    ]
    drives = [drive.symbol for part in plant.of(kind) for drive in part.drives()]
    for worked in [*switches, *(symbol for symbol in drives if symbol not in plant.tags)]:
        rng, rig = default_rng(3), Rig(plant, 100)
        differs = False
        for _ in range(30):
            for name in {*rig.actuators, worked}:
                rig.turn(name, False)
                rig.turn(name, True, plane_of(np.repeat(rng.random(LANES // 2) < 0.6, 2)))
            rig.turn(worked, False, EVEN)
            set_by_hand(rig, rng)
            rig.run(8)
            differs = differs or not np.array_equal(rig.quantities[:, ::2], rig.quantities[:, 1::2])
            differs = differs or any(_differ(rig, tag) for tag in rig.step.senses)
        assert differs, f"{worked} changes nothing"


@KINDS
def test_its_runs_are_paths_of_the_abstract_step(kind: type[Part]) -> None:
    plant = SAMPLES[kind]
    gauges = PlantStep(plant, Assembler()).gauges
    thresholds = [
        (name, 1.0 if gauge.high == float("inf") else (gauge.low + gauge.high) / 2)
        for name, gauge in gauges.items()
    ]
    edges = {tag: [5000] for tag in plant.tags}
    assert check_paths(plant, thresholds, seed=5, edges=edges, scans=40), "nothing was tried"


@KINDS
def test_it_is_drawn_and_described(kind: type[Part]) -> None:
    plant = SAMPLES[kind]
    drawn = draw_plant(plant, points_of(plant))
    texts = {element.text for element in ET.fromstring(drawn).iter()}
    words = next(t for t in texts if (t and ". " in t) or (t and t.endswith(".")))
    for part in plant.of(kind):
        for tag in part.tags():
            assert tag in texts or set(tag.split("-")) <= texts, f"{tag} is not drawn"
            assert tag in words, f"{tag} is not described"
        for name in part.names() if not part.tags() else ():
            label = getattr(part, "label", "")
            assert label in words, f"{name} is not described"


def quantities_of(kind: type[Part]) -> list[str]:
    """The gauges with an end that the parts of one kind bring into their sample."""
    plant = SAMPLES[kind]
    names = {name for part in plant.of(kind) for name in part.names()}
    gauges = Rig(plant).step.gauges.items()
    return [n for n, gauge in gauges if gauge.high < inf and n.partition(".")[0] in names]


@KINDS
def test_its_quantities_are_seen_and_set_by_hand(kind: type[Part]) -> None:
    """No hand shifts an axis: only its drives do."""
    plant = SAMPLES[kind]
    drawn = draw_plant(plant, points_of(plant))
    set_by_hand = {c.quantity for c in plant.controls if isinstance(c, HandSetting)}
    for quantity in quantities_of(kind):
        assert f'data-signal="{quantity}"' in drawn, f"{quantity} is not drawn"
        assert quantity in set_by_hand or kind is Axis, f"nobody can set {quantity}"


@KINDS
def test_it_has_a_hand_switch_where_no_output_works_it(kind: type[Part]) -> None:
    plant = SAMPLES[kind]
    worked: list[Any] = [part for part in plant.of(kind) if hasattr(part, "on_at_start")]
    for part in worked:
        if part.names():
            alone = replace(part, actuator=None)
            switches = [c for c in alone.controls(plant) if isinstance(c, HandSwitch)]
            assert [switch.name for switch in switches] == [part.name]


@KINDS
def test_its_hand_controls_work_signals_that_exist(kind: type[Part]) -> None:
    plant = SAMPLES[kind]
    symbols = Rig(plant).machine.symbols
    for part in plant.of(kind):
        for control in part.controls(plant):
            match control:
                case HandSwitch():
                    assert control.signal in symbols
                case HandSetting():
                    assert control.quantity in symbols
                    assert plant.of(kind), "a setting belongs to its part"
                case HandItems():
                    assert f"{control.line}.item1" in symbols
