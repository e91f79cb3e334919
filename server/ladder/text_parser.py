"""The text form, stage three: rungs, declarations and whole programs. One method a construct."""

import re

from server.ladder.elements import BLOCK_TYPES, DATA_TYPES, CoilKind, Operator
from server.ladder.limits import MAX_RUNGS, MAX_VARIABLES
from server.ladder.messages import Place
from server.ladder.names import REQUIREMENT, address_fault, article, clean_text
from server.ladder.program import (
    AssignmentStatement,
    BlockInput,
    Coil,
    Duration,
    Number,
    Output,
    Program,
    Rung,
    Series,
    Variable,
)
from server.ladder.text_lexer import Token, TokenKind
from server.ladder.text_network import NetworkParser
from server.ladder.text_source import RungSource, Source

SERVES = re.compile(rf"\[((?:{REQUIREMENT.pattern}(?:\s*,\s*{REQUIREMENT.pattern})*)?)\][ \t]*")
"""Requirements a rung serves, in front of its comment: ``[R1, R2a]``; ``[]`` names none."""

_INITIAL_MEND = {
    "BOOL": "Write TRUE or FALSE.",
    "INT": "Write a number.",
    "TIME": "Write a duration like T#2s.",
}
_OPERATORS = frozenset(map(str, Operator))


