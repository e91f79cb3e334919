"""Rules about structure and documentation, on small programs."""

from dataclasses import replace

import pytest

from server.marking.checks.uses import StructureRule
from server.marking.structure import RULES
from tests.marking.checks import rule
from tests.marking.small_exercise import built, program

EXERCISE = built()


def judged(asked: StructureRule, rungs: str, declarations: str = "") -> str | None:
    return asked.complaint(EXERCISE.view(program(rungs, declarations)))


BIT = "filling AT %MX0.0 : BOOL; other : BOOL;"


CASES = [
    # element
    (rule("element", "TON"), "pump := start_pb AND t(PT := T#1s);", None),
    (
        rule("element", "TON"),
        "pump := start_pb;",
        "The program uses no TON; the exercise asks for one.",
    ),
    (
        rule("element", "set coil", times=2),
        "IF start_pb THEN other := TRUE; END_IF; pump := other;",
        "The program uses 1 set coil; the exercise asks for 2.",
    ),
    (rule("element", "rising edge contact"), "pump := RISING(start_pb);", None),
    (rule("element", "comparison"), "pump := start_pb AND 1 < 2;", None),
    (
        rule("element", "assignment"),
        "IF start_pb THEN n := n + 1; END_IF; pump := n > 3;",
        None,
    ),
    (
        rule("element", "shift or rotation"),
        "IF start_pb THEN w := SHL(w, 1) AND 16#000F; END_IF; pump := w.%X3;",
        None,
    ),
    (
        rule("element", "shift or rotation"),
        "IF start_pb THEN w := NOT w AND 16#000F; END_IF; pump := w.%X3;",
        "The program uses no shift or rotation; the exercise asks for one.",
    ),
    (
        rule("element", "assignment"),
        "IF start_pb THEN n := n + 1; END_IF; pump := start_pb;",
        "The program uses no assignment that works towards an output; the exercise asks for one.",
    ),
    (
        rule("element", "TON", to="fill_pump"),
        "other := t(PT := T#1s); pump := start_pb AND other;",
        "The program uses no TON that works towards pump; the exercise asks for one.",
    ),
    (rule("element", "TON", preset="1 s"), "pump := start_pb AND t(PT := T#1050ms);", None),
    (
        rule("element", "TON", preset="2 s"),
        "pump := start_pb AND t(PT := T#1s);",
        "The program uses no TON with a preset of 2.00 s; the exercise asks for one.",
    ),
    # no element
    (rule("no element", "set coil"), "pump := start_pb;", None),
    (
        rule("no element", "shift or rotation"),
        "IF start_pb THEN w := 16#00FF AND ROR(w, 1); END_IF;",
        "The program uses a shift or rotation; the exercise asks to do without.",
    ),
    (
        rule("no element", "set coil"),
        "IF start_pb THEN other := TRUE; END_IF;",
        "The program uses a set coil; the exercise asks to do without.",
    ),
    # set-reset pair
    (
        rule("set-reset pair", "filling"),
        "IF start_pb THEN filling := TRUE; END_IF; IF stop_pb THEN filling := FALSE; END_IF;"
        "pump := filling;",
        None,
    ),
    (
        rule("set-reset pair"),
        "IF start_pb THEN other := TRUE; END_IF; IF stop_pb THEN other := FALSE; END_IF;"
        "pump := start_pb;",
        "other does no work: no path leads from the inputs through it to an output.",
    ),
    (
        rule("set-reset pair"),
        "IF start_pb THEN other := TRUE; END_IF;",
        "other has a set coil but no reset coil.",
    ),
    (
        rule("set-reset pair"),
        "IF start_pb THEN pump := TRUE; END_IF; IF stop_pb THEN pump := FALSE; END_IF;",
        "No rung sets and no rung resets an internal bit.",
    ),
    # internal bit
    (rule("internal bit", "filling"), "filling := start_pb; pump := filling;", None),
    (
        rule("internal bit", "filling"),
        "filling := start_pb; pump := start_pb;",
        "filling does no work: no path leads from the inputs through it to an output.",
    ),
    (rule("internal bit", "filling"), "pump := filling;", "No rung writes filling."),
    # seal-in
    (rule("seal-in", "fill_pump"), "pump := (start_pb OR pump) AND stop_pb;", None),
    (
        rule("seal-in", "fill_pump"),
        "pump := stop_pb AND (start_pb OR tank_high AND (pump OR other));",
        None,
    ),
    (
        rule("seal-in", "fill_pump"),
        "pump := start_pb AND pump;",
        "Rung 1 has no branch with pump's own contact that seals it in.",
    ),
    (
        rule("seal-in", "fill_pump"),
        "pump := start_pb OR NOT pump;",
        "Rung 1 has no branch with pump's own contact that seals it in.",
    ),
    (
        rule("seal-in", "fill_pump"),
        "pump := start_pb AND pump OR tank_high AND pump;",
        "Rung 1 has no branch with pump's own contact that seals it in.",
    ),
    (rule("seal-in"), "other := start_pb OR other; pump := other;", None),
    (
        rule("seal-in"),
        "other := start_pb OR other; pump := start_pb;",
        "other does no work: no path leads from the inputs through it to an output.",
    ),
    (
        rule("seal-in"),
        "pump := start_pb;",
        "No coil has its own contact in a branch that seals it in.",
    ),
    # one coil
    (rule("one coil"), "pump := start_pb; other := pump;", None),
    (
        rule("one coil"),
        "pump := start_pb; ; pump := stop_pb;",
        "pump is written by the coils of rungs 1 and 3; one is allowed.",
    ),
    (
        rule("one coil"),
        "IF start_pb THEN pump := TRUE; END_IF; pump := stop_pb;",
        "pump is written by the coils of rungs 1 and 2; one is allowed.",
    ),
    (
        rule("one coil"),
        "IF start_pb THEN pump := TRUE; END_IF; IF NOT stop_pb THEN pump := FALSE; END_IF;",
        "pump is written by the coils of rungs 1 and 2; one is allowed.",
    ),
    (rule("one coil"), "other := start_pb; other := stop_pb;", None),
    # driven by
    (rule("driven by", "fill_pump", "filling"), "pump := filling;", None),
    (
        rule("driven by", "fill_pump", "filling"),
        "pump := start_pb;",
        "Rung 1 drives pump without a contact of filling.",
    ),
    (
        rule("driven by", "fill_pump", "filling"),
        "filling := start_pb;",
        "No rung drives pump.",
    ),
    (rule("driven by", "fill_pump", "filling"), "other := filling; pump := other;", None),
    (rule("driven by", "fill_pump", "filling"), "NOT pump := NOT filling OR start_pb;", None),
    (rule("driven by", "fill_pump", "filling"), "other := NOT filling; pump := NOT other;", None),
    (
        rule("driven by", "fill_pump", "filling"),
        "other := NOT filling; pump := other;",
        "Rung 2 drives pump without a contact of filling.",
    ),
    (
        rule("driven by", "fill_pump", "filling"),
        "other := filling; other := start_pb; pump := other;",
        "Rung 3 drives pump without a contact of filling.",
    ),
    # documentation
    (rule("comment on every rung"), "// Pump.\npump := start_pb; ;", None),
    (
        rule("comment on every rung"),
        "pump := start_pb; // Pump.\nother := start_pb;",
        "Rung 2 has no comment.",
    ),
    (rule("comment on every rung"), "// .\npump := start_pb;", "Rung 1 has no comment."),
    (rule("comment on every rung"), "// [R1] 80 %.\npump := start_pb;", None),
    (rule("comment on every rung"), "// [R1] R2b.\npump := start_pb;", "Rung 1 has no comment."),
    (
        rule("comment on every rung"),
        "pump := start_pb;\nother := start_pb;\nfilling := start_pb;",
        "Rungs 1, 2 and 3 have no comment.",
    ),
    (rule("name for every point"), ";", None),
    (rule("rung for every requirement"), "// [R1] Pump.\npump := start_pb;", None),
    (rule("rung for every requirement"), "// Pump, for [R2, R1] both.\npump := start_pb;", None),
    (
        rule("rung for every requirement"),
        "// [R2] Pump.\npump := start_pb;",
        "No rung says that it serves R1.",
    ),
    (
        rule("rung for every requirement"),
        "// [R1] Nothing.\n;",
        "No rung says that it serves R1.",
    ),
]


