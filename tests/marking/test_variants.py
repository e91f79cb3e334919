"""Variants: one fault each, in one place, ready to run, said in the trade's words."""

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings

from server.ladder.program import Block, Coil, Element, Output, Program, Rung, walk
from server.ladder.text_form import parse_program, print_program
from server.ladder.validation import errors
from server.marking.faults.element_faults import FaultKind, half_and_double, near
from server.marking.faults.variants import Variant, variants
from server.scan.assembler import Assembler
from server.scan.compiler import compile_program
from server.scan.instructions import TRUE
from tests.strategies import programs

SUMP = parse_program("""
PROGRAM apple_sump
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    low_level AT %IX0.2 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
    crates : INT;
    pause : TON;
    held : SR;
    running : BOOL;
END_VAR

fill_pump := (start_pb OR fill_pump) AND stop_pb;

IF RISING(start_pb) AND NOT low_level THEN running := TRUE; END_IF;

IF NOT stop_pb THEN running := FALSE; END_IF;

IF crates > 3 AND pause(PT := T#5s) AND held(R := low_level) THEN crates := crates + 500; END_IF;
END_PROGRAM
""")

IN_ONE_ELEMENT = set(FaultKind) - {
    FaultKind.BRANCH,
    FaultKind.SEAL_IN,
    FaultKind.RUNGS,
    FaultKind.SET_RESET,
    FaultKind.TIMER_KIND,
    FaultKind.BISTABLE,
}


def parts(rung: Rung) -> Counter[Element | Output]:
    return Counter([*(element for _, element in walk(rung.network)), *rung.outputs])


def differing(a: Program, b: Program) -> list[int]:
    return [i for i, (x, y) in enumerate(zip(a.rungs, b.rungs, strict=True)) if x != y]


def check_one_place(program: Program, variant: Variant) -> None:
    """The difference between the two, counted without looking at how it was made."""
    other, kind = variant.program, variant.kind
    changed = differing(program, other)
    common = list(zip(program.variables, other.variables, strict=False))
    redeclared = [(a, b) for a, b in common if a != b]
    added = other.variables[len(program.variables) :]
    assert [v.type for v in added] == (["BOOL"] if kind is FaultKind.OPENED else [])
    if kind is FaultKind.RETENTION:
        [(was, now)] = redeclared
        assert not changed
        assert replace(now, retain=was.retain) == was
        assert now.symbol == variant.place.symbol
        return
    if kind is FaultKind.RUNGS:
        first, second = changed
        assert second == first + 1 == (variant.place.rung or 0) + 1
        assert (other.rungs[first], other.rungs[second]) == program.rungs[first : first + 2][::-1]
        return
    if kind is FaultKind.SET_RESET:
        for i in changed:
            gone, come = parts(program.rungs[i]), parts(other.rungs[i])
            touched = (gone - come) + (come - gone)
            assert all(isinstance(c, Coil) and c.symbol == variant.place.symbol for c in touched)
        return
    [at] = changed or [variant.place.rung or 0]
    assert at == variant.place.rung
    before, after = parts(program.rungs[at]), parts(other.rungs[at])
    lost, gained = (before - after).total(), (after - before).total()
    if redeclared:
        [(was, now)] = redeclared
        assert was.symbol == now.symbol
        assert kind in (FaultKind.TIMER_KIND, FaultKind.EDGE, FaultKind.BISTABLE)
        assert lost == gained == (kind is FaultKind.BISTABLE)
    elif kind in IN_ONE_ELEMENT:
        assert lost == 1
        assert gained == (kind not in (FaultKind.SHORTED, FaultKind.OUTPUT))
    else:
        assert gained == 0


@settings(max_examples=25)
@given(programs(max_rungs=3))
def test_every_variant_differs_in_one_place_and_may_run(program: Program) -> None:
    found = variants(program)
    assert len({variant.program for variant in found}) == len(found)
    for variant in found:
        assert variant.program != program
        assert not errors(variant.program)
        assert parse_program(print_program(variant.program)) == variant.program  # normal form
        check_one_place(program, variant)


@settings(max_examples=10)
@given(programs(max_rungs=2))
def test_every_variant_compiles(program: Program) -> None:
    for variant in variants(program):
        compile_program(Assembler(), variant.program, {}, TRUE)


def test_variants_come_in_the_same_order_each_time() -> None:
    again = parse_program(print_program(SUMP))
    assert variants(again) == variants(SUMP)


def test_every_element_is_hit_by_every_fault_that_suits_it() -> None:
    found = variants(SUMP)
    assert {variant.kind for variant in found} == set(FaultKind) - {FaultKind.PRESET}
    for number, rung in enumerate(SUMP.rungs):
        for path, element in walk(rung.network):
            kinds = {v.kind for v in found if v.place.rung == number and v.place.path == path}
            assert {FaultKind.SHORTED, FaultKind.OPENED} <= kinds
            assert len(kinds) > 2 or isinstance(element, Block)
        for position in range(len(rung.outputs)):
            assert any(v.kind is FaultKind.OUTPUT and v.place.rung == number for v in found), (
                position
            )


@pytest.mark.parametrize(
    "sentence",
    [
        "rung 2, contact low_level, normally open instead of normally closed",
        "rung 2, contact start_pb, falling edge instead of rising edge",
        "rung 1, contact stop_pb, exchanged for low_level",
        "rung 1, contact stop_pb, bridged by a wire",
        "rung 1, contact stop_pb, never conducting",
        "rung 1, seal-in of fill_pump, dropped",
        "rung 1, branch start_pb, removed",
        "rung 1, coil fill_pump, exchanged for lamp",
        "rung 2, set coil running, coil instead of set coil",
        "set and reset coils of running, exchanged",
        "rung 4, timer pause, TOF instead of TON",
        "rung 4, timer pause, T#2s500ms instead of T#5s",
        "rung 4, bistable held, RS instead of SR",
        "rung 4, bistable held, R with NOT",
        "rung 4, comparison crates > 3, >= instead of >",
        "rung 4, comparison crates > 3, 4 instead of 3",
        "rung 4, assignment crates := crates + 500, 250 instead of 500",
        "rung 4, assignment crates := crates + 500, - instead of +",
        "rung 3, reset coil running, removed",
        "declaration of running, with RETAIN",
        "rungs 2 and 3, exchanged",
    ],
)
def test_the_sentence_says_where_and_what(sentence: str) -> None:
    assert [v.sentence for v in variants(SUMP)].count(sentence) == 1


def test_an_element_that_stands_there_twice_is_counted() -> None:
    program = parse_program(
        "PROGRAM p\nVAR\n a AT %IX0.0 : BOOL;\n b AT %QX0.0 : BOOL;\nEND_VAR\n"
        "b := a AND b OR a;\nEND_PROGRAM\n"
    )
    sentences = [variant.sentence for variant in variants(program)]
    assert "rung 1, contact a (1 of 2), bridged by a wire" in sentences
    assert "rung 1, contact a (2 of 2), bridged by a wire" in sentences


def test_a_count_is_missed_by_one_and_a_measure_by_half() -> None:
    assert list(near(3)) == [2, 4]
    assert list(near(500)) == [250, 1000]
    assert list(near(32767)) == [16383]
    assert list(half_and_double(0)) == []
    assert list(half_and_double(5000)) == [2500, 10000]
