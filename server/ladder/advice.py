"""What a good colleague points out: warnings about likely mistakes, notes about good form."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from functools import lru_cache

from server.ladder.elements import CoilKind, ContactKind
from server.ladder.limits import RUNGS_REMEMBERED
from server.ladder.messages import Message, Place, Severity, in_rung
from server.ladder.names import KEYWORD_TABLE, bit_of, listed
from server.ladder.points import Direction, PointDeclaration, direction_of
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Coil,
    Contact,
    Item,
    Parallel,
    Path,
    Program,
    Rung,
    Series,
    Variable,
    walk,
)
from server.ladder.references import Uses, cross_reference
from server.ladder.tree import item_at


def advise(program: Program, points: Sequence[PointDeclaration] = ()) -> Iterator[Message]:
    """Advice about a program, and about how it uses the points of its exercise."""
    uses = cross_reference(program)
    for index, rung in enumerate(program.rungs):
        yield from in_rung(index, _rung(rung))
    yield from _coils(program)
    for variable in program.variables:
        yield from _variable(variable, uses[variable.symbol], bool(points))
    if points:
        yield from _points(program, uses, points)


@lru_cache(RUNGS_REMEMBERED)
def _rung(rung: Rung) -> tuple[Message, ...]:
    return tuple(_of_rung(rung))


def _of_rung(rung: Rung) -> Iterator[Message]:
    place = Place()
    if not rung.outputs and not rung.network.items:
        yield _warning("empty rung", place, "The rung is empty.", "Build it or delete it.")
        return
    if not rung.outputs and not any(isinstance(e, Block) for _, e in walk(rung.network)):
        yield _warning("no output", place, "The rung drives nothing.", "Add a coil or an action.")
    for path in _bypassed(rung.network):
        yield _warning(
            "bypass",
            Place(path=path),
            "A branch without elements carries power past the others.",
            "Put an element into it or delete it.",
        )
    if not rung.comment:
        yield _note(
            "comment", place, "The rung has no comment.", "Say what it does and what it serves."
        )


def _bypassed(network: Series, prefix: Path = ()) -> Iterator[Path]:
    for i, item in enumerate(network.items):
        if isinstance(item, Parallel):
            if Series() in item.branches:
                yield (*prefix, i)
            for j, branch in enumerate(item.branches):
                yield from _bypassed(branch, (*prefix, i, j))


def _coils(program: Program) -> Iterator[Message]:
    """Yield which coils contradict each other, and which wait for a partner."""
    driven: defaultdict[str, list[Place]] = defaultdict(list)
    latched: defaultdict[str, dict[CoilKind, Place]] = defaultdict(dict)
    for index, rung in enumerate(program.rungs):
        for number, output in enumerate(rung.outputs):
            place = Place(rung=index, output=number)
            match output:
                case Coil(kind, symbol) if kind.partner is not None:
                    latched[symbol].setdefault(kind, place)
                case Coil(_, symbol):
                    driven[symbol].append(place)
                case AssignmentStatement():
                    pass
    for symbol, places in driven.items():
        if len(places) > 1:
            numbers = sorted({_number(place) for place in places})
            where = f"rung{'s' * (len(numbers) > 1)} {listed(map(str, numbers))}"
            yield _warning(
                "coil in two places",
                places[-1],
                f"{symbol} has {len(places)} coils, in {where}; only the last one counts.",
                "Drive it from one coil with parallel branches.",
            )
        for latch, place in latched[symbol].items():
            yield _warning(
                "coil and latch",
                place,
                f"The {latch} of {symbol} is overruled by its coil in rung {_number(places[0])}.",
                "Use either a coil, or a set and a reset coil.",
            )
    for symbol, latches in latched.items():
        # A bit of a WORD also goes when the WORD is assigned.
        if symbol not in driven and len(latches) == 1 and bit_of(symbol) is None:
            ((latch, place),) = latches.items()
            yield _warning(
                "latch without partner",
                place,
                f"{symbol} has a {latch} and no {latch.partner}.",
                f"Add a {latch.partner}.",
            )


def _variable(variable: Variable, uses: Uses, has_table: bool) -> Iterator[Message]:
    place = Place(symbol=variable.symbol)
    symbol, direction = variable.symbol, direction_of(variable.address)
    if symbol.upper() in KEYWORD_TABLE:
        yield _note(
            "keyword", place, f"{symbol} is a keyword of IEC 61131-3.", "Give it another symbol."
        )
    if variable.retain and direction is Direction.OUTPUT:
        yield _warning(
            "retained output",
            place,
            f"{symbol} is an output and RETAIN: it comes back by itself when power returns.",
            "Declare it without RETAIN unless the exercise asks for it.",
        )
    if has_table and direction is not Direction.INTERNAL:
        return  # The table of points is looked at instead.
    if not uses.all:
        yield _warning("unused", place, f"{symbol} is never used.", "Use it or remove it.")
    elif direction is Direction.OUTPUT and not uses.writes:
        yield _never_written(symbol, place)
    elif direction is Direction.INTERNAL and not uses.calls:
        yield from _internal(variable, uses)


def _internal(variable: Variable, uses: Uses) -> Iterator[Message]:
    place = Place(symbol=variable.symbol)
    constant = variable.type != "BOOL" and variable.initial is not None
    if not uses.writes and not constant and variable.type != "TIME":
        yield _warning(
            "never written",
            place,
            f"{variable.symbol} is read in rung {_number(uses.reads[0])} and never written.",
            "Write it in a rung, or read what was meant.",
        )
    if not uses.reads and variable.type == "BOOL":
        yield _note(
            "never read", place, f"{variable.symbol} is written and never read.", "Is it needed?"
        )


def _points(
    program: Program, uses: dict[str, Uses], points: Sequence[PointDeclaration]
) -> Iterator[Message]:
    declared = {v.address: v.symbol for v in program.variables if v.address is not None}
    for point in points:
        symbol = declared.get(point.address)
        place = Place(symbol=symbol or point.symbol)
        used = uses[symbol] if symbol is not None else Uses()
        if symbol is None and point.direction is not Direction.INTERNAL:
            yield _warning(
                "point not declared",
                place,
                f"The point {point.symbol} ({point.address}) is not declared.",
                f"Declare it: {point.symbol} AT {point.address} : {point.type};",
            )
        elif symbol is not None and point.direction is Direction.OUTPUT and not used.writes:
            yield _never_written(symbol, place)
        elif symbol is not None and point.direction is Direction.INPUT and not used.reads:
            yield _warning(
                "point not used",
                place,
                f"The input {symbol} ({point.address}) is never read.",
                "Does a requirement need it?",
            )
        if symbol is not None and point.wiring is ContactKind.CLOSED:
            yield from _closed_on_closed(program, symbol, used)
    known = {point.address for point in points}
    for variable in program.variables:
        if (
            direction_of(variable.address) is not Direction.INTERNAL
            and variable.address not in known
        ):
            yield _warning(
                "no such point",
                Place(symbol=variable.symbol),
                f"{variable.symbol} has the address {variable.address}, which no point has.",
                "Take an address from the table of points.",
            )


def _closed_on_closed(program: Program, symbol: str, uses: Uses) -> Iterator[Message]:
    for place in uses.reads:
        if _read_at(program, place) == Contact(ContactKind.CLOSED, symbol):
            yield _note(
                "normally closed",
                place,
                f"{symbol} is wired normally closed and ON at rest: this contact conducts "
                "only while the device is actuated or its wire is broken.",
                "Use a normally open contact if that is not meant.",
            )


def _read_at(program: Program, place: Place) -> Item | None:
    """Return the element that reads a symbol there; None where an output does."""
    if place.rung is None or place.path is None:
        return None
    return item_at(program.rungs[place.rung].network, place.path)


def _never_written(symbol: str, place: Place) -> Message:
    return _warning(
        "never written", place, f"The output {symbol} is never written.", "Drive it from a rung."
    )


def _number(place: Place) -> int:
    assert place.rung is not None, "uses are in rungs"
    return place.rung + 1


def _warning(rule: str, place: Place, text: str, fix: str) -> Message:
    return Message(Severity.WARNING, rule, place, text, fix)


def _note(rule: str, place: Place, text: str, fix: str) -> Message:
    return Message(Severity.NOTE, rule, place, text, fix)
