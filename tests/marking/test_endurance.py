"""The endurance run: what comes late or often is found on a working day."""

from dataclasses import replace

import pytest

from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.coverage.endurance import endurance_run
from server.marking.coverage.working_day import SHORTEST_MS, day_length_ms, working_day
from server.marking.machine import assemble
from server.marking.marking import Effort, mark
from server.marking.proofs.stress import Violation
from server.marking.replay import NEVER, replay
from server.marking.second_look import FoundBy, differences_in
from server.marking.shadows import with_second_look
from server.marking.verdict import Status
from server.scan.lanes import LANES
from tests.marking.apple_sump import EXERCISE, POINTS, sump_program

SUMP = replace(EXERCISE, references=(sump_program(),))
LOOKED_AT = with_second_look(SUMP)
LOOK = len(SUMP.requirements)


def program(rungs: str, *declared: str) -> Program:
    points = [f"{p.symbol} AT {p.address} : {p.type};" for p in POINTS]
    names = "\n".join([*points, *declared])
    return parse_program(f"PROGRAM sump\nVAR\n{names}\nEND_VAR\n{rungs}\nEND_PROGRAM\n")


WEARS_OUT = program(
    """
    start_pb AND presses(R := never, PV := 12);
    fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high AND NOT presses.Q;
    lamp := sump_high;
    """,
    "presses : CTU;",
    "never : BOOL;",
)
TIRES = program(
    """
    stop_pb AND awake(PT := T#4m);
    fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;
    lamp := sump_high AND NOT awake.Q;
    """,
    "awake : TON;",
)


def endure(tried: Program) -> dict[int, list[Violation]]:
    return endurance_run(LOOKED_AT, tried, frozenset(range(LOOK + 1)))


def test_a_right_program_works_all_day() -> None:
    assert endure(sump_program()) == {}


@pytest.mark.parametrize(("tried", "requirement"), [(WEARS_OUT, "R1"), (TIRES, "R4")])
def test_what_fails_late_or_often_is_found_with_a_run_that_shows_it(
    tried: Program, requirement: str
) -> None:
    found = endure(tried)
    assert {LOOKED_AT.requirements[number].id for number in found} == {requirement}
    [[run]] = found.values()
    assembled = assemble(LOOKED_AT, tried, faults=())
    assert replay(assembled, [run.scenario]).violated[run.monitor, 0] == run.scan
    assert all(step.when is None for step in run.scenario.steps), "its times are fixed"


def test_where_no_check_asks_the_references_tell() -> None:
    kept = tuple(r for r in SUMP.requirements if r.id != "R4")
    weak = replace(SUMP, requirements=kept)
    look = len(kept)
    found = endurance_run(with_second_look(weak), TIRES, frozenset(range(look + 1)))
    assert list(found) == [look]
    [difference] = differences_in(weak, TIRES, found[look])
    assert (difference.output, difference.found_by) == ("lamp", FoundBy.ENDURANCE)


def test_a_requirement_that_a_day_shows_to_be_broken_is_not_met() -> None:
    verdict = mark(SUMP, TIRES, Effort(runs=64, work=64))
    lamp = next(r for r in verdict.requirements if r.id == "R4")
    assert (lamp.status, lamp.known_by) == (Status.NOT_MET, FoundBy.ENDURANCE)
    assert verdict.second_look == ()


def test_a_day_has_64_lanes_and_is_the_same_again() -> None:
    assembled = assemble(SUMP, sump_program())
    day = working_day(SUMP, assembled, SHORTEST_MS)
    assert len(day) == LANES
    assert day == working_day(SUMP, assembled, SHORTEST_MS)
    assert (replay(assembled, day).violated == NEVER).all()


def test_a_day_is_longer_than_what_the_program_can_time() -> None:
    assert day_length_ms(sump_program(), assemble(SUMP, sump_program())) == SHORTEST_MS
    assert day_length_ms(TIRES, assemble(SUMP, TIRES)) > 4 * 60_000 + 60_000
    slow = program("stop_pb AND awake(PT := T#24h);\nlamp := awake.Q;", "awake : TON;")
    assert day_length_ms(slow, assemble(SUMP, slow)) == 65 * 60_000
