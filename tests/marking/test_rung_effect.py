"""An edit that is said to have no effect in a recorded run has none when the run is repeated."""

from server.ladder.text_form import parse_program
from server.marking.faults.repairs import mends
from server.marking.faults.rung_effect import Effects
from server.marking.faults.variants import variants
from tests.marking.test_cause import SUMP, recorded, sump_inputs


def test_what_has_no_effect_changes_no_signal() -> None:
    program, inputs = parse_program(SUMP), sump_inputs()
    history = recorded(program, inputs)
    edits = [*variants(program), *mends(program)]
    idle = [edit for edit in edits if not Effects(program, history).of(edit).any()]
    assert 20 < len(idle) < len(edits)
    for edit in idle[::5]:
        again = recorded(edit.program, inputs)
        for name, values in history.values.items():
            assert (again.values[name] == values).all(), f"{edit.sentence}: {name}"


def test_a_seal_in_has_its_effect_when_the_button_is_released() -> None:
    sealed = "fill_pump := (start_pb OR fill_pump)"
    program = parse_program(SUMP.replace(sealed, "fill_pump := start_pb"))
    history = recorded(program, sump_inputs())
    [seal_in] = [e for e in mends(program) if e.program.rungs[0] == parse_program(SUMP).rungs[0]]
    assert Effects(program, history).of(seal_in).nonzero()[0].tolist() == [5, 23]
