"""What an edit did, in one sentence for whoever can't see the drawing."""

from collections.abc import Sequence

from server.ladder.actions import Action, NameProgram, Together
from server.ladder.actions.base import Edited, Selection
from server.ladder.actions.copies import DuplicateRung, PasteElements, PasteRungs
from server.ladder.actions.elements import (
    AddBranch,
    DeleteBranch,
    DeleteElements,
    InsertElement,
    InsertParallel,
    MoveElement,
)
from server.ladder.actions.outputs import AddOutput, DeleteOutput, MoveOutput
from server.ladder.actions.rungs import AddRung, DeleteRung, MoveRung, SetComment, SetServes
from server.ladder.actions.variables import (
    ChangeVariable,
    Declare,
    DeleteVariable,
    RenameVariable,
)
from server.ladder.description import describe_item, describe_output
from server.ladder.messages import Severity
from server.ladder.program import Program
from server.ladder.tree import item_at
from server.web.editor.rungs import RungView


def effect_of(action: Action, before: Program, edited: Edited) -> str:
    """Return a sentence like 'Added normally open contact start_pb at %IX0.0 in rung 1'.

    ``edited`` is what the action made of ``before``.
    """
    program, at = edited
    match action:
        case Together(actions):
            # The last one names places as those before it have left them.
            for each in actions[:-1]:
                before = each.apply(before).program
            return effect_of(actions[-1], before, edited) if actions else ""
        case InsertElement() | AddOutput() | PasteElements():
            return f"Added {_thing(program, at)} in {_rung(at.rung)}."
        case InsertParallel() | AddBranch():
            return f"Added {_thing(program, at)} in parallel in {_rung(at.rung)}."
        case MoveElement() | MoveOutput():
            return f"Moved {_thing(program, at)} in {_rung(at.rung)}."
        case DeleteElements(rung, first, last) if last is None or last == first:
            gone = describe_item(item_at(before.rungs[rung].network, first), before)
            return f"Deleted {gone} in {_rung(rung)}."
        case DeleteElements(rung=rung) | DeleteBranch(rung=rung):
            return f"Deleted several elements in {_rung(rung)}."
        case DeleteOutput(rung, number):
            gone = describe_output(before.rungs[rung].outputs[number], before)
            return f"Deleted {gone} in {_rung(rung)}."
        case SetComment(rung=rung):
            return f"Changed the comment of {_rung(rung)}."
        case SetServes(rung=rung):
            return f"Changed what {_rung(rung)} serves."
        case AddRung() | PasteRungs() | DuplicateRung():
            return f"Added {_rungs(at.rung, len(program.rungs) - len(before.rungs))}."
        case DeleteRung(rung=rung):
            count = len(before.rungs) - len(program.rungs)
            return (
                f"Deleted {_rungs(min(rung, rung if action.last is None else action.last), count)}."
            )
        case MoveRung(rung=rung):
            return f"Moved {_rung(rung)}: it is {_rung(at.rung)} now."
        case Declare(variable):
            return f"Declared {variable.symbol} as {variable.type}."
        case ChangeVariable(symbol=symbol):
            return f"Changed the declaration of {symbol}."
        case RenameVariable(symbol, new):
            return f"Renamed {symbol} to {new}."
        case DeleteVariable(symbol):
            return f"Deleted the declaration of {symbol}."
        case NameProgram(name=name):
            return f"The program is called {name}."
        case _:  # an element, an output or a rung was replaced
            thing = _thing(program, at)
            return f"Changed {f'to {thing} in ' if thing else ''}{_rung(at.rung)}."


def step_effect(word: str, selection: Selection) -> str:
    """Return the sentence of a step back or forth; ``word`` says which: 'Undone'."""
    place = "the declarations" if selection.rung is None else _rung(selection.rung)
    return f"{word}: {place} changed."


def new_remarks(before: Sequence[RungView], after: Sequence[RungView]) -> str:
    """Return what the checks object to now and did not before."""
    known = {remark.text for view in before for remark in view.remarks}
    found = (remark for view in after for remark in view.remarks if remark.text not in known)
    return " ".join(
        f"{each.severity.capitalize()}: {each.text} {each.fix}"
        for each in found
        if each.severity is not Severity.NOTE
    )


def _thing(program: Program, at: Selection) -> str:
    """Return the element or output that is selected."""
    if at.rung is None:
        return ""
    rung = program.rungs[at.rung]
    if at.path is not None:
        return describe_item(item_at(rung.network, at.path), program)
    return "" if at.output is None else describe_output(rung.outputs[at.output], program)


def _rung(number: int | None) -> str:
    return "the program" if number is None else f"rung {number + 1}"


def _rungs(first: int | None, count: int) -> str:
    if first is None or count == 1:
        return _rung(first)
    return f"rungs {first + 1} to {first + count}"
