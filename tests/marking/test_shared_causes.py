"""One change that mends several requirements is one cause."""

from dataclasses import replace
from itertools import islice

import pytest

from server.marking.acceptance import acceptance_run
from server.marking.faults.catching import Suite
from server.marking.faults.repairs import single_edits
from server.marking.faults.shared_causes import find_shared_causes
from server.marking.verdict import RequirementVerdict, SharedCause, Status, Verdict
from tests.marking.apple_sump import EXERCISE, RIGHT, sump_program

OPEN_STOP = sump_program(RIGHT.replace("AND stop_pb", "AND NOT stop_pb"))


def test_a_wrong_contact_that_breaks_several_requirements_is_one_cause() -> None:
    verdict = acceptance_run(EXERCISE, OPEN_STOP, causes=False)
    short = [r.id for r in verdict.requirements if r.status is not Status.MET]
    assert len(short) > 1
    [cause] = find_shared_causes(EXERCISE, OPEN_STOP, verdict)
    assert cause.requirements == tuple(short)
    assert cause.change == "rung 1, contact stop_pb, normally open instead of normally closed"
    assert find_shared_causes(EXERCISE, OPEN_STOP, verdict, most=0) == ()


@pytest.mark.parametrize("instead", ["", " AND NOT stop_pb"])
def test_edits_that_are_not_replayed_to_the_end_would_mend_no_two(instead: str) -> None:
    program = sump_program(RIGHT.replace(" AND stop_pb", instead))
    verdict = acceptance_run(EXERCISE, program, causes=False)
    suite, ids = Suite(EXERCISE), [r.id for r in EXERCISE.requirements]
    short = {ids[number] for number in suite.complaints(program)}
    assert len(short) > 1
    mended = []
    for edit in islice(single_edits(EXERCISE, program), 60):
        left = {ids[number] for number in suite.complaints(edit.program)}
        if left <= short and len(short - left) > 1:
            mended.append((len(short - left), edit.sentence))
    best = max(mended, key=lambda each: each[0], default=None)
    found = find_shared_causes(EXERCISE, program, verdict, most=60)
    assert [(len(each.requirements), each.change) for each in found[:1]] == [best][: len(mended)]


def test_two_mistakes_that_break_a_requirement_each_share_no_cause() -> None:
    program = sump_program(RIGHT.splitlines()[0].replace(" AND stop_pb", ""))
    verdict = acceptance_run(EXERCISE, program, causes=False)
    short = {r.id for r in verdict.requirements if r.status is not Status.MET}
    assert {"R2", "R4"} <= short
    causes = find_shared_causes(EXERCISE, program, verdict)
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
