"""A conveyor's file: its plant, its items and its counts."""

import pytest

from server.ladder.text_form import parse_program
from server.marking.exercise import Exercise
from server.marking.files.document import read_document
from server.marking.files.exercise_file import build_exercise
from server.marking.scenario import Clear, Put, Turn
from server.marking.verdict import Status
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.pusher import Pusher
from server.plant.parts.stop import Stop
from tests.marking.small_exercise import built
from tests.marking.statuses import statuses

TEXT = """\
exercise: small-line
title: Small line
summary: A belt with a gate and a pusher.
statement: Sort.
points:
  - {symbol: eye, address: "%IX0.0", device: YS-301, kind: photo-eye, wiring: normally open,
     label: Item}
  - {symbol: motor, address: "%QX0.0", device: M-302, kind: contactor, label: Motor}
  - {symbol: gate, address: "%QX0.1", device: YV-303, kind: solenoid valve, label: Gate}
  - {symbol: reject, address: "%QX0.2", device: YV-304, kind: solenoid valve, label: Reject}
plant:
  conveyor:
    name: bottles
    items: {name: bottle, length: 100 mm, gap: 50 mm, mark: short fill}
    belts:
      - {name: belt, tag: M-302, length: 2 m, speed: 0.5 m/s, run up: 200 ms, actuator: motor,
         label: Belt}
    feeder: {interval: 2 s, marked every: 3, at start: off}
    eyes: [{tag: YS-301, at: 1 m, marked only: true}]
    stops: [{name: stopper, tag: YV-303, at: 1.8 m, by: gate, holds when: off, label: Gate}]
    pushers: [{name: pusher, tag: YV-304, at: 1 m, by: reject, label: Reject}]
requirements:
  - {id: R1, text: Marked bottles are pushed out., kind: stated,
     checks: [{never: bottles.passed_marked >= 1, given: pusher.pushed_marked >= 1}]}
scenarios:
  - name: One of each
    items: [{at: 0.9 m, marked: true}, {at: 0.3 m}]
    steps:
      - {after: 3 s, clear: {from: 1.5 m, to: 2.5 m}}
      - {after: 0 s, turn on: feeder, put: [{at: 0.5 m}]}
"""


@pytest.fixture(scope="module")
def exercise() -> Exercise:
    return built(TEXT, "small-line")


def test_the_plant_is_built(exercise: Exercise) -> None:
    plant = exercise.plant
    assert plant.feeder == Feeder(2.0, 3, on_at_start=False)
    assert plant.eyes == (Eye("YS-301", 1.0, marked_only=True),)
    assert plant.stops == (Stop("stopper", "YV-303", 1.8, "gate", holds_when=False, label="Gate"),)
    assert plant.pushers == (Pusher("pusher", "YV-304", 1.0, "reject", label="Reject"),)
    assert plant.line == ConveyorLine("bottles", 0.1, 0.05, "bottle", "short fill")


def test_items_are_put_down_and_taken_away(exercise: Exercise) -> None:
    scenario = exercise.scenarios[0]
    assert scenario.start == (Put("bottles", 0.9, True), Put("bottles", 0.3))
    first, second = scenario.steps
    assert first.actions == (Clear("bottles", 1.5, 2.5),)
    assert second.actions == (Turn("panel.feeder", True), Put("bottles", 0.5))


@pytest.mark.parametrize(
    ("second", "advice"),
    [
        # 0.95 - 0.8 is less than 0.1 + 0.05 in floating point
        ("0.95 m", []),
        (
            "0.94 m",
            [
                "27:45: scenarios.1.items.2.at: The item finds no room: it is nearer to another "
                "one than 0.15 m, its length and its gap. Move it."
            ],
        ),
    ],
)
def test_an_item_without_room_is_told(second: str, advice: list[str]) -> None:
    document = read_document(
        "exercise.yaml",
        TEXT.replace(
            "0.9 m, marked: true}, {at: 0.3 m}]", f"0.8 m, marked: true}}, {{at: {second}}}]"
        ).encode(),
    )
    build_exercise(document, "small-line")
    assert [str(each) for each in document.advice] == advice


@pytest.mark.parametrize(
    ("rung", "status"),
    [("reject := eye;", Status.MET), (";", Status.NOT_MET)],
)
def test_counts_are_compared(exercise: Exercise, rung: str, status: Status) -> None:
    program = parse_program(
        f"""PROGRAM p VAR eye AT %IX0.0 : BOOL; motor AT %QX0.0 : BOOL; gate AT %QX0.1 : BOOL;
        reject AT %QX0.2 : BOOL; END_VAR motor := TRUE; gate := TRUE; {rung} END_PROGRAM"""
    )
    assert statuses(exercise, program)["R1"] is status
