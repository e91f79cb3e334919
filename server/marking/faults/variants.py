"""Wrong programs made from a right one: every variant with exactly one fault.

The vocabulary is published. Faults of a network are those of Boolean specifications in M. F. Lau
and Y. T. Yu, 'An extended fault class hierarchy for specification-based testing', ACM TOSEM 14(3),
2005: literal negation (contact negated), literal omission (shorted), term omission (branch
removed) and literal reference (point exchanged), with the stuck-at faults of digital circuits
(shorted, opened). Faults of blocks and numbers (timer kind, comparison, value, negation) are the
operators for IEC 61131-3 programs in E. P. Enoiu and others, 'Mutation-based test generation for
PLC embedded software using model checking', ICTSS 2016 (their names from memory). Faults of coils,
of RETAIN and of the order of rungs are common practice, no source.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind
from server.ladder.messages import Place
from server.ladder.points import Direction, direction_of
from server.ladder.program import (
    Block,
    Coil,
    Contact,
    Element,
    Output,
    Path,
    Program,
    Rung,
    Series,
    Variable,
    walk,
)
from server.ladder.splicing import parallels, spliced, without_branch
from server.ladder.text_printer import print_network
from server.ladder.validation import errors
from server.marking.faults.element_faults import (
    BLOCK_FAULTS,
    FaultKind,
    element_faults,
    element_name,
    output_faults,
    output_name,
)
from server.marking.faults.scope import Scope


@dataclass(frozen=True, slots=True)
class Variant:
    """A program with one fault: what kind, where in the *original*, and a sentence.

    The sentence says what this program has instead of what the original has.
    """

    program: Program
    kind: FaultKind
    place: Place
    sentence: str


def variants(program: Program) -> tuple[Variant, ...]:
    """Return every single-fault variant that may run, in order of rungs; none stands there twice.

    ``program`` must be free of errors.
    """
    return tuple(distinct(program, _variants(program)))


def distinct(program: Program, edits: Iterable[Variant]) -> Iterator[Variant]:
    """Yield the edits of a program that change it and may run, each changed program once."""
    seen = {program}
    for edit in edits:
        if edit.program not in seen:
            seen.add(edit.program)
            if not errors(edit.program):
                yield edit


def _variants(program: Program) -> Iterator[Variant]:
    scope = Scope(program)
    for number, rung in enumerate(program.rungs):
        names = _names(rung, scope)
        for path, element in walk(rung.network):
            where = f"rung {number + 1}, {names[path]}"
            yield from _of_element(program, scope, number, path, element, where)
        yield from _of_branches(program, number, rung)
        for position, output in enumerate(rung.outputs):
            yield from _of_output(program, scope, number, position, output)
        if number + 1 < len(program.rungs):
            yield _exchanged_rungs(program, number)
    yield from _exchanged_pairs(program)
    yield from _of_declarations(program)


def _of_element(
    program: Program, scope: Scope, number: int, path: Path, element: Element, where: str
) -> Iterator[Variant]:
    place = Place(rung=number, path=path)
    network = program.rungs[number].network

    def changed(*items: Element) -> Program:
        return with_network(program, number, spliced(network, path, items))

    for fault in element_faults(element, scope):
        yield Variant(changed(fault.element), fault.kind, place, f"{where}, {fault.words}")
    if isinstance(element, Block):
        for kind, other in _other_types(program, scope, number, path, element):
            retyped = next(v.type for v in other.variables if v.symbol == element.instance)
            words = f"{retyped} instead of {scope.type_of(element.instance)}"
            yield Variant(other, kind, place, f"{where}, {words}")
    yield Variant(changed(), FaultKind.SHORTED, place, f"{where}, bridged by a wire")
    bit = Variable(scope.unused_symbol, "BOOL")
    opened = changed(Contact(ContactKind.OPEN, bit.symbol))
    opened = replace(opened, variables=(*opened.variables, bit))
    yield Variant(opened, FaultKind.OPENED, place, f"{where}, never conducting")


def _other_types(
    program: Program, scope: Scope, number: int, path: Path, block: Block
) -> Iterator[tuple[FaultKind, Program]]:
    now = BLOCK_TYPES[scope.type_of(block.instance)]
    for name in now.mistaken_for:
        other = BLOCK_TYPES[name]
        pins = {old.name: new.name for old, new in zip(now.inputs, other.inputs, strict=True)}
        wired = tuple(replace(each, pin=pins[each.pin]) for each in block.inputs)
        item = replace(block, inputs=wired)
        network = spliced(program.rungs[number].network, path, (item,))
        declared = tuple(
            replace(v, type=name) if v.symbol == block.instance else v for v in program.variables
        )
        changed = replace(with_network(program, number, network), variables=declared)
        yield BLOCK_FAULTS[now.family], changed


def _of_branches(program: Program, number: int, rung: Rung) -> Iterator[Variant]:
    driven = [output.symbol for output in rung.outputs if isinstance(output, Coil)]
    for path, parallel in parallels(rung.network):
        for j, branch in enumerate(parallel.branches):
            network = without_branch(rung.network, path, j)
            seals = [
                element.symbol
                for _, element in walk(branch)
                if isinstance(element, Contact)
                and element.kind is ContactKind.OPEN
                and element.symbol in driven
            ]
            if seals:
                kind, what = FaultKind.SEAL_IN, f"seal-in of {seals[0]}, dropped"
            else:
                kind, what = FaultKind.BRANCH, f"branch {print_network(branch)}, removed"
            yield Variant(
                with_network(program, number, network),
                kind,
                Place(rung=number, path=(*path, j)),
                f"rung {number + 1}, {what}",
            )


def _of_output(
    program: Program, scope: Scope, number: int, position: int, output: Output
) -> Iterator[Variant]:
    outputs = program.rungs[number].outputs
    place = Place(rung=number, output=position)
    where = f"rung {number + 1}, {output_name(output)}"

    def changed(*instead: Output) -> Program:
        written = (*outputs[:position], *instead, *outputs[position + 1 :])
        return with_rung(program, number, replace(program.rungs[number], outputs=written))

    for fault in output_faults(output, scope):
        yield Variant(changed(fault.output), fault.kind, place, f"{where}, {fault.words}")
    yield Variant(changed(), FaultKind.OUTPUT, place, f"{where}, removed")


def _exchanged_rungs(program: Program, number: int) -> Variant:
    rungs = list(program.rungs)
    rungs[number], rungs[number + 1] = rungs[number + 1], rungs[number]
    sentence = f"rungs {number + 1} and {number + 2}, exchanged"
    exchanged = replace(program, rungs=tuple(rungs))
    return Variant(exchanged, FaultKind.RUNGS, Place(rung=number), sentence)


def _exchanged_pairs(program: Program) -> Iterator[Variant]:
    """Set and reset coils of one variable, each in the other's place."""
    kinds: dict[str, set[CoilKind]] = defaultdict(set)
    for rung in program.rungs:
        for output in rung.outputs:
            if isinstance(output, Coil):
                kinds[output.symbol].add(output.kind)
    for symbol, found in kinds.items():
        if any(kind.partner in found for kind in found):
            yield Variant(
                replace(program, rungs=tuple(_opposite(rung, symbol) for rung in program.rungs)),
                FaultKind.SET_RESET,
                Place(symbol=symbol),
                f"set and reset coils of {symbol}, exchanged",
            )


