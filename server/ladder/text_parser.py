"""The text form, stage four: declarations and whole programs. One method a construct."""

from server.ladder.elements import BLOCK_TYPES, DATA_TYPES, INT_MAX, CoilKind
from server.ladder.limits import MAX_VARIABLES
from server.ladder.messages import Place
from server.ladder.names import address_fault, article, declared_fault, shortened, symbol_fault
from server.ladder.program import (
    BlockInput,
    Coil,
    Duration,
    Number,
    Output,
    Program,
    Series,
    Variable,
)
from server.ladder.text_branches import number_or_bit
from server.ladder.text_calls import Wired
from server.ladder.text_expression import Constant, Joined, Not, Value
from server.ladder.text_lexer import Token, TokenKind
from server.ladder.text_lowering import calculate
from server.ladder.text_source import Source
from server.ladder.text_statements import StatementParser

_INITIAL_MEND = {
    "BOOL": "Write TRUE or FALSE.",
    "INT": "Write a number.",
    "TIME": "Write a duration like T#2s.",
    "WORD": "Write 16 bits like 16#00FF.",
}


_SECTIONS = {
    "VAR_INPUT": "its inputs stand at addresses like %IX0.0",
    "VAR_OUTPUT": "its outputs stand at addresses like %QX0.0",
    "VAR_IN_OUT": "nothing is handed to it by reference",
    "VAR_TEMP": "every variable keeps its value until the next scan",
    "VAR_EXTERNAL": "there is nothing outside of it",
    "VAR_GLOBAL": "there is nothing outside of it",
    "VAR_ACCESS": "there is nothing outside of it",
    "VAR_CONFIG": "there is nothing outside of it",
}
"""What the standard declares elsewhere, and why a program here does not."""
_UNITS = ("CONFIGURATION", "RESOURCE", "FUNCTION", "FUNCTION_BLOCK", "CLASS", "TYPE", "NAMESPACE")


