"""The text form, stage two: tokens to expressions and networks. One method a construct."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from server.ladder.durations import parse_duration
from server.ladder.elements import (
    BLOCK_TYPES,
    INT_MAX,
    INT_MIN,
    ContactKind,
    DataType,
    Operator,
    Relation,
)
from server.ladder.limits import MAX_NESTING
from server.ladder.messages import Place
from server.ladder.names import full_address, listed, reference_fault, shortened
from server.ladder.program import (
    Block,
    BlockInput,
    Comparison,
    Contact,
    Duration,
    Name,
    Number,
    Operand,
    Variable,
)
from server.ladder.text_cursor import Cursor
from server.ladder.text_expression import (
    Calculation,
    Constant,
    Expression,
    Joined,
    Leaf,
    Not,
    Sign,
    Value,
)
from server.ladder.text_lexer import Token, TokenKind
from server.ladder.text_lowering import DrawnNetwork, Undrawable, draw
from server.ladder.xml_names import MOVE

_EDGES = {kind.row.text.partition("(")[0]: kind for kind in ContactKind if kind.is_edge}
_RELATIONS = tuple(map(str, Relation))
_COMPARING: Mapping[str, Relation] = MappingProxyType({r.row.xml: r for r in Relation})
_CALCULATING: Mapping[str, str] = MappingProxyType(
    {**{operator.row.xml: str(operator) for operator in Operator}, "MOD": "MOD"}
)
_FIRST = "a contact, a comparison, a block or TRUE"
_VALUE = "a symbol, number or duration"
_BASES = {"2": 2, "8": 8, "16": 16}


@dataclass(frozen=True, slots=True)
class Wired:
    """One thing between the parentheses of a call; ``pin`` is None where it has no name."""

    pin: str | None
    value: Expression
    place: Place


@dataclass(frozen=True, slots=True)
class Received:
    """``Q => lamp``: what takes an output of the block."""

    pin: str
    symbol: str
    negated: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Call:
    """``name(…)`` as it was written."""

    name: str
    wired: tuple[Wired, ...]
    received: tuple[Received, ...]
    place: Place


class NetworkParser(Cursor):
    """Reads expressions. ``declared`` is what is known of symbols; nothing for a rung alone."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self._depth = 0
        self.declared: dict[str, Variable] = {}
        self.at_address: dict[str, str] = {}
        self.constants: set[str] = set()

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
        compared = self._comparison(start.place, left, relation, side(_VALUE))
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
            if isinstance(side, Calculation):
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
        return self._chained(self._product, ("+", "-"), expected)

    def _product(self, expected: str) -> Expression:
        return self._chained(self._factor, ("*", "/", "MOD", "**"), expected)

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
        if self._here("AND", "OR", "XOR", "MOD") and self._ahead(1).value == "(":
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

    def _enter(self) -> None:
        self._depth += 1
        if self._depth > MAX_NESTING:
            self._stop(
                "limit",
                f"More than {MAX_NESTING} parentheses are open.",
                "Build the rung with fewer branches inside each other.",
            )

    def _edge(self, kind: ContactKind) -> Expression:
        start = self._next()
        word = start.text.upper()
        self._expect("(", f"after {word}")
        symbol = self._reference(f"a symbol after {word}")
        self._expect(")", f"after {symbol}")
        return Leaf(Contact(kind, symbol), start.place)

    # -- calls -----------------------------------------------------------------------------------

    def _symbol_or_function(self) -> str:
        return self._next().value if self._token.text.upper() in _FUNCTIONS else self._symbol("")

    def _call(self, name: str, place: Place | None = None) -> Call:
        """Return what stands between the parentheses after ``name``."""
        place = place or self._before.place
        where = f"in the call of {name}"
        self._expect("(", where)
        self._enter()
        wired: list[Wired] = []
        received: list[Received] = []
        while not self._accept(")"):
            if wired or received:
                self._expect(",", f"or ')' {where}")
            found = self._argument(where)
            if isinstance(found, Received):
                received.append(found)
            else:
                wired.append(found)
        self._depth -= 1
        return Call(name, tuple(wired), tuple(received), place)

    def _argument(self, where: str) -> Wired | Received:
        start = self._token
        negated = self._here("NOT")
        after = self._ahead(1 + negated).value
        if self._ahead(negated).kind is not TokenKind.WORD or after != "=>":
            if self._kind is TokenKind.WORD and after in (":=", "="):
                pin = self._symbol("an input").upper()
                self._expect(":=", f"after {pin} {where}")
                return Wired(pin, self._expression(_VALUE), start.place)
            if not self._kind_of_value():
                self._refuse("an input like 'PT := T#5s'", where)
            return Wired(None, self._expression(_VALUE), start.place)
        self._accept("NOT")
        pin = self._symbol("an output").upper()
        self._expect("=>", f"after {pin} {where}")
        return Received(pin, self._target("a symbol to receive it"), negated, start.place)

    def _kind_of_value(self) -> bool:
        """Return whether a value without a name can begin here."""
        return self._kind in (
            TokenKind.WORD,
            TokenKind.OUTPUT_OF_BLOCK,
            TokenKind.NUMBER,
            TokenKind.LITERAL,
            TokenKind.DURATION,
            TokenKind.ADDRESS,
        ) or self._here("NOT", "TRUE", "FALSE", "(", "-", "AND", "OR", "XOR")

    def _called(self, call: Call) -> Expression:
        """Return a call in a network: a standard function that can be drawn, or a block in line."""
        unnamed = call.wired and not any(wired.pin for wired in call.wired)
        if unnamed and call.name.upper() in _FUNCTIONS and call.name not in self.declared:
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

    def _block(self, call: Call) -> Block:
        return Block(call.name, tuple(self._wired(call.name, wired) for wired in call.wired))

    def _wired(self, name: str, wired: Wired) -> BlockInput:
        """Return an input of a block, which takes one operand."""
        pin, value = wired.pin, wired.value
        if pin is None:
            self._fail(
                "syntax",
                wired.place,
                f"The inputs of {name} have no names here.",
                f"Name each, like {name}(PT := T#5s). The functions of a rung are "
                f"{listed(_FUNCTIONS)}.",
            )
        if pin == "EN":
            self._fail(
                "syntax",
                wired.place,
                f"{name} has no EN here: it is called in each scan.",
                "Put the condition in front of the block.",
            )
        match value:
            case Value(Name(symbol), _) if symbol in self.constants:
                return BlockInput(pin, self._constant(symbol))
            case Value(operand, _):
                return BlockInput(pin, operand)
            case Not(Value(Name() as operand, _), _):
                return BlockInput(pin, operand, negated=True)
            case _:
                return self._fail(
                    "syntax",
                    value.place,
                    f"{pin} of {name} takes one symbol or value.",
                    "Drive an internal bit in a rung above, and wire that.",
                )

    def _constant(self, symbol: str) -> Operand:
        """Return the value of a constant: presets are literals in a rung."""
        variable = self.declared[symbol]
        match variable.type:
            case "TIME":
                return Duration(variable.initial or 0)
            case "INT":
                return Number(variable.initial or 0)
            case _:
                return Name(symbol)

    def _function(self, call: Call) -> Expression:
        """Return a standard function that means the same as an element or an operator."""
        values = tuple(wired.value for wired in call.wired)
        name = call.name.upper()
        count = len(values)
        if any(w.pin for w in call.wired) or call.received or not _has_arity(name, count):
            self._fail(
                "syntax",
                call.place,
                f"{name} takes {'one value' if name == MOVE else 'two values'}, without names.",
                f"Write {name}({'a' if name == MOVE else 'a, b'}).",
            )
        first = values[0]
        match name:
            case "AND" | "OR" | "XOR":
                return Joined(name, values, call.place)
            case "MOVE":
                return Calculation(first, (), call.place)
            case _ if name in _COMPARING:
                compared = self._comparison(call.place, first, _COMPARING[name], values[1])
                return (
                    Leaf(compared.element, call.place) if isinstance(compared, Leaf) else compared
                )
            case _:
                sign = _CALCULATING[name]
                return Calculation(first, tuple((sign, value) for value in values[1:]), call.place)

    # -- values ----------------------------------------------------------------------------------

    def _operand(self, expected: str) -> Operand:
        token = self._token
        if token.kind is TokenKind.DURATION:
            self._next()
            try:
                return Duration(parse_duration(token.text))
            except ValueError as fault:
                self._fail("syntax", token.place, f"{token} is no duration.", str(fault))
        if token.kind is TokenKind.LITERAL:
            return Number(self._int_literal())
        if token.kind is TokenKind.ADDRESS:
            return Name(self._addressed())
        minus = "-" if self._accept("-") else ""
        if self._kind is TokenKind.NUMBER:
            return Number(self._number(minus + self._next().text, token.place))
        if minus:
            self._refuse("a number", "after '-'")
        return Name(self._reference(expected))

    def _number(self, written: str, place: Place) -> int:
        """Return the value of ``-5``, ``1_000``, ``16#FF``."""
        sign = -1 if written.startswith("-") else 1
        base, hash_sign, digits = written.lstrip("+-").replace("_", "").rpartition("#")
        if "." in digits and not hash_sign:
            self._fail(
                "syntax",
                place,
                f"{shortened(written)} has a fraction.",
                "Numbers are whole here: scale it, like 15 tenths for 1.5.",
            )
        # An INT has sixteen digits at most; a number of a million digits is never converted.
        try:
            value = sign * int(digits[:20], _BASES[base] if hash_sign else 10)
        except (ValueError, KeyError):
            self._fail(
                "syntax",
                place,
                f"{shortened(written)} is no number.",
                "Write one like 255, 16#FF, 8#377 or 2#1111_1111.",
            )
        if not INT_MIN <= value <= INT_MAX or len(digits) > 20:
            self._fail(
                "syntax",
                place,
                f"The number {shortened(written)} is out of range.",
                f"An INT goes from {INT_MIN} to {INT_MAX}.",
            )
        return value

    def _int_literal(self) -> int:
        token = self._next()
        type_name, _, digits = token.text.partition("#")
        if type_name.upper() != "INT":
            self._fail(
                "syntax",
                token.place,
                f"{token} has a type that there is not here.",
                "Write INT#5, BOOL#1 or T#5s, or the number alone.",
            )
        return self._number(digits, token.place)

    def _bool_literal(self) -> bool:
        token = self._next()
        said = token.text.partition("#")[2].upper()
        if said not in ("0", "1", "TRUE", "FALSE"):
            self._fail("syntax", token.place, f"{token} is no BOOL.", "Write BOOL#0 or BOOL#1.")
        return said in ("1", "TRUE")

    # -- symbols ---------------------------------------------------------------------------------

    def _reference(self, expected: str) -> str:
        """Return a variable, or an output of a block."""
        if self._kind is TokenKind.ADDRESS:
            return self._addressed()
        if self._kind is not TokenKind.OUTPUT_OF_BLOCK:
            return self._symbol(expected)
        fault = reference_fault(self._token.text)
        if fault is not None:
            self._fail("symbol", self._token.place, *fault)
        return self._next().value

    def _target(self, expected: str) -> str:
        """Return a variable that is written."""
        place = self._token.place
        symbol = self._addressed() if self._kind is TokenKind.ADDRESS else self._symbol(expected)
        if symbol in self.constants:
            self._fail(
                "read only",
                place,
                f"{symbol} is a constant and can't be written.",
                "Declare it in VAR, without CONSTANT.",
            )
        return symbol

    def _addressed(self) -> str:
        """Return the symbol that stands at a direct address."""
        token = self._next()
        address = full_address(token.text)
        if address not in self.at_address:
            self._declare_address(token, address)
        return self.at_address[address]

    def _declare_address(self, token: Token, address: str) -> None:
        """Declare a direct address that a rung names. A rung alone has no declarations."""
        self._fail(
            "address",
            token.place,
            f"No symbol is known here for {address}.",
            "Write the symbol of the point.",
        )

    def _type_of(self, name: str) -> DataType | str | None:
        """Return the type of a variable or of a block's output, if it is known."""
        symbol, dot, pin = name.partition(".")
        variable = self.declared.get(symbol)
        if variable is None or not dot:
            return None if variable is None else variable.type
        block = BLOCK_TYPES.get(variable.type)
        pins = {each.name: each.type for each in block.outputs} if block else {}
        return pins.get(pin)


_FUNCTIONS = ("AND", "OR", "XOR", *_COMPARING, *_CALCULATING, MOVE)


def _has_arity(name: str, count: int) -> bool:
    """Return whether a function of this name can have so many inputs."""
    if name == MOVE:
        return count == 1
    return count >= 2 if name in ("AND", "OR", "XOR", "ADD", "MUL") else count == 2
