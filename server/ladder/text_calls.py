"""The text form, stage two: calls, ``name(…)``, and the blocks that they wire."""

from abc import ABC, abstractmethod
from dataclasses import dataclass

from server.ladder.limits import MAX_NESTING
from server.ladder.messages import Place
from server.ladder.names import listed
from server.ladder.program import Block, BlockInput, Duration, Name, Number, Operand
from server.ladder.text_expression import Expression, Not, Value
from server.ladder.text_functions import FUNCTIONS, WORDS
from server.ladder.text_lexer import TokenKind
from server.ladder.text_values import ValueParser

A_VALUE = "a symbol, number or duration"


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


class CallParser(ValueParser, ABC):
    """Reads calls. What stands between their parentheses is an expression."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self._depth = 0

    @abstractmethod
    def _expression(self, expected: str) -> Expression:
        """Return an expression; ``expected`` says what it may begin with."""

    def _enter(self) -> None:
        self._depth += 1
        if self._depth > MAX_NESTING:
            self._stop(
                "limit",
                f"More than {MAX_NESTING} parentheses are open.",
                "Build the rung with fewer branches inside each other.",
            )

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
                return Wired(pin, self._expression(A_VALUE), start.place)
            if not self._kind_of_value():
                self._refuse("an input like 'PT := T#5s'", where)
            return Wired(None, self._expression(A_VALUE), start.place)
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
        ) or self._here("NOT", "TRUE", "FALSE", "(", "-", *WORDS)

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
                f"{listed(FUNCTIONS)}.",
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
