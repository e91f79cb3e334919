"""Every edit of a program as a pure function: a program and an action give a program.

A refused action raises ProgramError with one sentence; the given program is never changed. What
comes out is in normal form and within the limits, but may have the errors of an unfinished program.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from server.ladder import actions as act
from server.ladder import network_edits, rung_edits, variable_edits
from server.ladder.bounds import over_limits
from server.ladder.edited import Edited, Selection
from server.ladder.messages import ProgramError
from server.ladder.program import Program

EDITS: dict[type, Callable[[Any, Program], Edited]] = {
    act.AddRung: rung_edits.add,
    act.PasteRungs: rung_edits.paste,
    act.DuplicateRung: rung_edits.duplicate,
    act.DeleteRung: rung_edits.delete,
    act.MoveRung: rung_edits.move,
    act.SetRung: rung_edits.set_rung,
    act.SetNetwork: rung_edits.set_network,
    act.SetComment: rung_edits.set_comment,
    act.SetServes: rung_edits.set_serves,
    act.InsertElement: network_edits.insert,
    act.InsertParallel: network_edits.insert_parallel,
    act.AddBranch: network_edits.add_branch,
    act.DeleteElements: network_edits.delete,
    act.DeleteBranch: network_edits.delete_branch,
    act.MoveElement: network_edits.move,
    act.SetElement: network_edits.set_element,
    act.SetContactKind: network_edits.set_contact_kind,
    act.SetInput: network_edits.set_input,
    act.ClearInput: network_edits.clear_input,
    act.SetSymbol: network_edits.set_symbol,
    act.AddOutput: network_edits.add_output,
    act.SetOutput: network_edits.set_output,
    act.SetCoilKind: network_edits.set_coil_kind,
    act.MoveOutput: network_edits.move_output,
    act.DeleteOutput: network_edits.delete_output,
    act.Declare: variable_edits.declare,
    act.ChangeVariable: variable_edits.change,
    act.RenameVariable: variable_edits.rename_variable,
    act.DeleteVariable: variable_edits.delete,
}
"""How each action is done; ``Together`` and ``NameProgram`` are done here."""


def edit(program: Program, action: act.Action) -> Edited:
    """Do one action. Raises ProgramError and changes nothing when it can't be done."""
    edited = _do(program, action)
    if too_large := over_limits(edited.program):
        raise ProgramError(too_large)
    return edited


def _do(program: Program, action: act.Action) -> Edited:
    match action:
        case act.Together(actions):
            edited = Edited(program, Selection())
            for each in actions:
                edited = _do(edited.program, each)
            return edited
        case act.NameProgram(name, comment):
            return Edited(replace(program, name=name, comment=comment), Selection())
        case _:
            return EDITS[type(action)](action, program)
