"""Actions on the elements and branches of a rung."""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from server.ladder.actions.base import (
    Edited,
    EditorAction,
    ElementText,
    InputText,
    refuse,
    rung_at,
    with_rung,
)
from server.ladder.actions.outputs import output_at, put_output
from server.ladder.actions.places import (
    find_block,
    find_branch,
    find_element,
    find_item,
    find_span,
    refuse_symbol,
)
from server.ladder.elements import ContactKind
from server.ladder.messages import Place
from server.ladder.names import canonical, reference_fault, symbol_fault
from server.ladder.program import (
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Parallel,
    Path,
    Program,
    Series,
    walk,
)
from server.ladder.tree import Items, path_of, splice, update, without, without_branch

Side: TypeAlias = Literal["before", "after"]


@dataclass(frozen=True, slots=True)
class InsertElement(EditorAction):
    """Put an element in series beside the item at ``path``, or at an end of the network."""

    rung: int
    path: Path | None
    element: ElementText
    side: Side = "after"
    action: Literal["insert element"] = "insert element"

    def apply(self, program: Program) -> Edited:
        network = rung_at(program, self.rung).network
        element = replace(self.element)
        network = beside(network, self.rung, self.path, self.side, (element,))
        return _select(program, self.rung, network, element)


@dataclass(frozen=True, slots=True)
class InsertParallel(EditorAction):
    """Put an element in parallel with the items ``first`` to ``last`` of one series."""

    rung: int
    first: Path
    element: ElementText
    last: Path | None = None
    action: Literal["insert parallel"] = "insert parallel"

    def apply(self, program: Program) -> Edited:
        network = rung_at(program, self.rung).network
        first, last = find_span(network, self.rung, self.first, self.last)
        element = replace(self.element)
        return _select(program, self.rung, _parallel(network, first, last, element), element)


@dataclass(frozen=True, slots=True)
class AddBranch(EditorAction):
    """Put a branch with one element below the branch that holds the item at ``path``."""

    rung: int
    path: Path
    element: ElementText
    action: Literal["add branch"] = "add branch"

    def apply(self, program: Program) -> Edited:
        network = rung_at(program, self.rung).network
        if isinstance(find_item(network, self.rung, self.path), Parallel):
            above = None
            path = self.path
        else:
            path, above = find_branch(self.rung, self.path)[:-1], self.path[-2]
        element = replace(self.element)

        def with_branch(items: Items) -> Items:
            (parallel,) = items
            assert isinstance(parallel, Parallel), "a branch is in a parallel"
            at = len(parallel.branches) if above is None else above + 1
            branches = (*parallel.branches[:at], Series((element,)), *parallel.branches[at:])
            return (Parallel(branches),)

        return _select(program, self.rung, splice(network, path, path, with_branch), element)


@dataclass(frozen=True, slots=True)
class DeleteElements(EditorAction):
    """Take out the items ``first`` to ``last`` of one series; an emptied branch goes with them."""

    rung: int
    first: Path
    last: Path | None = None
    action: Literal["delete elements"] = "delete elements"

    def apply(self, program: Program) -> Edited:
        network = rung_at(program, self.rung).network
        first, last = find_span(network, self.rung, self.first, self.last)
        return _close_up(program, self.rung, without(network, first, last), first)


@dataclass(frozen=True, slots=True)
class DeleteBranch(EditorAction):
    """Take out the whole branch that holds the item at ``path``."""

    rung: int
    path: Path
    action: Literal["delete branch"] = "delete branch"

    def apply(self, program: Program) -> Edited:
        network = rung_at(program, self.rung).network
        find_item(network, self.rung, self.path)
        branch = find_branch(self.rung, self.path)
        return _close_up(program, self.rung, without_branch(network, branch), branch)


@dataclass(frozen=True, slots=True)
class MoveElement(EditorAction):
    """Move an element beside another item, in parallel with it, or to an end of a network."""

    rung: int
    path: Path
    to_rung: int
    to_path: Path | None
    side: Literal["before", "after", "parallel"] = "after"
    action: Literal["move element"] = "move element"

    def apply(self, program: Program) -> Edited:
        original = find_element(rung_at(program, self.rung).network, self.rung, self.path)
        moved, hole = replace(original), replace(original)
        # The hole keeps the place, so that no path shifts before the element stands in its new one.
        network = rung_at(program, self.rung).network
        program = with_rung(
            program,
            self.rung,
            replace(rung_at(program, self.rung), network=_put(network, self.path, hole)),
        ).program
        target = rung_at(program, self.to_rung).network
        if self.side == "parallel":
            first, last = find_span(target, self.to_rung, self.to_path or (), None)
            target = _parallel(target, first, last, moved)
        else:
            target = beside(target, self.to_rung, self.to_path, self.side, (moved,))
        if self.rung == self.to_rung:
            at = path_of(target, hole)
            target = without(target, at, at)
        else:
            source = rung_at(program, self.rung)
            at = path_of(source.network, hole)
            left = replace(source, network=without(source.network, at, at))
            program = with_rung(program, self.rung, left).program
        return _select(program, self.to_rung, target, moved)


