"""IF … ELSIF … ELSE … END_IF as rungs, where these do exactly the same in every scan.

The statement looks at its conditions once; rungs look again, one after the other. So what one rung
writes must be nothing that a later condition reads. Where every branch gives a BOOL its value, one
coil takes them all; where some branch leaves it alone, it is set and reset.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

from server.ladder.elements import CoilKind
from server.ladder.messages import Place
from server.ladder.program import Coil, Name, Number, Output
from server.ladder.text_expression import (
    Applied,
    Calculation,
    Constant,
    Expression,
    Joined,
    Not,
    Value,
    calls,
    names,
)
from server.ladder.text_lowering import Undrawable, calculate, draw

TypeOf: TypeAlias = Callable[[str], str | None]


@dataclass(frozen=True, slots=True)
class Assigned:
    """``target := expression``."""

    target: str
    expression: Expression
    place: Place


@dataclass(frozen=True, slots=True)
class Branch:
    """What is done under a condition; without one, the part after ELSE."""

    condition: Expression | None
    body: "tuple[Assigned | If, ...]"


@dataclass(frozen=True, slots=True)
class If:
    """A whole statement."""

    branches: tuple[Branch, ...]
    place: Place


@dataclass(slots=True)
class Piece:
    """One rung: its network as it was written, and its outputs with their places.

    ``reads`` are the symbols of conditions, ``takes`` those of the values that are assigned.
    """

    network: Expression
    outputs: list[tuple[Output, Place]]
    path: tuple[Expression, ...] = ()
    reads: set[str] = field(default_factory=set)
    takes: set[str] = field(default_factory=set)

    @property
    def writes(self) -> set[str]:
        return {o.symbol if isinstance(o, Coil) else o.target for o, _ in self.outputs}


def number_or_bit(expression: Expression, target_type: str | None) -> Expression | None:
    """Return the BOOL that is assigned, or None for a number."""
    match expression:
        case Calculation() | Applied():
            return None
        case Joined() | Not() if target_type == "WORD":
            return None
        case Value(Name()):
            return expression if target_type == "BOOL" else None
        case Value(Number(value), place) if target_type == "BOOL" and value in (0, 1):
            return Constant(bool(value), place)
        case Value():
            return None
        case _:
            return expression


def pieces(statement: If, type_of: TypeOf) -> tuple[Piece, ...]:
    """Return the rungs of the statement. Raises Undrawable where they would not do the same."""
    found = _Lowering(type_of).lower(statement)
    _hold_exact(found, single=len(statement.branches) == 1)
    return found


@dataclass(slots=True)
class _Lowering:
    type_of: TypeOf
    pieces: list[Piece] = field(default_factory=list)

    def lower(self, statement: If) -> tuple[Piece, ...]:
        coils = self.coils(statement)
        drawn: set[str] = set()
        for path, assigned in _flat(statement, ()):
            if assigned.target not in coils:
                self.guarded(path, assigned)
            elif assigned.target not in drawn:
                drawn.add(assigned.target)
                self.pieces.append(self.coil(statement, assigned))
        return tuple(self.pieces)

    def bit(self, assigned: Assigned) -> Expression | None:
        return number_or_bit(assigned.expression, self.type_of(assigned.target))

    def coils(self, statement: If) -> set[str]:
        """Return the BOOLs that each branch gives one value."""
        if statement.branches[-1].condition is not None:
            return set()
        everywhere: set[str] | None = None
        for branch in statement.branches:
            here = [each for each in branch.body if isinstance(each, Assigned)]
            inner = {
                assigned.target
                for each in branch.body
                if isinstance(each, If)
                for _, assigned in _flat(each, ())
            }
            targets = [each.target for each in here]
            once = {
                each.target
                for each in here
                if targets.count(each.target) == 1 and self.bit(each) is not None
            }
            everywhere = once - inner if everywhere is None else everywhere & (once - inner)
        return everywhere or set()

    def coil(self, statement: If, first: Assigned) -> Piece:
        """Return the coil of a BOOL that each branch gives a value."""
        place = first.place
        chosen: Expression | None = None
        takes: set[str] = set()
        for branch in reversed(statement.branches):
            (assigned,) = [
                each
                for each in branch.body
                if isinstance(each, Assigned) and each.target == first.target
            ]
            value = self.bit(assigned)
            assert value is not None, "a BOOL is assigned in each branch"
            takes |= names(value)
            if branch.condition is None or chosen is None:
                chosen = value
            else:
                chosen = _choice(branch.condition, value, chosen)
        assert chosen is not None, "there is a branch"
        reads = {name for b in statement.branches if b.condition for name in names(b.condition)}
        kind = CoilKind.COIL
        if isinstance(chosen, Constant) and not chosen.value:
            kind, chosen = CoilKind.NEGATED, Constant(True, place)
        return Piece(chosen, [(Coil(kind, first.target), place)], (), reads, takes)

    def guarded(self, path: tuple[Expression, ...], assigned: Assigned) -> None:
        """Write what is done only under the conditions of ``path``."""
        place, target = assigned.place, assigned.target
        bit = self.bit(assigned)
        reads = {name for condition in path for name in names(condition)}
        if bit is None:
            output = calculate(target, assigned.expression)
            takes = names(assigned.expression)
            self.act(Piece(_all(path), [(output, place)], path, reads, takes))
        elif isinstance(bit, Constant):
            kind = CoilKind.SET if bit.value else CoilKind.RESET
            self.act(Piece(_all(path), [(Coil(kind, target), place)], path, reads))
        elif target in reads or target in names(bit) or not _negatable(bit):
            keep = Value(Name(target), place)
            chosen = _choice(_all(path), bit, keep)
            self.pieces.append(
                Piece(chosen, [(Coil(CoilKind.COIL, target), place)], path, reads, names(bit))
            )
        else:
            for kind, value in ((CoilKind.SET, bit), (CoilKind.RESET, Not(bit, place))):
                network = _all((*path, value))
                self.pieces.append(
                    Piece(network, [(Coil(kind, target), place)], (), reads, names(bit))
                )

    def act(self, piece: Piece) -> None:
        """Add what acts only with power; under the same conditions it shares a rung."""
        if self.pieces and self.pieces[-1].path == piece.path and piece.path:
            last = self.pieces[-1]
            if all(output.kind.partner for output, _ in last.outputs if isinstance(output, Coil)):
                last.outputs += piece.outputs
                last.takes |= piece.takes
                return
        self.pieces.append(piece)


def _hold_exact(found: tuple[Piece, ...], *, single: bool) -> None:
    if len(found) == 1:
        return
    written: set[str] = set()
    everything = [piece.writes for piece in found]
    for number, piece in enumerate(found):
        place = piece.outputs[0][1]
        again = piece.reads & written
        if again:
            raise _changed(min(again), place)
        others = set().union(*everything[:number], *everything[number + 1 :])
        taken = set() if single else piece.takes & (others - piece.writes)
        if taken:
            raise _changed(min(taken), place)
        if calls(piece.network):
            raise Undrawable(
                place,
                "A block is called in a condition that more than one rung needs.",
                "Call it in a statement above, and ask for its output, like delay.Q.",
            )
        written |= piece.writes


def _changed(symbol: str, place: Place) -> Undrawable:
    return Undrawable(
        place,
        f"The rungs of this IF would read {symbol} again after one of them has changed it.",
        f"Assign what it asks of {symbol} to an internal bit above, and ask for that bit.",
    )


def _flat(
    statement: If, path: tuple[Expression, ...]
) -> Iterator[tuple[tuple[Expression, ...], Assigned]]:
    """Yield each assignment with the conditions under which it is done."""
    passed = path
    for branch in statement.branches:
        here = passed if branch.condition is None else (*passed, branch.condition)
        for each in branch.body:
            if isinstance(each, If):
                yield from _flat(each, here)
            else:
                yield here, each
        if branch.condition is not None:
            passed = (*passed, _opposite(branch.condition))


def _opposite(condition: Expression) -> Expression:
    return condition.inner if isinstance(condition, Not) else Not(condition, condition.place)


def _all(path: tuple[Expression, ...]) -> Expression:
    return path[0] if len(path) == 1 else Joined("AND", path, path[0].place)


def _choice(condition: Expression, then: Expression, otherwise: Expression) -> Expression:
    """``then`` under the condition, else ``otherwise``, in as few contacts as constants allow."""
    place = condition.place
    other = _opposite(condition)
    match then, otherwise:
        case Constant(first), Constant(second) if first is second:
            return then
        case Constant(True), Constant(False):
            return condition
        case Constant(False), Constant(True):
            return other
        case Constant(True), _:
            return Joined("OR", (condition, otherwise), place)
        case Constant(False), _:
            return Joined("AND", (other, otherwise), place)
        case _, Constant(True):
            return Joined("OR", (other, then), place)
        case _, Constant(False):
            return Joined("AND", (condition, then), place)
        case _:
            chosen = Joined("AND", (condition, then), place)
            return Joined("OR", (chosen, Joined("AND", (other, otherwise), place)), place)


def _negatable(expression: Expression) -> bool:
    try:
        draw(Not(expression, expression.place))
    except Undrawable:
        return False
    return True
