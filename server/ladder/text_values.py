"""The text form, stage two: tokens to values and symbols."""

from collections.abc import Iterable

from server.ladder.durations import parse_duration
from server.ladder.elements import BLOCK_TYPES, INT_MAX, INT_MIN, WORD_MAX, DataType
from server.ladder.messages import Place
from server.ladder.names import bit_of, full_address, reference_fault, shortened
from server.ladder.program import Base, Duration, Name, Number, Operand, Variable
from server.ladder.text_cursor import Cursor
from server.ladder.text_lexer import Token, TokenKind

_BASES: dict[str, Base] = {"2": 2, "8": 8, "16": 16}


class ValueParser(Cursor):
    """Reads operands. ``declared`` is what is known of symbols; nothing for a rung alone."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.declared: dict[str, Variable] = {}
        self.at_address: dict[str, str] = {}
        self.constants: set[str] = set()

    def know(self, declared: Iterable[Variable]) -> None:
        """Read what follows as below these declarations."""
        self.declared = {variable.symbol: variable for variable in declared}

    def _operand(self, expected: str) -> Operand:
        token = self._token
        if token.kind is TokenKind.DURATION:
            self._next()
            try:
                return Duration(parse_duration(token.text))
            except ValueError as fault:
                self._fail("syntax", token.place, f"{token} is no duration.", str(fault))
        if token.kind is TokenKind.LITERAL:
            return self._typed_literal()
        if token.kind is TokenKind.ADDRESS:
            return Name(self._addressed())
        minus = "-" if self._accept("-") else ""
        if self._kind is TokenKind.NUMBER:
            return self._number(minus + self._next().text, token.place)
        if minus:
            self._refuse("a number", "after '-'")
        return Name(self._reference(expected))

    def _number(self, written: str, place: Place) -> Number:
        """Read ``-5``, ``1_000``, ``16#FF``."""
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
            radix: Base = _BASES[base] if hash_sign else 10
            value = sign * int(digits[:20], radix)
        except (ValueError, KeyError):
            self._fail(
                "syntax",
                place,
                f"{shortened(written)} is no number.",
                "Write one like 255, 16#FF, 8#377 or 2#1111_1111.",
            )
        # Bits are written in a base of their own, and not as a negative number.
        most = WORD_MAX if hash_sign and sign > 0 else INT_MAX
        if not INT_MIN <= value <= most or len(digits) > 20:
            self._fail(
                "syntax",
                place,
                f"The number {shortened(written)} is out of range.",
                f"A WORD goes from 16#0000 to 16#{WORD_MAX:04X}."
                if most > INT_MAX
                else f"An INT goes from {INT_MIN} to {INT_MAX}.",
            )
        return Number(value, radix if sign > 0 else 10)

    def _typed_literal(self) -> Number:
        token = self._next()
        type_name, _, digits = token.text.partition("#")
        if type_name.upper() not in ("INT", "WORD"):
            self._fail(
                "syntax",
                token.place,
                f"{token} has a type that there is not here.",
                "Write INT#5, WORD#16#00FF, BOOL#1 or T#5s, or the number alone.",
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
        """Return a variable that is written, or a bit of one."""
        place = self._token.place
        symbol = self._reference(expected) if self._at_target() else self._symbol(expected)
        if symbol in self.constants:
            self._fail(
                "read only",
                place,
                f"{symbol} is a constant and can't be written.",
                "Declare it in VAR, without CONSTANT.",
            )
        return symbol

    def _at_target(self, ahead: int = 0) -> bool:
        """Return whether a token names what can be written."""
        token = self._ahead(ahead)
        return token.kind in (TokenKind.WORD, TokenKind.ADDRESS) or (
            token.kind is TokenKind.OUTPUT_OF_BLOCK and bit_of(token.value) is not None
        )

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
        if bit_of(name):
            return "BOOL"
        variable = self.declared.get(symbol)
        if variable is None or not dot:
            return None if variable is None else variable.type
        block = BLOCK_TYPES.get(variable.type)
        pins = {each.name: each.type for each in block.outputs} if block else {}
        return pins.get(pin)
