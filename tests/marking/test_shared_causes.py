"""One change that mends several requirements is one cause."""

from dataclasses import replace

from server.marking.acceptance import acceptance_run
from server.marking.faults.catching import Suite
from server.marking.faults.shared_causes import find_shared_causes
from server.marking.verdict import RequirementVerdict, SharedCause, Status, Verdict
from tests.marking.apple_sump import EXERCISE, RIGHT, sump_program

OPEN_STOP = sump_program(RIGHT.replace("AND stop_pb", "AND NOT stop_pb"))


def test_a_wrong_contact_that_breaks_several_requirements_is_one_cause() -> None:
    verdict = acceptance_run(EXERCISE, OPEN_STOP, causes=False)
    short = [r.id for r in verdict.requirements if r.status is not Status.MET]
    assert len(short) > 1
    [cause] = find_shared_causes(EXERCISE, OPEN_STOP, verdict, Suite(EXERCISE))
    assert cause.requirements == tuple(short)
    assert cause.change == "rung 1, contact stop_pb, normally open instead of normally closed"
    assert find_shared_causes(EXERCISE, OPEN_STOP, verdict, Suite(EXERCISE), most=0) == ()


def test_two_mistakes_that_break_a_requirement_each_share_no_cause() -> None:
    program = sump_program(RIGHT.splitlines()[0].replace(" AND stop_pb", ""))
    verdict = acceptance_run(EXERCISE, program, causes=False)
    short = {r.id for r in verdict.requirements if r.status is not Status.MET}
    assert {"R2", "R4"} <= short
    causes = find_shared_causes(EXERCISE, program, verdict, Suite(EXERCISE))
    assert all("R4" not in cause.requirements for cause in causes)


def test_a_cause_that_counts_once_costs_as_much_as_the_one_worth_most() -> None:
    def told(number: str, score: float, most: float) -> RequirementVerdict:
        status = Status.MET if score else Status.NOT_MET
        return RequirementVerdict(number, status, "", "", score, most)

    rows = (told("R1", 0, 2), told("R2", 0, 3), told("R3", 1, 1), told("R4", 0, 1))
    verdict = Verdict("x", 1, "", "", rows)
    assert (verdict.score, verdict.score_by_cause) == (1, 1)
    shared = replace(verdict, causes=(SharedCause(("R1", "R2"), "rung 1"),))
    assert (shared.score, shared.score_by_cause) == (1, 3)
    assert shared.cause_of("R2") == shared.causes[0]
    assert shared.cause_of("R4") is None