def _of_declarations(program: Program) -> Iterator[Variant]:
    """Yield variables that keep their value over a loss of power, or lose it, by mistake."""
    for i, variable in enumerate(program.variables):
        if direction_of(variable.address) is Direction.INPUT:
            continue
        other = replace(variable, retain=not variable.retain)
        declared = (*program.variables[:i], other, *program.variables[i + 1 :])
        words = "with RETAIN" if other.retain else "without RETAIN"
        yield Variant(
            replace(program, variables=declared),
            FaultKind.RETENTION,
            Place(symbol=variable.symbol),
            f"declaration of {variable.symbol}, {words}",
        )


def _opposite(rung: Rung, symbol: str) -> Rung:
    outputs = tuple(
        replace(output, kind=output.kind.partner or output.kind)
        if isinstance(output, Coil) and output.symbol == symbol
        else output
        for output in rung.outputs
    )
    return replace(rung, outputs=outputs)


def with_rung(program: Program, number: int, rung: Rung) -> Program:
    """Return the program with another rung in place of one."""
    return replace(program, rungs=(*program.rungs[:number], rung, *program.rungs[number + 1 :]))


def with_network(program: Program, number: int, network: Series) -> Program:
    """Return the program with another network in one rung."""
    return with_rung(program, number, replace(program.rungs[number], network=network))


def _names(rung: Rung, scope: Scope) -> dict[Path, str]:
    """Return a name for each element; those that stand there more than once are counted."""
    plain = {path: element_name(element, scope) for path, element in walk(rung.network)}
    often = Counter(plain.values())
    seen: Counter[str] = Counter()
    names: dict[Path, str] = {}
    for path, name in plain.items():
        seen[name] += 1
        names[path] = name if often[name] == 1 else f"{name} ({seen[name]} of {often[name]})"
    return names
