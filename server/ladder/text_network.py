"""The text form, stage two: expressions and networks. One method a construct."""

from collections.abc import Callable

from server.ladder.elements import ContactKind, Operator, Relation
from server.ladder.messages import Place
from server.ladder.program import Comparison, Contact, Number
from server.ladder.text_calls import A_VALUE, Call, CallParser
from server.ladder.text_expression import (
    Applied,
    Calculation,
    Constant,
    Expression,
    Joined,
    Leaf,
    Not,
    Sign,
    Value,
)
from server.ladder.text_functions import (
    CALCULATING,
    COMPARING,
    FUNCTIONS,
    WORDS,
    has_arity,
    inputs_of,
)
from server.ladder.text_lexer import TokenKind
from server.ladder.text_lowering import DrawnNetwork, Undrawable, draw
from server.ladder.xml_names import EDGE_BLOCKS

_EDGES = {kind.row.text.partition("(")[0]: kind for kind in ContactKind if kind.is_edge}
_RELATIONS = tuple(map(str, Relation))
_SUMS = ("+", "-")
_PRODUCTS = (
    *(str(o) for o in Operator if o.infix and not o.joins_bits and o not in _SUMS),
    "**",
)
_FIRST = "a contact, a comparison, a block or TRUE"
_VALUES = {1: "one value", 2: "two values", 3: "three values"}