class Parser(NetworkParser):
    """Reads one text: a program, some rungs, or a network."""

    # -- whole texts ---------------------------------------------------------------------------

    def program(self) -> Source:
        """``PROGRAM name``, declarations, rungs, ``END_PROGRAM``."""
        comment = self._comments_before(self._at)
        name = self._header()
        comment += self._comments_behind()
        declared: list[tuple[Variable, Place]] = []
        while self._here("VAR"):
            comment += self._comments_before(self._at)
            declared += self._declarations()
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
                "The text goes on behind END_PROGRAM.",
                "Hand in one program at a time.",
            )
        comment += self._comments_before(self._at)
        program = Program(
            name,
            tuple(variable for variable, _ in declared),
            tuple(source.rung for source in rungs),
            "\n".join(comment),
        )
        return Source(program, tuple(place for _, place in declared), rungs)

    def rungs(self) -> tuple[RungSource, ...]:
        """Rungs up to the end of the text or of the program."""
        rungs: list[RungSource] = []
        while not self._here("END_PROGRAM") and self._kind is not TokenKind.END:
            if len(rungs) == MAX_RUNGS:
                self._stop(
                    "limit",
                    f"The program has more than {MAX_RUNGS} rungs.",
                    "Leave out what is not needed.",
                )
            rung = self._recovering(self._rung)
            if rung is not None:
                rungs.append(rung)
        self._refuse_comments(
            "The comment has no rung below it.", "Write ';' below it for an empty rung."
        )
        return tuple(rungs)

    def network(self) -> Series:
        """A network alone up to the end of the text; an empty text is a wire."""
        network = Series() if self._kind is TokenKind.END else self._network()
        self._end("AND, OR or the end")
        return network

    def input(self) -> BlockInput:
        """One wired input of a block alone: ``PT := T#5s``."""
        wired = self._input("of the block")
        self._end("the end")
        return wired

    def output(self) -> Output:
        """One output alone: ``lamp``, ``NOT lamp``, ``lamp := TRUE``, ``n := n + 1``."""
        output: Output
        if self._accept("NOT"):
            output = Coil(CoilKind.NEGATED, self._symbol("the symbol of a coil"))
        elif any(token.value == ":=" for token in self._tokens):
            output = self._acted()
        else:
            output = Coil(CoilKind.COIL, self._symbol("the symbol of a coil"))
        self._end("the end")
        return output

    def _end(self, expected: str) -> None:
        if self._kind is not TokenKind.END:
            self._refuse(expected)
        self._refuse_comments("A comment can't stand here.", "Put it above the rung.")

    # -- declarations --------------------------------------------------------------------------

    def _header(self) -> str:
        self._expect("PROGRAM", "at the beginning")
        return self._symbol("the name of the program")

    def _declarations(self) -> list[tuple[Variable, Place]]:
        opening = self._next()
        retain = self._accept("RETAIN")
        declared: list[tuple[Variable, Place]] = []
        while self._kind is TokenKind.WORD or not (
            self._here("END_VAR", "VAR", "IF", "END_PROGRAM") or self._kind is TokenKind.END
        ):
            if len(declared) == MAX_VARIABLES:
                self._stop(
                    "limit",
                    f"The program declares more than {MAX_VARIABLES} variables.",
                    "Leave out what is not needed.",
                )
            place = self._token.place
            variable = self._recovering(lambda: self._declaration(retain))
            if variable is not None:
                declared.append((variable, place))
        self._refuse_comments(
            "The comment has no declaration below it.", "Put it above or behind a declaration."
        )
        if not self._accept("END_VAR"):
            self._stop(
                "syntax",
                f"END_VAR is missing: the VAR of line {opening.line} is open.",
                "Write END_VAR below the last declaration.",
            )
        return declared

    def _declaration(self, retain: bool) -> Variable:
        comment = self._comments_before(self._at)
        symbol = self._symbol("a symbol to declare")
        where = f"in the declaration of {symbol}"
        address: Token | None = self._address() if self._accept("AT") else None
        self._expect(":", where)
        type_token = self._next()
        data_type = type_token.text.upper()
        if data_type not in DATA_TYPES and data_type not in BLOCK_TYPES:
            self._fail(
                "type",
                type_token.place,
                f"The type {type_token} is not known.",
                f"The types are {', '.join((*DATA_TYPES, *BLOCK_TYPES))}.",
            )
        initial = self._initial(data_type) if self._accept(":=") else None
        if address is not None and (fault := address_fault(address.value, data_type)):
            self._fail("address", address.place, *fault)
        self._expect(";", where)
        comment += self._comments_behind()
        direct = None if address is None else address.value
        return Variable(symbol, data_type, direct, initial, retain, " ".join(comment))

    def _address(self) -> Token:
        if self._kind is not TokenKind.ADDRESS:
            self._refuse("a direct address like %IX0.0", "behind AT")
        return self._next()

    def _initial(self, data_type: str) -> int:
        start = self._token
        if data_type == "BOOL" and self._here("TRUE", "FALSE"):
            return int(self._next().value == "TRUE")
        literal = self._operand("an initial value") if data_type in ("INT", "TIME") else None
        if data_type == "INT" and isinstance(literal, Number):
            return literal.value
        if data_type == "TIME" and isinstance(literal, Duration):
            return literal.ms
        return self._fail(
            "type",
            start.place,
            f"{start} is no initial value of {article(data_type)}.",
            _INITIAL_MEND.get(data_type, "A block has none: leave it out."),
        )

    # -- rungs ---------------------------------------------------------------------------------

    def _rung(self) -> RungSource:
        start = self._token
        if self._here("VAR", "END_VAR"):
            self._fail(
                "syntax",
                start.place,
                f"{start} stands among the rungs.",
                "Declare above the first rung.",
            )
        comment = self._comments_before(self._at)
        self._elements, self._depth = [], 0
        outputs: list[tuple[Output, Place]] = []
        network = Series()
        where = f"in the rung that begins on line {start.line}"
        if self._accept("IF"):
            outputs += self._coils()
            network = self._network()
            self._expect("THEN", where)
            outputs.append(self._action(where))
            while not self._accept("END_IF"):
                outputs.append(self._action(where))
        elif not self._here(";"):
            outputs += self._coils()
            network = self._network()
        self._expect(";", where)
        comment += [*self._comments_before(self._at - 1), *self._comments_behind()]
        written, serves = _served(clean_text("\n".join(comment)))
        rung = Rung(network, tuple(output for output, _ in outputs), written, serves)
        places = tuple(place for _, place in outputs)
        return RungSource(rung, start.place, tuple(self._elements), places)

    def _coils(self) -> list[tuple[Output, Place]]:
        """The coils in front of ``:=``; none where a network begins at once."""
        name = self._at + self._here("NOT")
        if self._tokens[name].kind is not TokenKind.WORD:
            return []
        if self._tokens[name + 1].value not in (",", ":="):
            return []
        coils: list[tuple[Output, Place]] = []
        while not coils or self._accept(","):
            place = self._token.place
            kind = CoilKind.NEGATED if self._accept("NOT") else CoilKind.COIL
            coils.append((Coil(kind, self._symbol("the symbol of a coil")), place))
        self._expect(":=", "behind the coils")
        return coils

    def _action(self, where: str) -> tuple[Output, Place]:
        start = self._token
        if start.kind is not TokenKind.WORD:
            self._refuse("an action like 'lamp := TRUE;' or END_IF", where)
        output = self._acted()
        self._expect(";", f"behind the action on {start.value}")
        return output, start.place

    def _acted(self) -> Output:
        target = self._symbol("a symbol")
        self._expect(":=", f"behind {target}")
        if self._here("TRUE", "FALSE"):
            kind = CoilKind.SET if self._next().value == "TRUE" else CoilKind.RESET
            return Coil(kind, target)
        left = self._operand("TRUE, FALSE, a symbol or a number")
        if not self._here(*_OPERATORS):
            return AssignmentStatement(target, left)
        operator = Operator(self._next().value)
        return AssignmentStatement(target, left, operator, self._operand("a symbol or a number"))


def _served(comment: str) -> tuple[str, tuple[str, ...]]:
    """The comment without the requirements in front of it, and those."""
    match = SERVES.match(comment)
    if match is None:
        return comment, ()
    return comment[match.end() :], tuple(REQUIREMENT.findall(match[1]))
