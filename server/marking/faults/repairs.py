"""What may mend a program beside the single faults themselves.

Most faults of ``marking.variants`` are undone by one of their own kind. 'Element shorted', 'branch
removed', 'seal-in dropped' and 'output removed' are undone by adding something, 'element opened'
by exchanging a contact for any other signal, a wrong preset by the one that the exercise names. An
edit made here carries the kind of the fault that it undoes.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import chain, combinations, product
from typing import TypeAlias

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind
from server.ladder.messages import Place
from server.ladder.points import Direction
from server.ladder.program import (
    Block,
    BlockInput,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Name,
    Number,
    Parallel,
    Path,
    Program,
    Rung,
    Series,
    walk,
)
from server.ladder.splicing import spliced
from server.ladder.text_printer import print_element, print_network, print_operand
from server.marking.exercise import Exercise
from server.marking.faults.element_faults import FaultKind, element_name
from server.marking.faults.named_values import named_counts, named_times
from server.marking.faults.scope import Scope
from server.marking.faults.variants import Variant, distinct, variants, with_network, with_rung

_Edited: TypeAlias = tuple[Series, Path, FaultKind, str]
"""A network with something more in it, the element that it is joined to, words.

The path is that of the element in the original, empty for a plain wire; the fault is the one that
this undoes.
"""

_KINDS = (ContactKind.OPEN, ContactKind.CLOSED)


def single_edits(exercise: Exercise, program: Program) -> Iterator[Variant]:
    """Yield the single edits that may mend a program, those of a number that is named first."""
    parts = mends(program, named_times(exercise), named_counts(exercise))
    others: Iterator[Variant] = iter(())
    for edit in parts:
        if edit.kind is not FaultKind.LITERAL:
            others = chain([edit], parts)
            break
        yield edit
    yield from variants(program)
    yield from others


def mends(
    program: Program, times_ms: Sequence[int] = (), counts: Sequence[int] = ()
) -> Iterator[Variant]:
    """Yield every program that may run with one part more, or another signal or number.

    In order of rungs; none is there twice. ``times_ms`` and ``counts`` are those that a preset or
    a literal may have been meant to be. ``program`` must be free of errors.
    """
    yield from distinct(program, unchecked_mends(program, times_ms, counts))


def unchecked_mends(
    program: Program, times_ms: Sequence[int] = (), counts: Sequence[int] = ()
) -> Iterator[Variant]:
    """Yield what ``mends`` yields, and with it what may not run or is there twice.

    Those with another number come first.
    """
    literals: list[Duration | Number] = [*map(Duration, times_ms), *map(Number, counts)]
    yield from _with_literals(program, literals)
    yield from _mends(program)
    yield from _with_pins(program)


def _with_literals(program: Program, literals: list[Duration | Number]) -> Iterator[Variant]:
    """Presets and literals exchanged for others of their type."""
    scope = Scope(program)
    for number, rung in enumerate(program.rungs):
        for path, element in walk(rung.network):
            name = element_name(element, scope)
            for literal in literals:
                for changed in _exchanged(element, literal):
                    network = spliced(rung.network, path, (changed,))
                    sentence = f"rung {number + 1}, {name}, set to {print_operand(literal)}"
                    yield Variant(
                        with_network(program, number, network),
                        FaultKind.LITERAL,
                        Place(rung=number, path=path),
                        sentence,
                    )


def _exchanged(element: Element, literal: Duration | Number) -> Iterator[Element]:
    match element:
        case Comparison(left, _, right):
            if type(left) is type(literal):
                yield replace(element, left=literal)
            if type(right) is type(literal):
                yield replace(element, right=literal)
        case Block(_, inputs):
            for i, wired in enumerate(inputs):
                if type(wired.operand) is type(literal):
                    other = replace(wired, operand=literal)
                    yield replace(element, inputs=(*inputs[:i], other, *inputs[i + 1 :]))
        case Contact():
            pass  # has no literal


def _mends(program: Program) -> Iterator[Variant]:
    scope = Scope(program)
    kinds = scope.kinds
    bits = [name for name, (data_type, _) in kinds.items() if data_type == "BOOL"]
    written = [name for name in bits if kinds[name][1] in (Direction.OUTPUT, Direction.INTERNAL)]
    contacts = [Contact(kind, name) for name in bits for kind in _KINDS]
    for number, rung in enumerate(program.rungs):
        place, where = Place(rung=number), f"rung {number + 1}"
        for path, element in walk(rung.network):
            if not isinstance(element, Contact):
                continue
            at = Place(rung=number, path=path)
            # Those that it is mistaken for are among its faults.
            known = (element.kind, *element.kind.mistakes)
            for other in (each for each in ContactKind if each not in known):
                network = spliced(rung.network, path, (replace(element, kind=other),))
                sentence = f"{where}, contact {element.symbol}, {other} instead of {element.kind}"
                yield Variant(with_network(program, number, network), FaultKind.EDGE, at, sentence)
            for name in (bit for bit in bits if kinds[bit] != kinds[element.symbol]):
                network = spliced(rung.network, path, (replace(element, symbol=name),))
                changed = with_network(program, number, network)
                sentence = f"{where}, contact {element.symbol}, exchanged for {name}"
                yield Variant(changed, FaultKind.OPENED, at, sentence)
        for network, path, kind, words in _everywhere(rung.network, _adding(rung, contacts)):
            changed = with_network(program, number, network)
            at = Place(rung=number, path=path or None)
            yield Variant(changed, kind, at, f"{where}, {words}")
        for name in written:
            for coil in (Coil(kind, name) for kind in CoilKind):
                changed = with_rung(program, number, replace(rung, outputs=(*rung.outputs, coil)))
                sentence = f"{where}, {coil.kind} {name}, added"
                yield Variant(changed, FaultKind.OUTPUT, place, sentence)


def _with_pins(program: Program) -> Iterator[Variant]:
    """Blocks with a bit wired to an input that is left open."""
    scope = Scope(program)
    bits = [name for name, (data_type, _) in scope.kinds.items() if data_type == "BOOL"]
    for number, rung in enumerate(program.rungs):
        for path, element in walk(rung.network):
            for pin in _open_pins(element, scope):
                for name, negated in product(bits, (False, True)):
                    wired = BlockInput(pin, Name(name), negated)
                    network = spliced(rung.network, path, (_wired(element, wired),))
                    words = f"{element_name(element, scope)}, {pin} wired to {name}"
                    yield Variant(
                        with_network(program, number, network),
                        FaultKind.INPUT,
                        Place(rung=number, path=path),
                        f"rung {number + 1}, {words}",
                    )


def _open_pins(element: Element, scope: Scope) -> list[str]:
    """Return the names of a block's BOOL inputs that nothing is wired to."""
    if not isinstance(element, Block):
        return []
    block = BLOCK_TYPES[scope.type_of(element.instance)]
    taken = {block.power_in, *(wired.pin for wired in element.inputs)}
    return [pin.name for pin in block.inputs if pin.type == "BOOL" and pin.name not in taken]