class Parser(StatementParser):
    """Reads one text: a program, some rungs, or a network.

    A text that is ``stored`` may declare what was no keyword when it was written.
    """

    def __init__(self, text: str, *, stored: bool = False) -> None:
        super().__init__(text)
        self._declared_fault = symbol_fault if stored else declared_fault
        self._in_program = False
        self._found: list[tuple[Variable, Place]] = []

    # -- whole texts ---------------------------------------------------------------------------

    def program(self) -> Source:
        """``PROGRAM name``, declarations, rungs, ``END_PROGRAM``."""
        comment = self._comments_before(self._at)
        name = self._header()
        self._in_program = True
        comment += self._comments_behind()
        while self._here("VAR") or self._token.text.upper() in _SECTIONS:
            comment += self._comments_before(self._at)
            self._declarations()
        rungs = self.rungs()
        if not self._accept("END_PROGRAM"):
            if not self.faults:
                self._note(
                    "syntax",
                    self._token.place,
                    "END_PROGRAM is missing.",
                    "Write it below the last rung.",
                )
        elif self._kind is not TokenKind.END:
            self._note(
                "syntax",
                self._token.place,
                "The text goes on after END_PROGRAM.",
                "Hand in one program at a time.",
            )
        comment += self._comments_before(self._at)
        program = Program(
            name,
            tuple(variable for variable, _ in self._found),
            tuple(source.rung for source in rungs),
            "\n".join(comment),
        )
        return Source(program, tuple(place for _, place in self._found), rungs)

    def network(self) -> Series:
        """Return a network alone up to the end of the text; an empty text is a wire."""
        network = Series() if self._kind is TokenKind.END else self._network().network
        self._end("AND, OR or the end")
        return network

    def input(self) -> BlockInput:
        """Return one wired input of a block alone: ``PT := T#5s``."""
        wired = self._argument("of the block")
        self._end("the end")
        if not isinstance(wired, Wired):
            self._fail("syntax", wired.place, "This is no input.", "Write one like PT := T#5s.")
        return self._wired("the block", wired)

    def output(self) -> Output:
        """Return one output alone: ``lamp``, ``NOT lamp``, ``lamp := TRUE``, ``n := n + 1``."""
        if any(token.value == ":=" for token in self._tokens):
            output = self._one_action()
        else:
            kind = CoilKind.NEGATED if self._accept("NOT") else CoilKind.COIL
            output = Coil(kind, self._target("the symbol of a coil"))
        self._end("the end")
        return output

    def _one_action(self) -> Output:
        """``lamp := TRUE``, ``n := n + 1``: what one output of a rung does."""
        assigned = self._acted()
        # One output has no declarations. What joins operands in it joins bits: it is no network.
        joins = isinstance(assigned.expression, Joined | Not)
        bit = None if joins else number_or_bit(assigned.expression, self._type_of(assigned.target))
        if isinstance(bit, Constant):
            return Coil(CoilKind.SET if bit.value else CoilKind.RESET, assigned.target)
        if bit is not None:
            self._fail(
                "syntax",
                bit.place,
                f"{assigned.target} gets the state of a network here.",
                "Put the network into the rung; an output is set with TRUE and reset with FALSE.",
            )
        return self._lowered(lambda: calculate(assigned.target, assigned.expression))

    def _end(self, expected: str) -> None:
        if self._kind is not TokenKind.END:
            self._refuse(expected)
        self._refuse_comments("A comment can't stand here.", "Put it above the rung.")

    # -- declarations --------------------------------------------------------------------------

    def _header(self) -> str:
        unit = self._token.text.upper()
        if unit in _UNITS:
            self._stop(
                "syntax",
                f"{unit} is no program.",
                "Hand in one PROGRAM … END_PROGRAM, with its rungs in it.",
            )
        self._expect("PROGRAM", "at the beginning")
        return self._new_symbol("the name of the program")

    def _new_symbol(self, expected: str) -> str:
        if self._kind is TokenKind.WORD and (fault := self._declared_fault(self._token.text)):
            self._fail("symbol", self._token.place, *fault)
        return self._symbol(expected)

    def _declarations(self) -> None:
        opening = self._next()
        section = opening.text.upper()
        if section in _SECTIONS:
            self._note(
                "syntax",
                opening.place,
                f"A program has no {section} here: {_SECTIONS[section]}.",
                "Declare in VAR, VAR RETAIN or VAR CONSTANT.",
            )
        retain, constant = self._qualifiers()
        while self._kind in (TokenKind.WORD, TokenKind.ADDRESS) or not (
            self._here("END_VAR", "VAR", "IF", "END_PROGRAM") or self._kind is TokenKind.END
        ):
            if len(self._found) >= MAX_VARIABLES:
                self._stop(
                    "limit",
                    f"The program declares more than {MAX_VARIABLES} variables.",
                    "Leave out what is not needed.",
                )
            self._recovering(lambda: self._declaration(retain, constant))
        self._refuse_comments(
            "The comment has no declaration below it.", "Put it above or after a declaration."
        )
        if not self._accept("END_VAR"):
            self._stop(
                "syntax",
                f"END_VAR is missing: the {section} of line {opening.line} is open.",
                "Write END_VAR below the last declaration.",
            )

    def _qualifiers(self) -> tuple[bool, bool]:
        """``RETAIN`` and ``CONSTANT``; without NON_RETAIN it is the same here."""
        place = self._token.place
        retain = self._accept("RETAIN")
        if self._kind is TokenKind.WORD and self._token.text.upper() == "NON_RETAIN":
            self._next()
        constant = self._accept("CONSTANT")
        if constant and (retain or self._accept("RETAIN")):
            self._note(
                "syntax",
                place,
                "A constant keeps its value anyhow.",
                "Write VAR CONSTANT, without RETAIN.",
            )
        return retain, constant

    def _declaration(self, retain: bool, constant: bool) -> None:
        """Read a declaration of one symbol or several: ``a, b : BOOL := TRUE;``."""
        comment = self._comments_before(self._at)
        first = self._token
        symbols: list[tuple[str, Place]] = []
        if not self._here("AT"):
            symbols.append((self._new_symbol("a symbol to declare"), first.place))
        while symbols and self._accept(","):
            symbols.append((self._new_symbol("a symbol to declare"), self._before.place))
        where = f"in the declaration of {symbols[0][0] if symbols else 'a direct address'}"
        address: Token | None = self._address() if self._accept("AT") else None
        if address is not None and len(symbols) > 1:
            self._fail(
                "address",
                address.place,
                f"{len(symbols)} symbols have one address.",
                "Declare each with an address of its own.",
            )
        self._expect(":", where)
        data_type = self._type()
        initial = self._initial(data_type) if self._accept(":=") else None
        if address is not None and (fault := address_fault(address.value, data_type)):
            self._fail("address", address.place, *fault)
        if address is not None and not symbols:
            symbols.append((self._symbol_of(address), first.place))
        self._expect(";", where)
        comment += self._comments_behind()
        direct = None if address is None else address.value
        for symbol, place in symbols:
            variable = Variable(symbol, data_type, direct, initial, retain, " ".join(comment))
            self._declare(variable, place)
            if constant:
                self.constants.add(symbol)

    def _declare(self, variable: Variable, place: Place) -> None:
        self._found.append((variable, place))
        self.declared.setdefault(variable.symbol, variable)
        if variable.address is not None:
            self.at_address.setdefault(variable.address, variable.symbol)

    def _type(self) -> str:
        token = self._next()
        data_type = token.text.upper()
        if data_type not in DATA_TYPES and data_type not in BLOCK_TYPES:
            self._fail(
                "type",
                token.place,
                f"The type {token} is not known.",
                f"The types are {', '.join((*DATA_TYPES, *BLOCK_TYPES))}.",
            )
        return data_type

    def _declare_address(self, token: Token, address: str) -> None:
        """Declare a direct address that a rung names, under a symbol made from it."""
        if not self._in_program:
            super()._declare_address(token, address)
        data_type = "INT" if address[2:3] == "W" else "BOOL"
        if fault := address_fault(address, data_type):
            self._fail("address", token.place, *fault)
        symbol = self._symbol_of(token)
        self._declare(Variable(symbol, data_type, address), token.place)

    def _symbol_of(self, address: Token) -> str:
        """``ix0_0`` for ``%IX0.0``."""
        symbol = address.value[1:].replace(".", "_").lower()
        if symbol in self.declared:
            self._fail(
                "address",
                address.place,
                f"{address} has no symbol, and {symbol} is declared already.",
                f"Declare a symbol at {address}.",
            )
        return symbol

    def _address(self) -> Token:
        if self._kind is not TokenKind.ADDRESS:
            self._refuse("a direct address like %IX0.0", "after AT")
        return self._next()

    def _initial(self, data_type: str) -> int:
        start = self._token
        if data_type in BLOCK_TYPES or self._here("("):
            literal = None
        else:
            literal = self._factor("an initial value")
        match data_type, literal:
            case "BOOL", Constant(value):
                return int(value)
            case "INT", Value(Number(value)) if value <= INT_MAX:
                return value
            case "WORD", Value(Number(value)) if value >= 0:
                return value
            case "TIME", Value(Duration(value)):
                return value
            case "BOOL", Value(Number(value)) if value in (0, 1):
                return value
        return self._fail(
            "type",
            start.place,
            f"{shortened(start.text)} is no initial value of {article(data_type)}.",
            _INITIAL_MEND.get(data_type, "A block has none: leave it out."),
        )
