"""Devices: wiring, faults, switching times, loss of power."""

from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from server.ladder.elements import ContactKind
from server.ladder.points import Direction, PointDeclaration
from server.plant.devices import KINDS, fault_names, kind_of
from server.plant.switchboard import Switchboard
from server.scan.assembler import Assembler, Bit, Machine, Signal, Word
from server.scan.instructions import INT_PLANES
from server.scan.kernel import execute
from server.scan.lanes import ALL

OPEN, CLOSED = ContactKind.OPEN, ContactKind.CLOSED

START = PointDeclaration("start_pb", "%IX0.0", "HS-201", "Start", OPEN, 0, "push-button")
STOP = PointDeclaration("stop_pb", "%IX0.1", "HS-202", "Stop", CLOSED, 1, "push-button")
LOW = PointDeclaration("sump_low", "%IX0.2", "LSL-201", "Low level", OPEN, None, "level switch")
HIGH = PointDeclaration(
    "sump_high", "%IX0.3", "LSH-201", "High level", CLOSED, None, "level switch"
)
HAND = PointDeclaration("in_hand", "%IX0.4", "HS-210", "By hand", OPEN, 0, "selector switch")
AUTO = PointDeclaration("in_auto", "%IX0.5", "HS-210", "By itself", OPEN, 0, "selector switch")
LEVEL = PointDeclaration("level", "%IW0", "LT-201", "Level", None, None, "level transmitter")
PUMP = PointDeclaration("fill_pump", "%QX0.0", "P-201", "Fill pump", None, 0, "contactor")
LAMP = PointDeclaration("ready_lamp", "%QX0.1", "YL-201", "Ready", None, 0, "lamp")
POINTS = (START, STOP, LOW, HIGH, HAND, AUTO, LEVEL, PUMP, LAMP)


@dataclass(slots=True)
class Board:
    """Points without a program: outputs are written by hand, in all lanes alike."""

    period_ms: int = 10
    faults: frozenset[str] | None = None
    free: bool = False
    machine: Machine = field(init=False)
    bits: NDArray[np.uint64] = field(init=False)

    def __post_init__(self) -> None:
        asm = Assembler(self.period_ms)
        senses: dict[str, Signal] = {}
        for tag in ("LSL-201", "LSH-201"):
            senses[tag] = Bit(asm.control())
            asm.define(f"sense.{tag}", senses[tag])
        senses["LT-201"] = Word(asm.planes(INT_PLANES, 4321))
        board = Switchboard(asm, self.faults, self.free)
        with asm.section("scan"):
            power = board.supply()
            board.inputs(POINTS, senses)
            written: dict[str, Signal] = {
                "%QX0.0": Bit(asm.control()),
                "%QX0.1": Bit(asm.control()),
            }
            board.outputs(POINTS, written, power)
        self.machine = asm.machine()
        self.bits = self.machine.initial.copy()

    def turn(self, name: str, on: bool) -> None:
        signal = self.machine.symbols[name]
        assert isinstance(signal, Bit)
        self.bits[signal.plane] = ALL if on else 0

    def scan(self, scans: int = 1) -> None:
        section, m = self.machine.sections["scan"], self.machine
        for _ in range(scans):
            execute(m.code, section.first, section.last, self.bits, m.initial, m.table)

    def __getitem__(self, name: str) -> int:
        signal = self.machine.symbols[name]
        if isinstance(signal, Word):
            return sum(int(self.bits[signal.base + i] & np.uint64(1)) << i for i in range(16))
        assert isinstance(signal, Bit)
        return int(self.bits[signal.plane] & np.uint64(1))


ACTUATED_BY = {
    "start_pb": "panel.start_pb",
    "stop_pb": "panel.stop_pb",
    "sump_low": "sense.LSL-201",
    "sump_high": "sense.LSH-201",
}


@pytest.mark.parametrize(
    ("symbol", "at_rest", "actuated"),
    [
        ("start_pb", 0, 1),
        # A stop push-button is wired normally closed (common practice, no source).
        ("stop_pb", 1, 0),
        # A low-level switch stays on while it is covered (common practice, no source).
        ("sump_low", 0, 1),
        ("sump_high", 1, 0),
    ],
)  # fmt: skip
def test_wiring(symbol: str, at_rest: int, actuated: int) -> None:
    board = Board()
    board.scan()
    assert board[symbol] == at_rest
    board.turn(ACTUATED_BY[symbol], True)
    board.scan()
    assert board[symbol] == actuated
    board.turn(ACTUATED_BY[symbol], False)
    board.scan()
    assert board[symbol] == at_rest


@pytest.mark.parametrize("symbol", list(ACTUATED_BY))
@pytest.mark.parametrize(("fault", "read"), [("broken wire", 0), ("stuck off", 0), ("stuck on", 1)])
@pytest.mark.parametrize("actuated", [False, True])
def test_contact_faults(symbol: str, fault: str, read: int, actuated: bool) -> None:
    board = Board()
    board.turn(ACTUATED_BY[symbol], actuated)
    board.scan()
    sound = board[symbol]
    board.turn(f"fault.{symbol}.{fault}", True)
    board.scan()
    assert board[symbol] == read
    board.turn(f"fault.{symbol}.{fault}", False)
    board.scan()
    assert board[symbol] == sound, "mended"