def _wired(element: Element, wired: BlockInput) -> Element:
    assert isinstance(element, Block), "only blocks have pins"
    return replace(element, inputs=(*element.inputs, wired))


def _adding(rung: Rung, contacts: list[Contact]) -> Callable[[Series], Iterator[_Edited]]:
    """Return what may be added to any one series of the rung."""
    driven = {output.symbol for output in rung.outputs if isinstance(output, Coil)}

    def edits(series: Series) -> Iterator[_Edited]:
        yield from _in_series(series, contacts)
        for first, last in combinations(range(len(series.items) + 1), 2):
            yield from _in_parallel(series, first, last, contacts, driven)

    return edits


def _in_series(series: Series, contacts: list[Contact]) -> Iterator[_Edited]:
    """Yield one contact more.

    Where it stands matters only to blocks, so behind all and before all.
    """
    holds_block = any(isinstance(element, Block) for _, element in walk(series))
    for contact in contacts:
        words = f"contact {contact.symbol}, {contact.kind}, added"
        if series.items:
            words += f" in series with {print_network(series)}"
        last = _first_element(series, len(series.items) - 1)
        yield Series((*series.items, contact)), last, FaultKind.SHORTED, words
        if holds_block:
            before = Series((contact, *series.items))
            yield before, _first_element(series, 0), FaultKind.SHORTED, f"{words}, before it"


def _in_parallel(
    series: Series, first: int, last: int, contacts: list[Contact], driven: set[str]
) -> Iterator[_Edited]:
    """Yield one branch more around the items from ``first`` up to ``last``."""
    inner = Series(series.items[first:last])
    for contact in contacts:
        parallel = Parallel((inner, Series((contact,))))
        network = Series((*series.items[:first], parallel, *series.items[last:]))
        seals = contact.kind is ContactKind.OPEN and contact.symbol in driven
        what = f"seal-in of {contact.symbol}" if seals else f"branch {print_element(contact)}"
        kind = FaultKind.SEAL_IN if seals else FaultKind.BRANCH
        words = f"{what}, added around {print_network(inner)}"
        yield network, _first_element(series, first), kind, words


def _first_element(series: Series, index: int) -> Path:
    """Return the path of the first element of an item; empty if there is no such item."""
    return next((path for path, _ in walk(series) if path[0] == index), ())


def _everywhere(series: Series, edit: Callable[[Series], Iterator[_Edited]]) -> Iterator[_Edited]:
    """Yield the edit done to the series itself, then to each of its branches at any depth."""
    yield from edit(series)
    for i, item in enumerate(series.items):
        if not isinstance(item, Parallel):
            continue
        for j, branch in enumerate(item.branches):
            for changed, path, kind, words in _everywhere(branch, edit):
                parallel = Parallel((*item.branches[:j], changed, *item.branches[j + 1 :]))
                whole = Series((*series.items[:i], parallel, *series.items[i + 1 :]))
                yield whole, (i, j, *path), kind, words
