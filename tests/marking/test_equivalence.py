"""Comparing programs, held against the reference interpreter in both directions."""

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.faults.equivalence import Equivalence, affected, compare
from server.marking.faults.variants import variants
from tests.reference import Controller
from tests.strategies import programs

DECLARED = """
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    level AT %IW2 : INT;
    pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
    pause : TON;
    n : INT;
"""


def program(rungs: str) -> Program:
    return parse_program(f"PROGRAM p\nVAR\n{DECLARED}\nEND_VAR\n{rungs}\nEND_PROGRAM\n")


def compared(first: str, second: str) -> Equivalence:
    return compare(program(first), program(second), ["%QX0.0", "%QX0.1"], period_ms=10)


def points(controller: Controller) -> dict[str, int]:
    observed = controller.program.variables
    return {
        v.address: controller.values[v.symbol]
        for v in observed
        if v.address and not v.address.startswith("%I")
    }


def run(first: Program, second: Program, scans: list[dict[str, int]]) -> list[bool]:
    """Whether the two programs agree at their points, scan by scan, by the reference."""
    one, other = Controller(first), Controller(second)
    agree = []
    for inputs in scans:
        for controller in (one, other):
            controller.scan(inputs, bool(inputs["supply"]))
        agree.append(points(one) == points(other))
    return agree


SCAN = st.fixed_dictionaries(
    {f"%IX0.{i}": st.integers(0, 1) for i in range(3)}
    | {"%IW2": st.integers(-32768, 32767), "supply": st.sampled_from([1, 1, 1, 0])}
)


@settings(max_examples=150)
@given(programs(max_rungs=3), st.data())
def test_the_answer_is_that_of_the_reference(first: Program, data: st.DataObject) -> None:
    found = variants(first)
    assume(found)
    second = data.draw(st.sampled_from(found)).program
    addresses = [v.address for v in first.variables if v.address and v.address[1] != "I"]
    answer = compare(first, second, addresses, period_ms=10, work=100_000)
    if answer.same:
        assert all(run(first, second, data.draw(st.lists(SCAN, max_size=40))))
    if answer.different:
        agree = run(first, second, list(answer.trail))
        assert agree == [True] * (len(agree) - 1) + [False]


def test_distributing_a_contact_over_branches_changes_nothing() -> None:
    # a (b + c) = a b + a c, a law of Boolean algebra.
    assert compared(
        "pump := (start_pb OR pump) AND stop_pb;",
        "pump := start_pb AND stop_pb OR pump AND stop_pb;",
    ).same


def test_start_wins_over_stop_is_found_in_one_scan() -> None:
    answer = compared(
        "pump := (start_pb OR pump) AND stop_pb;", "pump := start_pb OR pump AND stop_pb;"
    )
    [scan] = answer.trail
    assert (scan["supply"], scan["%IX0.0"], scan["%IX0.1"]) == (1, 1, 0)


def test_a_timer_that_both_share_needs_no_counting() -> None:
    # Counting ten hours of scans would go over any budget.
    answer = compared(
        "pump := (start_pb OR pump) AND stop_pb;\nlamp := pump AND pause(PT := T#10h);",
        "pump := stop_pb AND (pump OR start_pb);\nlamp := pump AND pause(PT := T#10h);",
    )
    assert answer.same


def test_a_timer_whose_power_differs_is_not_shared() -> None:
    answer = compared("lamp := start_pb AND pause(PT := T#20ms);", "lamp := pause(PT := T#20ms);")
    assert answer.different
    assert len(answer.trail) == 3


def test_elapsed_times_are_shared_only_under_the_same_power() -> None:
    first = program("pump := start_pb AND pause(PT := T#1s);\nlamp := pause.ET > T#30ms;")
    second = program("pump := stop_pb AND pause(PT := T#1s);\nlamp := pause.ET > T#30ms;")
    assert compare(first, second, ["%QX0.1"], period_ms=10).different


def test_another_preset_is_found_by_counting() -> None:
    answer = compared(
        "lamp := start_pb AND pause(PT := T#1s);", "lamp := start_pb AND pause(PT := T#990ms);"
    )
    assert len(answer.trail) == 100  # Q comes 99 scans after the scan of the edge.


def test_what_takes_too_long_is_not_decided() -> None:
    answer = compare(
        program("lamp := start_pb AND pause(PT := T#10h);"),
        program("lamp := start_pb AND pause(PT := T#9h);"),
        ["%QX0.1"],
        period_ms=10,
    )
    assert not answer.same
    assert not answer.different


def test_a_measured_value_is_tried_on_both_sides_of_each_literal() -> None:
    assert compared("lamp := level > 500;", "lamp := level >= 501;").same
    for relation, value in ((">=", 500), ("<>", 499), ("<=", 500), ("=", 500)):
        [scan] = compared("lamp := level > 500;", f"lamp := level {relation} 500;").trail
        assert scan["%IW2"] == value


def test_a_value_compared_with_a_variable_is_tried_in_all_of_its_range() -> None:
    assert compared("lamp := level > n;", "lamp := n < level;").same
    [scan] = compared("lamp := level > n;", "lamp := level >= n;").trail
    assert scan["%IW2"] == 0  # n keeps its initial value


def test_rungs_without_a_common_variable_may_change_places() -> None:
    count = "IF start_pb THEN n := n + 1; END_IF;"
    lit = "lamp := n > 3;"
    pump = "pump := stop_pb;"
    assert compared(f"{count}\n{pump}\n{lit}", f"{pump}\n{count}\n{lit}").same
    assert compared(f"{count}\n{lit}\n{pump}", f"{lit}\n{count}\n{pump}").different


def test_only_what_is_downstream_of_a_difference_is_affected() -> None:
    touched = affected(
        program("pump := start_pb;\nlamp := stop_pb AND n > 3;"),
        program("pump := start_pb;\nlamp := n > 3;"),
    )
    assert touched == {"lamp", "%QX0.1"}
