"""Edits inside a rung: its elements, branches and outputs."""

from dataclasses import replace

from server.ladder import actions as act
from server.ladder.edited import Edited, refuse, rung_at, with_rung
from server.ladder.messages import Place
from server.ladder.names import canonical, reference_fault, symbol_fault
from server.ladder.program import (
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Item,
    Output,
    Parallel,
    Path,
    Program,
    Series,
    walk,
)
from server.ladder.tree import Items, item_at, path_of, splice, update, without, without_branch

# -- elements ------------------------------------------------------------------------------------


def insert(action: act.InsertElement, program: Program) -> Edited:
    network = rung_at(program, action.rung).network
    element = replace(action.element)
    network = _beside(network, action.rung, action.path, action.side, element)
    return _select(program, action.rung, network, element)


def insert_parallel(action: act.InsertParallel, program: Program) -> Edited:
    network = rung_at(program, action.rung).network
    first, last = _span(network, action.rung, action.first, action.last)
    element = replace(action.element)
    return _select(program, action.rung, _parallel(network, first, last, element), element)


def add_branch(action: act.AddBranch, program: Program) -> Edited:
    network = rung_at(program, action.rung).network
    if isinstance(_item(network, action.rung, action.path), Parallel):
        above = None
        path = action.path
    else:
        path, above = _branch(action.rung, action.path)[:-1], action.path[-2]
    element = replace(action.element)

    def with_branch(items: Items) -> Items:
        (parallel,) = items
        assert isinstance(parallel, Parallel), "a branch is in a parallel"
        at = len(parallel.branches) if above is None else above + 1
        branches = (*parallel.branches[:at], Series((element,)), *parallel.branches[at:])
        return (Parallel(branches),)

    return _select(program, action.rung, splice(network, path, path, with_branch), element)


def delete(action: act.DeleteElements, program: Program) -> Edited:
    network = rung_at(program, action.rung).network
    first, last = _span(network, action.rung, action.first, action.last)
    return _close_up(program, action.rung, without(network, first, last), first)


def delete_branch(action: act.DeleteBranch, program: Program) -> Edited:
    network = rung_at(program, action.rung).network
    _item(network, action.rung, action.path)
    branch = _branch(action.rung, action.path)
    return _close_up(program, action.rung, without_branch(network, branch), branch)


def move(action: act.MoveElement, program: Program) -> Edited:
    original = _element(rung_at(program, action.rung).network, action.rung, action.path)
    moved, hole = replace(original), replace(original)
    # The hole keeps the place, so that no path shifts before the element stands in its new one.
    network = rung_at(program, action.rung).network
    program = with_rung(
        program,
        action.rung,
        replace(rung_at(program, action.rung), network=_put(network, action.path, hole)),
    ).program
    target = rung_at(program, action.to_rung).network
    if action.side == "parallel":
        first, last = _span(target, action.to_rung, action.to_path or (), None)
        target = _parallel(target, first, last, moved)
    else:
        target = _beside(target, action.to_rung, action.to_path, action.side, moved)
    if action.rung == action.to_rung:
        at = path_of(target, hole)
        target = without(target, at, at)
    else:
        source = rung_at(program, action.rung)
        at = path_of(source.network, hole)
        left = replace(source, network=without(source.network, at, at))
        program = with_rung(program, action.rung, left).program
    return _select(program, action.to_rung, target, moved)


def set_element(action: act.SetElement, program: Program) -> Edited:
    network = rung_at(program, action.rung).network
    _element(network, action.rung, action.path)
    return _replaced(program, action.rung, action.path, action.element)


def set_contact_kind(action: act.SetContactKind, program: Program) -> Edited:
    element = _element(rung_at(program, action.rung).network, action.rung, action.path)
    if not isinstance(element, Contact):
        refuse(Place(action.rung, action.path), "The element is no contact.", "Choose a contact.")
    return _replaced(program, action.rung, action.path, replace(element, kind=action.kind))


def set_input(action: act.SetInput, program: Program) -> Edited:
    block = _block(program, action.rung, action.path)
    pins = [wired.pin for wired in block.inputs]
    inputs = tuple(action.input if each.pin == action.input.pin else each for each in block.inputs)
    if action.input.pin not in pins:
        inputs = (*inputs, action.input)
    return _replaced(program, action.rung, action.path, replace(block, inputs=inputs))


def clear_input(action: act.ClearInput, program: Program) -> Edited:
    block = _block(program, action.rung, action.path)
    inputs = tuple(wired for wired in block.inputs if wired.pin != action.pin)
    return _replaced(program, action.rung, action.path, replace(block, inputs=inputs))


def set_symbol(action: act.SetSymbol, program: Program) -> Edited:
    place = Place(action.rung, action.path, action.output)
    symbol = canonical(action.symbol)
    if action.output is not None:
        _refuse_symbol(place, symbol_fault(action.symbol))
        output = _output(program, action.rung, action.output)
        if isinstance(output, Coil):
            return _put_output(program, action.rung, action.output, replace(output, symbol=symbol))
        return _put_output(program, action.rung, action.output, replace(output, target=symbol))
    element = _element(rung_at(program, action.rung).network, action.rung, action.path or ())
    match element:
        case Contact():
            _refuse_symbol(place, reference_fault(action.symbol))
            renamed: Element = replace(element, symbol=symbol)
        case Block():
            _refuse_symbol(place, symbol_fault(action.symbol))
            renamed = replace(element, instance=symbol)
        case Comparison():
            refuse(place, "A comparison has two operands.", "Write the whole comparison.")
    return _replaced(program, action.rung, action.path or (), renamed)


# -- outputs -------------------------------------------------------------------------------------