@pytest.mark.parametrize(("asked", "rungs", "sentence"), CASES)
def test_a_rule_answers_none_or_a_sentence(
    asked: StructureRule, rungs: str, sentence: str | None
) -> None:
    assert judged(asked, rungs, f"{BIT} t : TON; n : INT; w : WORD;") == sentence


def test_a_named_bit_is_found_by_address_or_by_its_symbol() -> None:
    asked = rule("internal bit", "filling")
    assert judged(asked, "own := start_pb; pump := own;", "own AT %MX0.0 : BOOL;") is None
    assert judged(asked, "filling := start_pb; pump := filling;", "filling : BOOL;") is None
    assert (
        judged(asked, "own := start_pb;", "own : BOOL;") == "The program does not declare filling."
    )


def test_every_point_needs_a_name() -> None:
    declared = program(";")
    without = replace(declared, variables=declared.variables[2:])
    assert rule("name for every point").complaint(EXERCISE.view(without)) == (
        "The program has no name for %IX0.0 (start_pb), %IX0.1 (stop_pb)."
    )


def test_the_table_of_rules_is_tried_completely() -> None:
    assert {asked.rule for asked, *_ in CASES} == set(RULES)


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        (rule("element", "TON", times=3), None),
        (rule("element"), "uses"),
        (rule("element", "start_pb"), "of"),
        (rule("seal-in", "TON"), "of"),
        (rule("comment on every rung", "fill_pump"), "of"),
        (rule("driven by", "fill_pump"), "uses"),
        (rule("seal-in", by="fill_pump"), "by"),
        (rule("seal-in", times=2), "times"),
        (rule("seal-in", to="fill_pump"), None),
        (rule("seal-in", to="nowhere"), "to"),
        (rule("seal-in", preset="1 s"), "preset"),
    ],
)
def test_a_rule_is_refused_where_it_does_not_fit(asked: StructureRule, field: str | None) -> None:
    faults = asked.faults(["start_pb", "fill_pump"])
    assert [key for key, _ in faults] == ([] if field is None else [field])