@dataclass(frozen=True, slots=True)
class SetElement(EditorAction):
    """Replace an element."""

    rung: int
    path: Path
    element: ElementText
    action: Literal["set element"] = "set element"

    def apply(self, program: Program) -> Edited:
        network = rung_at(program, self.rung).network
        find_element(network, self.rung, self.path)
        return _replaced(program, self.rung, self.path, self.element)


@dataclass(frozen=True, slots=True)
class SetContactKind(EditorAction):
    """Make a contact normally open, normally closed, or one for an edge."""

    rung: int
    path: Path
    kind: ContactKind
    action: Literal["set contact kind"] = "set contact kind"

    def apply(self, program: Program) -> Edited:
        element = find_element(rung_at(program, self.rung).network, self.rung, self.path)
        if not isinstance(element, Contact):
            refuse(Place(self.rung, self.path), "The element is no contact.", "Choose a contact.")
        return _replaced(program, self.rung, self.path, replace(element, kind=self.kind))


@dataclass(frozen=True, slots=True)
class SetInput(EditorAction):
    """Wire an input of a block, in text form: ``PT := T#5s``."""

    rung: int
    path: Path
    input: InputText
    action: Literal["set input"] = "set input"

    def apply(self, program: Program) -> Edited:
        block = find_block(program, self.rung, self.path)
        pins = [wired.pin for wired in block.inputs]
        inputs = tuple(self.input if each.pin == self.input.pin else each for each in block.inputs)
        if self.input.pin not in pins:
            inputs = (*inputs, self.input)
        return _replaced(program, self.rung, self.path, replace(block, inputs=inputs))


@dataclass(frozen=True, slots=True)
class ClearInput(EditorAction):
    """Leave an input of a block unwired."""

    rung: int
    path: Path
    pin: str
    action: Literal["clear input"] = "clear input"

    def apply(self, program: Program) -> Edited:
        block = find_block(program, self.rung, self.path)
        inputs = tuple(wired for wired in block.inputs if wired.pin != self.pin)
        return _replaced(program, self.rung, self.path, replace(block, inputs=inputs))


@dataclass(frozen=True, slots=True)
class SetSymbol(EditorAction):
    """Put another symbol to a contact or a block (``path``), or to an output."""

    rung: int
    symbol: str
    path: Path | None = None
    output: int | None = None
    action: Literal["set symbol"] = "set symbol"

    def apply(self, program: Program) -> Edited:
        place = Place(self.rung, self.path, self.output)
        symbol = canonical(self.symbol)
        if self.output is not None:
            refuse_symbol(place, symbol_fault(self.symbol))
            output = output_at(program, self.rung, self.output)
            if isinstance(output, Coil):
                return put_output(program, self.rung, self.output, replace(output, symbol=symbol))
            return put_output(program, self.rung, self.output, replace(output, target=symbol))
        element = find_element(rung_at(program, self.rung).network, self.rung, self.path or ())
        match element:
            case Contact():
                refuse_symbol(place, reference_fault(self.symbol))
                renamed: Element = replace(element, symbol=symbol)
            case Block():
                refuse_symbol(place, symbol_fault(self.symbol))
                renamed = replace(element, instance=symbol)
            case Comparison():
                refuse(place, "A comparison has two operands.", "Write the whole comparison.")
        return _replaced(program, self.rung, self.path or (), renamed)


ElementAction: TypeAlias = (
    InsertElement
    | InsertParallel
    | AddBranch
    | DeleteElements
    | DeleteBranch
    | MoveElement
    | SetElement
    | SetContactKind
    | SetInput
    | ClearInput
    | SetSymbol
)


def beside(network: Series, rung: int, path: Path | None, side: str, new: Items) -> Series:
    """Return the network with items beside the one at ``path``, or at an end of the network."""

    def widened(items: Items) -> Items:
        return (*items, *new) if side == "after" else (*new, *items)

    if path is None:
        return update(network, (), widened)
    find_item(network, rung, path)
    return splice(network, path, path, widened)


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
    """Return the program with this network in normal form, the cursor on one of its elements."""
    rung = replace(rung_at(program, index), network=network)
    return with_rung(program, index, rung, path_of(rung.network, element))


def _close_up(program: Program, index: int, network: Series, gone: Path) -> Edited:
    """Return the same after a deletion: the cursor goes to what follows, or to the last element."""
    before = rung_at(program, index)
    rung = replace(before, network=network)
    position = sum(1 for path, _ in walk(before.network) if path < gone)
    paths = [path for path, _ in walk(rung.network)]
    follower = paths[min(position, len(paths) - 1)] if paths else None
    return with_rung(program, index, rung, follower)