def test_broken_wire_of_a_stop_reads_as_pressed() -> None:
    # A break stops the machine: 'Risk reduction in the case of a fault' (on IEC/EN 60204-1)
    board = Board()
    board.turn("fault.stop_pb.broken wire", True)
    board.scan()
    assert board["stop_pb"] == 0


@pytest.mark.parametrize(
    ("turned", "expected"), [((), (0, 0)), (("in_hand",), (1, 0)), (("in_auto",), (0, 1)),
                             (("in_hand", "in_auto"), (1, 0))],
)  # fmt: skip
def test_positions_of_a_selector_switch_are_exclusive(
    turned: tuple[str, ...], expected: tuple[int, int]
) -> None:
    board = Board()
    for symbol in turned:
        board.turn(f"panel.{symbol}", True)
    board.scan()
    assert (board["in_hand"], board["in_auto"]) == expected


def test_transmitter_and_its_broken_wire() -> None:
    board = Board()
    board.scan()
    assert board["level"] == 4321
    board.turn("fault.level.broken wire", True)
    board.scan()
    assert board["level"] == 0


def test_contactor_follows_after_its_switching_time() -> None:
    # 10 ms to pick up and to drop out (common practice, no source): one scan of 10 ms
    board = Board()
    seen = []
    for commanded in (0, 1, 1, 1, 0, 0):
        board.turn("fill_pump", bool(commanded))
        board.scan()
        seen.append(board["fill_pump.on"])
    assert seen == [0, 0, 1, 1, 1, 0]


def test_switching_time_is_rounded_up_to_whole_scans() -> None:
    board = Board(period_ms=4)
    seen = []
    for commanded in (1, 1, 1, 1, 0, 0, 0, 0):
        board.turn("fill_pump", bool(commanded))
        board.scan()
        seen.append(board["fill_pump.on"])
    assert seen == [0, 0, 0, 1, 1, 1, 1, 0]


def test_welded_contactor_stays_on_once_it_was_on() -> None:
    board = Board()
    board.turn("fault.fill_pump.welded", True)
    board.scan(3)
    assert board["fill_pump.on"] == 0
    board.turn("fill_pump", True)
    board.scan(2)
    board.turn("fill_pump", False)
    board.scan(10)
    assert board["fill_pump.on"] == 1
    board.turn("fault.fill_pump.welded", False)
    board.scan()
    assert board["fill_pump.on"] == 0


@pytest.mark.parametrize("fault", ["no pick-up", "broken wire"])
def test_contactor_that_does_not_pick_up(fault: str) -> None:
    board = Board()
    board.turn(f"fault.fill_pump.{fault}", True)
    board.turn("fill_pump", True)
    board.scan(5)
    assert board["fill_pump.on"] == 0


def test_outputs_are_off_without_power() -> None:
    board = Board()
    board.turn("fill_pump", True)
    board.turn("ready_lamp", True)
    board.scan(3)
    assert (board["fill_pump.on"], board["ready_lamp.on"]) == (1, 1)
    board.turn("power", False)
    board.scan()
    assert board["ready_lamp.on"] == 0
    board.scan()
    assert board["fill_pump.on"] == 0


def test_only_the_faults_that_are_asked_for_cost_anything() -> None:
    few = Board(faults=frozenset({"fault.stop_pb.broken wire"}))
    named = [name for name in few.machine.symbols if name.startswith("fault.")]
    assert named == ["fault.stop_pb.broken wire"]
    assert len(few.machine.code) < len(Board().machine.code)


def test_panel_and_faults_are_free_for_the_search() -> None:
    by_hand = sum(kind_of(point).by_hand for point in POINTS)
    broken = frozenset({"fault.stop_pb.broken wire"})
    assert len(Board(faults=frozenset(), free=True).machine.choices) == by_hand
    assert len(Board(faults=broken, free=True).machine.choices) == by_hand + 1
    assert Board().machine.choices == ()


def test_catalogue_tells_rest_and_faults() -> None:
    assert kind_of(STOP).resting(CLOSED) == 1
    assert kind_of(START).resting(OPEN) == 0
    assert kind_of(LOW).resting(OPEN) is None
    assert kind_of(PUMP).resting(None) == 0
    assert kind_of(STOP).sentence(CLOSED) == "Off (0) while it is pressed, otherwise on (1)."
    assert kind_of(LOW).sentence(OPEN) == "On (1) while the liquid covers it, otherwise off (0)."
    assert fault_names(PUMP) == (
        "fault.fill_pump.broken wire", "fault.fill_pump.welded", "fault.fill_pump.no pick-up"
    )  # fmt: skip


def test_every_kind_says_what_it_does() -> None:
    for kind in KINDS.values():
        wiring = kind.wirings[0] if kind.wirings else None
        sentence = kind.sentence(wiring)
        assert sentence.endswith("."), kind.name
        assert bool(kind.wirings) <= (kind.direction is Direction.INPUT)
