"""The text form, stage two: tokens to networks and their elements. One method a construct."""

from server.ladder.durations import parse_duration
from server.ladder.elements import INT_MAX, INT_MIN, ContactKind, Relation
from server.ladder.limits import MAX_NESTING
from server.ladder.messages import Place
from server.ladder.names import reference_fault, shortened
from server.ladder.program import (
    Block,
    BlockInput,
    Comparison,
    Contact,
    Duration,
    Element,
    Item,
    Name,
    Number,
    Operand,
    Parallel,
    Series,
)
from server.ladder.text_cursor import Cursor
from server.ladder.text_lexer import TokenKind

_EDGES = {kind.row.text.partition("(")[0]: kind for kind in ContactKind if kind.is_edge}
_RELATIONS = tuple(map(str, Relation))


class NetworkParser(Cursor):
    """Reads networks; AND binds tighter than OR. ``_elements`` collects where elements begin."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self._elements: list[Place] = []
        self._depth = 0

    def _network(self) -> Series:
        branches = [self._series()]
        while self._accept("OR"):
            branches.append(self._series())
        return branches[0] if len(branches) == 1 else Series((Parallel(tuple(branches)),))

    def _series(self) -> Series:
        items: list[Item] = [*self._factor()]
        while self._accept("AND"):
            items += self._factor()
        return Series(tuple(items))

    def _factor(self) -> tuple[Item, ...]:
        opening = self._token
        if self._accept("TRUE"):
            return ()
        if not self._accept("("):
            self._elements.append(opening.place)
            return (self._element(),)
        self._depth += 1
        if self._depth > MAX_NESTING:
            self._stop(
                "limit",
                f"More than {MAX_NESTING} parentheses are open.",
                "Build the rung with fewer branches inside each other.",
            )
        network = self._network()
        self._expect(")", f"for the '(' of line {opening.line}, column {opening.column}")
        self._depth -= 1
        return network.items

    def _element(self) -> Element:
        start = self._token.place
        if self._accept("NOT"):
            if self._here("("):
                self._fail(
                    "syntax",
                    start,
                    "NOT stands before a parenthesis.",
                    "For NOT (a OR b) write NOT a AND NOT b.",
                )
            symbol = self._reference("a symbol behind NOT")
            if self._here(*_RELATIONS):
                self._fail(
                    "syntax",
                    start,
                    "NOT stands before a comparison.",
                    "For NOT a > b write a <= b.",
                )
            return Contact(ContactKind.CLOSED, symbol)
        if self._here(*_EDGES):
            edge = self._next().value
            self._expect("(", f"behind {edge}")
            symbol = self._reference(f"a symbol behind {edge}")
            self._expect(")", f"behind {symbol}")
            return Contact(_EDGES[edge], symbol)
        if self._kind is TokenKind.WORD and self._tokens[self._at + 1].value == "(":
            return self._block()
        left = self._operand("a contact, a comparison, a block or TRUE")
        if self._here(*_RELATIONS):
            relation = Relation(self._next().value)
            return Comparison(left, relation, self._operand("a symbol, number or duration"))
        if not isinstance(left, Name):
            self._refuse("a comparison sign", "behind the value")
        return Contact(ContactKind.OPEN, left.symbol)

    def _block(self) -> Block:
        instance = self._symbol("a block")
        where = f"in the call of {instance}"
        self._expect("(", where)
        inputs: list[BlockInput] = []
        while not self._accept(")"):
            if inputs:
                self._expect(",", f"or ')' {where}")
            inputs.append(self._input(where))
        return Block(instance, tuple(inputs))

    def _input(self, where: str) -> BlockInput:
        if self._kind is not TokenKind.WORD:
            self._refuse("an input like 'PT := T#5s'", where)
        pin = self._symbol("an input").upper()
        self._expect(":=", f"behind {pin} {where}")
        negated = self._accept("NOT")
        if negated:
            return BlockInput(pin, Name(self._reference("a symbol behind NOT")), negated)
        return BlockInput(pin, self._operand("a symbol, number or duration"))

    def _operand(self, expected: str) -> Operand:
        token = self._token
        if token.kind is TokenKind.DURATION:
            self._next()
            try:
                return Duration(parse_duration(token.text))
            except ValueError as fault:
                self._fail("syntax", token.place, f"{token} is no duration.", str(fault))
        minus = "-" if self._accept("-") else ""
        if self._kind is TokenKind.NUMBER:
            written = minus + self._next().value
            # An INT has five digits; a number of a million digits is never converted.
            value = int(written) if len(written) <= 12 else INT_MAX + 1
            if not INT_MIN <= value <= INT_MAX:
                self._fail(
                    "syntax",
                    token.place,
                    f"The number {shortened(written)} is out of range.",
                    f"An INT goes from {INT_MIN} to {INT_MAX}.",
                )
            return Number(value)
        if minus:
            self._refuse("a number", "behind '-'")
        return Name(self._reference(expected))

    def _reference(self, expected: str) -> str:
        """A variable, or an output of a block."""
        if self._kind is not TokenKind.OUTPUT_OF_BLOCK:
            return self._symbol(expected)
        fault = reference_fault(self._token.text)
        if fault is not None:
            self._fail("symbol", self._token.place, *fault)
        return self._next().value
