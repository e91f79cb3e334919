"""Rules about structure and documentation, on small programs."""

from dataclasses import replace

import pytest

from server.marking.patterns import StructureRule
from server.marking.structure import RULES, judge_structure, rule_fault
from tests.marking.small_exercise import built, program

EXERCISE = built()


def judged(rule: StructureRule, rungs: str, declarations: str = "") -> str | None:
    return judge_structure(rule, program(rungs, declarations), EXERCISE)


BIT = "filling AT %MX0.0 : BOOL; other : BOOL;"


CASES = [
    # element
    (StructureRule("element", "TON"), "pump := t(PT := T#1s);", None),
    (
        StructureRule("element", "TON"),
        "pump := start_pb;",
        "The program uses no TON; the exercise asks for one.",
    ),
    (
        StructureRule("element", "set coil", count=2),
        "IF start_pb THEN other := TRUE; END_IF;",
        "The program uses 1 set coil; the exercise asks for 2.",
    ),
    (StructureRule("element", "rising edge contact"), "pump := RISING(start_pb);", None),
    (StructureRule("element", "comparison"), "pump := 1 < 2;", None),
    (StructureRule("element", "assignment"), "IF start_pb THEN n := n + 1; END_IF;", None),
    # no element
    (StructureRule("no element", "set coil"), "pump := start_pb;", None),
    (
        StructureRule("no element", "set coil"),
        "IF start_pb THEN other := TRUE; END_IF;",
        "The program uses a set coil; the exercise asks to do without.",
    ),
    # set-reset pair
    (
        StructureRule("set-reset pair", "filling"),
        "IF start_pb THEN filling := TRUE; END_IF; IF stop_pb THEN filling := FALSE; END_IF;",
        None,
    ),
    (
        StructureRule("set-reset pair"),
        "IF start_pb THEN other := TRUE; END_IF;",
        "other has a set coil but no reset coil.",
    ),
    (
        StructureRule("set-reset pair"),
        "IF start_pb THEN pump := TRUE; END_IF; IF stop_pb THEN pump := FALSE; END_IF;",
        "No rung sets and no rung resets an internal bit.",
    ),
    # internal bit
    (StructureRule("internal bit", "filling"), "filling := start_pb;", None),
    (StructureRule("internal bit", "filling"), "pump := filling;", "No rung writes filling."),
    # seal-in
    (StructureRule("seal-in", "fill_pump"), "pump := (start_pb OR pump) AND stop_pb;", None),
    (
        StructureRule("seal-in", "fill_pump"),
        "pump := stop_pb AND (start_pb OR tank_high AND (pump OR other));",
        None,
    ),
    (
        StructureRule("seal-in", "fill_pump"),
        "pump := start_pb AND pump;",
        "Rung 1 has no branch with pump's own contact that seals it in.",
    ),
    (
        StructureRule("seal-in", "fill_pump"),
        "pump := start_pb OR NOT pump;",
        "Rung 1 has no branch with pump's own contact that seals it in.",
    ),
    (
        StructureRule("seal-in", "fill_pump"),
        "pump := start_pb AND pump OR tank_high AND pump;",
        "Rung 1 has no branch with pump's own contact that seals it in.",
    ),
    (StructureRule("seal-in"), "other := start_pb OR other; pump := other;", None),
    (
        StructureRule("seal-in"),
        "pump := start_pb;",
        "No coil has its own contact in a branch that seals it in.",
    ),
    # one coil
    (StructureRule("one coil"), "pump := start_pb; other := pump;", None),
    (
        StructureRule("one coil"),
        "pump := start_pb; ; pump := stop_pb;",
        "pump is written by the coils of rungs 1 and 3; the last one wins.",
    ),
    (
        StructureRule("one coil"),
        "IF start_pb THEN pump := TRUE; END_IF; pump := stop_pb;",
        "pump has a coil and set or reset coils, in rungs 1 and 2.",
    ),
    (StructureRule("one coil", "fill_pump"), "other := start_pb; other := stop_pb;", None),
    # driven by
    (StructureRule("driven by", "fill_pump", "filling"), "pump := filling;", None),
    (
        StructureRule("driven by", "fill_pump", "filling"),
        "pump := start_pb;",
        "Rung 1 drives pump without a contact of filling.",
    ),
    (
        StructureRule("driven by", "fill_pump", "filling"),
        "filling := start_pb;",
        "No rung drives pump.",
    ),
    # documentation
    (StructureRule("comment on every rung"), "// Pump.\npump := start_pb; ;", None),
    (
        StructureRule("comment on every rung"),
        "pump := start_pb; // Pump.\nother := start_pb;",
        "Rung 2 has no comment.",
    ),
    (
        StructureRule("comment on every rung"),
        "pump := start_pb;\nother := start_pb;\nfilling := start_pb;",
        "Rungs 1, 2 and 3 have no comment.",
    ),
    (StructureRule("name for every point"), ";", None),
    (StructureRule("rung for every requirement"), "// [R1] Pump.\npump := start_pb;", None),
    (
        StructureRule("rung for every requirement"),
        "// [R2] Pump.\npump := start_pb;",
        "No rung says that it serves R1.",
    ),
]


@pytest.mark.parametrize(("rule", "rungs", "sentence"), CASES)
def test_a_rule_answers_none_or_a_sentence(
    rule: StructureRule, rungs: str, sentence: str | None
) -> None:
    assert judged(rule, rungs, f"{BIT} t : TON; n : INT;") == sentence


def test_a_named_bit_is_found_by_address_or_by_its_symbol() -> None:
    rule = StructureRule("internal bit", "filling")
    assert judged(rule, "own := start_pb;", "own AT %MX0.0 : BOOL;") is None
    assert judged(rule, "filling := start_pb;", "filling : BOOL;") is None
    assert (
        judged(rule, "own := start_pb;", "own : BOOL;") == "The program does not declare filling."
    )


def test_every_point_needs_a_name() -> None:
    declared = program(";")
    without = replace(declared, variables=declared.variables[2:])
    assert judge_structure(StructureRule("name for every point"), without, EXERCISE) == (
        "The program has no name for %IX0.0 (start_pb), %IX0.1 (stop_pb)."
    )


def test_the_table_of_rules_is_tried_completely() -> None:
    assert {rule.rule for rule, *_ in CASES} == set(RULES)


@pytest.mark.parametrize(
    ("rule", "field"),
    [
        (StructureRule("element", "TON", count=3), None),
        (StructureRule("element"), "uses"),
        (StructureRule("element", "start_pb"), "of"),
        (StructureRule("seal-in", "TON"), "of"),
        (StructureRule("comment on every rung", "fill_pump"), "of"),
        (StructureRule("driven by", "fill_pump"), "uses"),
        (StructureRule("seal-in", source="fill_pump"), "by"),
        (StructureRule("seal-in", count=2), "times"),
    ],
)
def test_a_rule_is_refused_where_it_does_not_fit(rule: StructureRule, field: str | None) -> None:
    fault = rule_fault(rule, ["start_pb", "fill_pump"])
    assert (fault and fault[0]) == field