def add_output(action: act.AddOutput, program: Program) -> Edited:
    outputs = rung_at(program, action.rung).outputs
    return _put_output(program, action.rung, len(outputs), action.output)


def set_output(action: act.SetOutput, program: Program) -> Edited:
    _output(program, action.rung, action.number)
    return _put_output(program, action.rung, action.number, action.output)


def set_coil_kind(action: act.SetCoilKind, program: Program) -> Edited:
    output = _output(program, action.rung, action.number)
    if not isinstance(output, Coil):
        place = Place(action.rung, output=action.number)
        refuse(place, "The output is no coil.", "Choose a coil.")
    return _put_output(program, action.rung, action.number, replace(output, kind=action.kind))


def move_output(action: act.MoveOutput, program: Program) -> Edited:
    output = _output(program, action.rung, action.number)
    left = _without_output(program, action.rung, action.number)
    to = max(0, min(action.to, len(left)))
    return _with_outputs(program, action.rung, (*left[:to], output, *left[to:]), output)


def delete_output(action: act.DeleteOutput, program: Program) -> Edited:
    _output(program, action.rung, action.number)
    rung = rung_at(program, action.rung)
    left = _without_output(program, action.rung, action.number)
    follower = min(action.number, len(left) - 1) if left else None
    return with_rung(program, action.rung, replace(rung, outputs=left), output=follower)


# -- networks changed ----------------------------------------------------------------------------


def _beside(network: Series, rung: int, path: Path | None, side: str, element: Element) -> Series:
    def beside(items: Items) -> Items:
        return (*items, element) if side == "after" else (element, *items)

    if path is None:
        return update(network, (), beside)
    _item(network, rung, path)
    return splice(network, path, path, beside)


def _parallel(network: Series, first: Path, last: Path, element: Element) -> Series:
    return splice(
        network, first, last, lambda items: (Parallel((Series(items), Series((element,)))),)
    )


def _put(network: Series, path: Path, element: Element) -> Series:
    return splice(network, path, path, lambda _: (element,))


def _replaced(program: Program, rung: int, path: Path, element: Element) -> Edited:
    element = replace(element)
    network = _put(rung_at(program, rung).network, path, element)
    return _select(program, rung, network, element)


def _select(program: Program, index: int, network: Series, element: Element) -> Edited:
    """The program with this network, in normal form, and the cursor on one of its elements."""
    rung = replace(rung_at(program, index), network=network)
    return with_rung(program, index, rung, path_of(rung.network, element))


def _close_up(program: Program, index: int, network: Series, gone: Path) -> Edited:
    """The same after a deletion: the cursor goes to what follows, or to the last element."""
    before = rung_at(program, index)
    rung = replace(before, network=network)
    position = sum(1 for path, _ in walk(before.network) if path < gone)
    paths = [path for path, _ in walk(rung.network)]
    follower = paths[min(position, len(paths) - 1)] if paths else None
    return with_rung(program, index, rung, follower)


def _put_output(program: Program, index: int, number: int, output: Output) -> Edited:
    output = replace(output)
    outputs = rung_at(program, index).outputs
    put = (*outputs[:number], output, *outputs[number + 1 :])
    return _with_outputs(program, index, put, output)


def _with_outputs(
    program: Program, index: int, outputs: tuple[Output, ...], selected: Output
) -> Edited:
    """The rung with these outputs, one of them selected."""
    rung = replace(rung_at(program, index), outputs=outputs)
    at = next(i for i, each in enumerate(rung.outputs) if each is selected)
    return with_rung(program, index, rung, output=at)


def _without_output(program: Program, index: int, number: int) -> tuple[Output, ...]:
    outputs = rung_at(program, index).outputs
    return (*outputs[:number], *outputs[number + 1 :])


# -- places looked up ----------------------------------------------------------------------------


def _item(network: Series, rung: int, path: Path) -> Item:
    try:
        return item_at(network, path)
    except LookupError:
        shown = ".".join(str(step + 1) for step in path) or "0"
        refuse(Place(rung), f"There is no element {shown}.", "Choose one of the rung's elements.")


def _element(network: Series, rung: int, path: Path) -> Element:
    item = _item(network, rung, path)
    if isinstance(item, Parallel):
        refuse(
            Place(rung, path), "This is a parallel.", "Choose an element in one of its branches."
        )
    return item


def _block(program: Program, rung: int, path: Path) -> Block:
    element = _element(rung_at(program, rung).network, rung, path)
    if not isinstance(element, Block):
        refuse(Place(rung, path), "The element is no block.", "Choose a block.")
    return element


def _branch(rung: int, path: Path) -> Path:
    if len(path) < 3:
        refuse(
            Place(rung, path),
            "The element stands in no branch.",
            "Put an element in parallel with it.",
        )
    return path[:-1]


def _span(network: Series, rung: int, first: Path, last: Path | None) -> tuple[Path, Path]:
    """Two ends in one series, in order."""
    last = first if last is None else last
    for path in (first, last):
        _item(network, rung, path)
    if first[:-1] != last[:-1]:
        refuse(
            Place(rung, first),
            "The selection begins and ends in different branches.",
            "Select elements of one branch.",
        )
    return min(first, last), max(first, last)


def _output(program: Program, rung: int, number: int) -> Output:
    outputs = rung_at(program, rung).outputs
    if not 0 <= number < len(outputs):
        refuse(Place(rung), f"There is no output {number + 1}.", f"The rung has {len(outputs)}.")
    return outputs[number]


def _refuse_symbol(place: Place, fault: tuple[str, str] | None) -> None:
    if fault is not None:
        refuse(place, *fault)
