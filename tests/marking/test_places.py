"""Where in the program the causes of each failure lead, for those who ask."""

from dataclasses import replace

from server.marking.acceptance import acceptance_run
from server.marking.faults.places import find_places
from server.marking.verdict import Status
from tests.marking.apple_sump import EXERCISE, RIGHT, sump_program


def test_all_that_one_edit_mends_leads_to_its_place() -> None:
    program = sump_program(RIGHT.replace("AND stop_pb", "AND NOT stop_pb"))
    verdict = acceptance_run(EXERCISE, program, causes=False)
    failed = {r.id for r in verdict.requirements if r.status is Status.NOT_MET}
    assert len(failed) > 1
    found = find_places(EXERCISE, program, verdict, most=60)
    assert found.keys() == failed
    stop = "rung 1, normally closed contact stop_pb at %IX0.1"
    assert {(each.describe(program), each.rung) for each in found.values()} == {(stop, 0)}
    earlier = replace(verdict, suite_hash="of an earlier version")
    assert find_places(EXERCISE, program, earlier) == {}
