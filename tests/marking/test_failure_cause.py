"""The causes that a verdict gives for a failure."""

from server.marking.acceptance import acceptance_run
from server.marking.causes.cause import Reason
from server.marking.causes.failure_cause import MAX_SENTENCES, shortest
from server.marking.verdict import Verdict
from tests.marking.apple_sump import EXERCISE, sump_program


def causes(verdict: Verdict, number: str) -> tuple[str, ...]:
    (evidence,) = (r.evidence for r in verdict.requirements if r.id == number)
    assert evidence is not None, f"{number} is not met"
    return evidence.causes


def test_a_pump_that_does_not_stop_was_started_and_holds_itself_in() -> None:
    without_stop = "fill_pump := (start_pb OR fill_pump) AND NOT sump_high;\nlamp := sump_high;"
    verdict = acceptance_run(EXERCISE, sump_program(without_stop))
    assert causes(verdict, "R2") == (
        "fill_pump came ON at 0.50 s: rung 1 conducted when start_pb came ON.",
        "It has held itself in since then while sump_high is OFF.",
        "start_pb came ON at 0.50 s: push-button HS-201. Without that, fill_pump would be OFF.",
    )


def test_a_pump_without_seal_in_stops_with_the_button() -> None:
    no_seal_in = "fill_pump := start_pb AND stop_pb AND NOT sump_high;\nlamp := sump_high;"
    verdict = acceptance_run(EXERCISE, sump_program(no_seal_in))
    assert causes(verdict, "R1") == (
        "fill_pump went OFF at 0.80 s: rung 1 opened when start_pb went OFF.",
        "start_pb went OFF at 0.80 s: push-button HS-201. Without that, fill_pump would be ON.",
    )


def test_no_causes_where_the_program_lacks_the_output() -> None:
    verdict = acceptance_run(EXERCISE, sump_program("lamp := sump_high;"))
    assert causes(verdict, "R1") == ("fill_pump has been OFF since the start: no rung changes it.",)


def test_the_change_that_decided_is_among_the_sentences() -> None:
    reasons = tuple(Reason(f"Step {n}.", "lamp", n, decisive=n == 8) for n in range(9))
    assert shortest(reasons) == ("Step 0.", "Step 1.", "Step 2.", "Step 8.")
    assert len(shortest(reasons)) == MAX_SENTENCES