class NetworkParser(CallParser):
    """Reads expressions and draws them as networks."""

    def _network(self) -> DrawnNetwork:
        return self._drawn(self._expression())

    def _drawn(self, expression: Expression) -> DrawnNetwork:
        try:
            return draw(expression)
        except Undrawable as fault:
            self._fail("syntax", fault.place, fault.text, fault.fix)

    # -- operators, from the loosest to the tightest -----------------------------------------------

    def _expression(self, expected: str = _FIRST) -> Expression:
        return self._joined("OR", self._exclusive, expected)

    def _exclusive(self, expected: str) -> Expression:
        return self._joined("XOR", self._conjunction, expected)

    def _conjunction(self, expected: str) -> Expression:
        return self._joined("AND", self._equality, expected)

    def _joined(self, sign: Sign, part: Callable[[str], Expression], expected: str) -> Expression:
        place = self._token.place
        parts = [part(expected)]
        while self._accept(sign):
            parts.append(part(_FIRST))
        return parts[0] if len(parts) == 1 else Joined(sign, tuple(parts), place)

    def _equality(self, expected: str) -> Expression:
        return self._compared(self._ordered, (Relation.EQ, Relation.NE), expected)

    def _ordered(self, expected: str) -> Expression:
        ordered = (Relation.LT, Relation.LE, Relation.GT, Relation.GE)
        return self._compared(self._sum, ordered, expected)

    def _compared(
        self, side: Callable[[str], Expression], relations: tuple[Relation, ...], expected: str
    ) -> Expression:
        start = self._token
        left = side(expected)
        if not self._here(*relations):
            return left
        relation = Relation(self._next().value)
        if start.value == "NOT" and isinstance(left, Not):
            self._fail(
                "syntax",
                start.place,
                "NOT stands before a comparison.",
                "For NOT a > b write a <= b, or NOT (a > b).",
            )
        compared = self._comparison(start.place, left, relation, side(A_VALUE))
        if self._here(*relations):
            self._fail(
                "syntax",
                self._token.place,
                "A comparison stands after a comparison.",
                "Join two of them with AND, or put one into parentheses.",
            )
        return compared

    def _comparison(
        self, place: Place, left: Expression, relation: Relation, right: Expression
    ) -> Expression:
        sides = (left, right)
        for side in sides:
            if isinstance(side, Calculation | Applied):
                self._fail(
                    "syntax",
                    side.place,
                    "A comparison in a rung compares two values and does not calculate.",
                    "Assign the result to an INT in a rung above, and compare that.",
                )
        if isinstance(left, Value) and isinstance(right, Value):
            return Leaf(Comparison(left.operand, relation, right.operand), place)
        if relation not in (Relation.EQ, Relation.NE):
            self._fail(
                "syntax",
                place,
                f"{relation} compares numbers or durations, and this is a BOOL.",
                "Join BOOLs with AND, OR and NOT.",
            )
        same = relation is Relation.EQ
        for side, other in (sides, sides[::-1]):
            if isinstance(side, Constant):
                return other if side.value is same else Not(other, place)
        differ = Joined("XOR", sides, place)
        return Not(differ, place) if same else differ

    def _sum(self, expected: str) -> Expression:
        return self._chained(self._product, _SUMS, expected)

    def _product(self, expected: str) -> Expression:
        return self._chained(self._factor, _PRODUCTS, expected)

    def _chained(
        self, part: Callable[[str], Expression], signs: tuple[str, ...], expected: str
    ) -> Expression:
        place = self._token.place
        first = part(expected)
        steps: list[tuple[str, Expression]] = []
        while self._here(*signs):
            sign = self._next().value
            steps.append((sign, part("a symbol or a number")))
        return Calculation(first, tuple(steps), place) if steps else first

    def _factor(self, expected: str) -> Expression:
        start = self._token
        negated = False
        while self._accept("NOT"):
            negated = not negated
            expected = "a symbol after NOT"
        if self._token is not start:
            inner = self._primary(expected)
            return Not(inner, start.place) if negated else inner
        if self._here("-") and self._ahead(1).kind is not TokenKind.NUMBER:
            self._next()
            if self._kind not in (TokenKind.WORD, TokenKind.OUTPUT_OF_BLOCK) and not self._here(
                "("
            ):
                self._refuse("a number", "after '-'")
            inner = self._primary("a number")
            return Calculation(Value(Number(0), start.place), (("-", inner),), start.place)
        return self._primary(expected)

    # -- what stands between operators -----------------------------------------------------------

    def _primary(self, expected: str) -> Expression:
        opening = self._token
        if self._here("TRUE", "FALSE"):
            return Constant(self._next().value == "TRUE", opening.place)
        if self._here(*WORDS) and self._ahead(1).value == "(":
            return self._function(self._call(self._next().value))
        if self._accept("("):
            self._enter()
            inner = self._expression()
            self._expect(")", f"for the '(' of line {opening.line}, column {opening.column}")
            self._depth -= 1
            return inner
        if self._kind is TokenKind.WORD and self._ahead(1).value == "(":
            edge = _EDGES.get(opening.value.upper())
            # A block may be called so, too: rising(), rising(PT := T#5s).
            if edge and self._ahead(2).value != ")" and self._ahead(3).value != ":=":
                return self._edge(edge)
            name = self._symbol_or_function()
            return self._called(self._call(name, opening.place))
        if self._kind is TokenKind.LITERAL and opening.text.upper().startswith("BOOL#"):
            return Constant(self._bool_literal(), opening.place)
        return Value(self._operand(expected), opening.place)

    def _edge(self, kind: ContactKind) -> Expression:
        start = self._next()
        word = start.text.upper()
        self._expect("(", f"after {word}")
        symbol = self._reference(f"a symbol after {word}")
        if self._here("AND", "OR", "XOR"):
            block = EDGE_BLOCKS[kind.row.xml["edge"]]
            self._fail(
                "syntax",
                start.place,
                f"{word} takes one symbol.",
                f"For the edge of a network put a block of type {block} behind it, like "
                "(a OR b) AND press().",
            )
        self._expect(")", f"after {symbol}")
        return Leaf(Contact(kind, symbol), start.place)

    # -- functions -------------------------------------------------------------------------------

    def _symbol_or_function(self) -> str:
        return self._next().value if self._token.text.upper() in FUNCTIONS else self._symbol("")

    def _called(self, call: Call) -> Expression:
        """Return a call in a network: a standard function that can be drawn, or a block in line."""
        unnamed = call.wired and not any(wired.pin for wired in call.wired)
        if unnamed and call.name.upper() in FUNCTIONS:
            return self._function(call)
        if call.received:
            self._fail(
                "syntax",
                call.received[0].place,
                f"An output of {call.name} is handed on inside a rung.",
                f"Call {call.name} in a statement of its own, or read "
                f"{call.name}.{call.received[0].pin}.",
            )
        return Leaf(self._block(call), call.place)

    def _function(self, call: Call) -> Expression:
        """Return a standard function that means the same as an element or an operator."""
        values = tuple(wired.value for wired in call.wired)
        name = call.name.upper()
        count = len(values)
        if any(w.pin for w in call.wired) or call.received or not has_arity(name, count):
            inputs = len(inputs_of(name))
            self._fail(
                "syntax",
                call.place,
                f"{name} takes {_VALUES[inputs]}, without names.",
                f"Write {name}({', '.join('abc'[:inputs])}).",
            )
        first = values[0]
        match name:
            case "AND" | "OR" | "XOR":
                return Joined(name, values, call.place)
            case "MOVE":
                return Calculation(first, (), call.place)
            case _ if name in COMPARING:
                compared = self._comparison(call.place, first, COMPARING[name], values[1])
                return (
                    Leaf(compared.element, call.place) if isinstance(compared, Leaf) else compared
                )
            case _:
                operator = CALCULATING[name]
                if not operator.infix:
                    return Applied(operator, values, call.place)
                steps = tuple((str(operator), value) for value in values[1:])
                return Calculation(first, steps, call.place)
