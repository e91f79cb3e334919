"""A verdict says where in the program the causes of each failure lead."""

from server.marking.acceptance import acceptance_run
from server.marking.faults.catching import Suite
from server.marking.faults.places import with_places
from server.marking.verdict import Status
from tests.marking.apple_sump import EXERCISE, RIGHT, sump_program


def test_all_that_one_edit_mends_leads_to_its_place() -> None:
    program = sump_program(RIGHT.replace("AND stop_pb", "AND NOT stop_pb"))
    verdict = acceptance_run(EXERCISE, program, causes=False)
    told = with_places(EXERCISE, program, verdict, Suite(EXERCISE), most=60)
    failed = [r for r in told.requirements if r.status is Status.NOT_MET]
    assert len(failed) > 1
    stop = "rung 1, normally closed contact stop_pb at %IX0.1"
    assert {(r.leads_to, r.leads_to_rung) for r in failed} == {(stop, 0)}
    assert all(not r.leads_to for r in told.requirements if r.status is not Status.NOT_MET)
    assert with_places(EXERCISE, program, verdict, Suite(EXERCISE), most=0) == verdict
