"""Mends: together with the faults they undo every single fault."""

from dataclasses import replace

from hypothesis import given, settings

from server.ladder.elements import ContactKind
from server.ladder.messages import Place
from server.ladder.program import Contact, Parallel, Program, Series, walk
from server.ladder.text_form import parse_program, print_program
from server.ladder.validation import errors
from server.marking.faults.element_faults import FaultKind
from server.marking.faults.repairs import mends
from server.marking.faults.variants import variants
from tests.strategies import programs

DECLARED = """
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
    running : BOOL;
"""


def program(rungs: str) -> Program:
    return parse_program(f"PROGRAM p\nVAR\n{DECLARED}\nEND_VAR\n{rungs}\nEND_PROGRAM\n")


def unordered(part: object) -> object:
    """A network without the order of its contacts and branches, which no contact minds."""
    match part:
        case Series(items):
            return "series", frozenset(map(unordered, items))
        case Parallel(branches):
            return "parallel", frozenset(map(unordered, branches))
        case _:
            return part


def closed(of: Program, place: Place) -> bool:
    elements = dict(walk(of.rungs[place.rung or 0].network))
    element = elements[place.path or ()]
    return isinstance(element, Contact) and element.kind is ContactKind.CLOSED


def meaning(of: Program) -> object:
    return tuple((unordered(rung.network), frozenset(rung.outputs)) for rung in of.rungs)


@settings(max_examples=10)
@given(programs(max_rungs=2, max_depth=1))
def test_every_mend_may_run_and_changes_one_rung(first: Program) -> None:
    found = tuple(mends(first))
    assert len({edit.program for edit in found} | {first}) == len(found) + 1
    for edit in found:
        assert not errors(edit.program)
        at = edit.place.rung
        assert at is not None
        assert replace(edit.program, rungs=()) == replace(first, rungs=())
        assert edit.program.rungs[:at] == first.rungs[:at]
        assert edit.program.rungs[at + 1 :] == first.rungs[at + 1 :]


def test_every_single_fault_is_one_edit_from_right() -> None:
    right = program("""
        pump := (start_pb OR pump) AND stop_pb;
        IF start_pb AND NOT lamp THEN running := TRUE; END_IF;
        IF NOT stop_pb THEN running := FALSE; END_IF;
        lamp := running AND (stop_pb OR pump AND start_pb);
    """)
    for fault in variants(right):
        if fault.kind is FaultKind.OPENED and closed(right, fault.place):
            continue  # an open contact on an unused bit: another kind and another signal
        if fault.sentence == "rung 4, branch pump AND start_pb, removed":
            continue  # takes one edit for each contact
        edits = (*variants(fault.program), *mends(fault.program))
        assert any(meaning(edit.program) == meaning(right) for edit in edits), fault.sentence


def test_the_sentence_says_what_is_added_and_where() -> None:
    def said(rungs: str) -> list[str]:
        return [edit.sentence for edit in mends(program(rungs))]

    both = said("pump := start_pb AND stop_pb;")
    assert "rung 1, seal-in of pump, added around start_pb" in both
    assert "rung 1, seal-in of pump, added around start_pb AND stop_pb" in both
    assert "rung 1, set coil lamp, added" in both
    assert "rung 1, contact stop_pb, normally open, added in series with start_pb OR pump" in said(
        "pump := start_pb OR pump;"
    )
    assert "rung 1, branch start_pb, added around pump" in said("pump := pump AND stop_pb;")


def test_presets_and_literals_may_be_those_that_the_exercise_names() -> None:
    text = print_program(program("pump := start_pb;")).replace(
        "END_VAR\n\npump := start_pb;",
        "    soak : TON;\n    n : INT;\nEND_VAR\n\npump := n > 3 AND soak(PT := T#3s);",
    )
    said = [edit.sentence for edit in mends(parse_program(text), [3000, 4000], [3, 5])]
    named = [sentence for sentence in said if "set to" in sentence]
    assert named == [
        "rung 1, comparison n > 3, set to 5",
        "rung 1, timer soak, set to T#4s",
    ]
