"""The text form, stage three: statements to rungs. One method a construct."""

from collections.abc import Callable, Sequence
from typing import TypeAlias, TypeVar

from server.ladder.elements import BLOCK_TYPES, NUMERIC, CoilKind, ContactKind
from server.ladder.limits import MAX_BRANCHES, MAX_ELEMENTS, MAX_NESTING, MAX_RUNGS
from server.ladder.messages import Place
from server.ladder.names import REQUIREMENT, SERVES, clean_text
from server.ladder.program import AssignmentStatement, Coil, Contact, Name, Output, Rung, Series
from server.ladder.text_branches import Assigned, Branch, If, number_or_bit, pieces
from server.ladder.text_calls import Call, Received, Wired
from server.ladder.text_expression import Constant, Expression, Value
from server.ladder.text_lexer import Token, TokenKind
from server.ladder.text_lowering import DrawnNetwork, Undrawable, calculate
from server.ladder.text_network import NetworkParser
from server.ladder.text_source import RungSource

T = TypeVar("T")
Outputs: TypeAlias = list[tuple[Output, Place]]
RungParts: TypeAlias = tuple[DrawnNetwork, Outputs]
"""A network and its outputs, each with the places where it was written."""

_POWER_IN = frozenset(block.power_in for block in BLOCK_TYPES.values()) - {"CD"}
_POWER_OUT = frozenset(block.power_out for block in BLOCK_TYPES.values())
_NO_RUNG = {
    "CASE": ("CASE is no rung.", "Write an IF for each value: IF n = 1 THEN … END_IF;"),
    "FOR": (
        "The loop 'FOR' is no rung: a rung is done once a scan.",
        "Count up by one in each scan.",
    ),
    "WHILE": ("The loop 'WHILE' is no rung: a rung is done once a scan.", "Write IF instead."),
    "REPEAT": ("The loop 'REPEAT' is no rung: a rung is done once a scan.", "Write IF instead."),
    "EXIT": ("EXIT leaves a loop, and there are none.", "Leave it out."),
    "CONTINUE": ("CONTINUE is for loops, and there are none.", "Leave it out."),
    "RETURN": (
        "RETURN is not drawn here: every rung is done in every scan.",
        "Put the opposite of its condition into the rungs that it would leave out.",
    ),
    "JMP": (
        "A jump is not drawn here: every rung is done in every scan.",
        "Put the opposite of its condition into the rungs that it would leave out.",
    ),
    "ELSE": ("ELSE stands outside of an IF.", "Write IF … THEN before it."),
    "ELSIF": ("ELSIF stands outside of an IF.", "Write IF … THEN before it."),
    "END_IF": ("END_IF stands outside of an IF.", "Write IF … THEN before it, or leave it out."),
}


class StatementParser(NetworkParser):
    """Reads statements, each as the rungs that one would draw for it."""

    def rungs(self) -> tuple[RungSource, ...]:
        """Return rungs up to the end of the text or of the program."""
        rungs: list[RungSource] = []
        while not self._here("END_PROGRAM") and self._kind is not TokenKind.END:
            if len(rungs) >= MAX_RUNGS:
                self._stop(
                    "limit",
                    f"The program has more than {MAX_RUNGS} rungs.",
                    "Leave out what is not needed.",
                )
            rungs += self._recovering(self._statement) or ()
        self._refuse_comments(
            "The comment has no rung below it.", "Write ';' below it for an empty rung."
        )
        return tuple(rungs)

    def _statement(self) -> tuple[RungSource, ...]:
        start = self._token
        if self._here("VAR", "END_VAR"):
            self._fail(
                "syntax",
                start.place,
                f"{start} stands among the rungs.",
                "Declare above the first rung.",
            )
        self._refuse_other_statements()
        comment = self._comments_before(self._at)
        self._depth = 0
        where = f"in the rung that begins on line {start.line}"
        if self._accept("IF"):
            drawn = self._if(where, start)
        elif self._here(";"):
            drawn = [(DrawnNetwork(Series(), ()), [])]
        else:
            drawn = self._driven() or self._alone()
        self._expect(";", where)
        comment += [*self._comments_before(self._at - 1), *self._comments_behind()]
        written, serves = _served(clean_text("\n".join(comment)))
        rungs = []
        for network, outputs in drawn:
            rung = Rung(network.network, tuple(o for o, _ in outputs), written, serves)
            places = tuple(place for _, place in outputs)
            rungs.append(RungSource(rung, start.place, network.places, places))
            written = ""
        return tuple(rungs)

    def _refuse_other_statements(self) -> None:
        """Refuse what the standard's text has and no rung can be."""
        token = self._token
        word = token.text.upper()
        if word not in _NO_RUNG or self._ahead(1).value in (":=", ",", "("):
            return
        if (
            token.kind is TokenKind.KEYWORD
            or self._ahead(1).kind is TokenKind.WORD
            or (self._ahead(1).value == ";" and word == "CONTINUE")
        ):
            self._fail("syntax", token.place, *_NO_RUNG[word])

    # -- assignments -----------------------------------------------------------------------------

    def _driven(self) -> list[RungParts]:
        """``lamp, NOT horn := network``, ``n := a + b``; nothing where a network begins at once."""
        outputs = self._coils()
        if not outputs:
            return []
        expression = self._expression()
        if self._here(":="):
            self._fail(
                "syntax",
                self._token.place,
                "An assignment stands in an assignment.",
                "Write them one below the other, or the coils before one ':=', as in a, b := c.",
            )
        [(first, place), *others] = outputs
        if others or first.kind is not CoilKind.COIL:
            return [(self._drawn(expression), list(outputs))]
        bit = number_or_bit(expression, self._type_assigned(first.symbol, expression))
        if bit is None:
            wire = DrawnNetwork(Series(), ())
            return [(wire, self._steps(first.symbol, expression, place))]
        if isinstance(bit, Constant) and not bit.value:
            first, bit = Coil(CoilKind.NEGATED, first.symbol), Constant(True, bit.place)
        return [(self._drawn(bit), [(first, place)])]

    def _type_assigned(self, target: str, expression: Expression) -> str | None:
        """Return the type where one number is moved to another, BOOL for a coil."""
        found = self._type_of(target)
        if not isinstance(expression, Value) or not isinstance(expression.operand, Name):
            return found
        numbers = found in (*NUMERIC, "TIME") and self._type_of(expression.operand.symbol) != "BOOL"
        return found if numbers else "BOOL"

    def _coils(self) -> list[tuple[Coil, Place]]:
        """Return the coils in front of ``:=``; none where a network begins at once."""
        negated = self._here("NOT")
        if not self._at_target(negated):
            return []
        if self._ahead(negated + 1).value not in (",", ":="):
            return []
        coils: list[tuple[Coil, Place]] = []
        while not coils or self._accept(","):
            place = self._token.place
            kind = CoilKind.NEGATED if self._accept("NOT") else CoilKind.COIL
            coils.append((Coil(kind, self._target("the symbol of a coil")), place))
        self._expect(":=", "after the coils")
        return coils

    def _steps(self, target: str, expression: Expression, place: Place) -> Outputs:
        return [(self._lowered(lambda: calculate(target, expression)), place)]

    def _lowered(self, lower: Callable[[], T]) -> T:
        try:
            return lower()
        except Undrawable as fault:
            self._fail("syntax", fault.place, fault.text, fault.fix)

    # -- calls and networks without a coil ---------------------------------------------------------

    def _alone(self) -> list[RungParts]:
        """Return a call, ``delay(IN := a, PT := T#5s)``, or a network without an output."""
        start = self._token
        is_call = start.kind is TokenKind.WORD and self._ahead(1).value == "("
        if not is_call:
            return [(self._drawn(self._expression()), [])]
        before = self._at
        depth = len(self.faults)
        name = self._symbol("a block")
        call = self._call(name, start.place)
        standard = any(wired.pin in _POWER_IN | {"CD"} for wired in call.wired) or call.received
        if self._here(";") and standard:
            return self._called_alone(call)
        self._at = before
        del self.faults[depth:]
        return [(self._drawn(self._expression()), [])]

    def _called_alone(self, call: Call) -> list[RungParts]:
        """Return a call as the standard writes it: what it receives is read after the block."""
        power = self._power_in(call)
        block = self._block(
            Call(call.name, tuple(w for w in call.wired if w is not power), (), call.place)
        )
        network = DrawnNetwork(Series(), ()) if power is None else self._drawn(power.value)
        network = DrawnNetwork(
            Series((*network.network.items, block)), (*network.places, call.place)
        )
        outputs: Outputs = []
        others: list[RungParts] = []
        for received in call.received:
            kind = CoilKind.NEGATED if received.negated else CoilKind.COIL
            coil = Coil(kind, received.symbol)
            if received.pin in _POWER_OUT:
                outputs.append((coil, received.place))
            else:
                others.append(self._received(call.name, received, coil))
        return [(network, outputs), *others]

    def _received(self, name: str, received: Received, coil: Coil) -> RungParts:
        output = f"{name}.{received.pin}"
        if received.pin == "CV":
            moved = AssignmentStatement(received.symbol, Name(output))
            return DrawnNetwork(Series(), ()), [(moved, received.place)]
        if received.pin == "QD":
            contact = Contact(ContactKind.OPEN, output)
            return DrawnNetwork(Series((contact,)), (received.place,)), [(coil, received.place)]
        return self._fail(
            "syntax",
            received.place,
            f"{received.pin} of {name} can't be assigned.",
            f"Compare it where it is needed, like {output} > T#2s."
            if received.pin == "ET"
            else "Its outputs are Q, Q1, QU, QD and CV.",
        )

    def _power_in(self, call: Call) -> Wired | None:
        """Return the input that is the power from the left."""
        declared = BLOCK_TYPES.get(self._type_of(call.name) or "")
        if declared is not None:
            pins = frozenset({declared.power_in})
        else:
            # CD is the power of a CTD; of a CTUD, which has CU or R, it is wired.
            counts_both = any(wired.pin in ("CU", "R") for wired in call.wired)
            pins = _POWER_IN if counts_both else _POWER_IN | {"CD"}
        found = [wired for wired in call.wired if wired.pin in pins]
        if len(found) > 1:
            self._fail(
                "syntax",
                found[1].place,
                f"{found[1].pin} of {call.name} is wired twice.",
                "Remove one of the two.",
            )
        return found[0] if found else None

    # -- IF --------------------------------------------------------------------------------------

    def _if(self, where: str, start: Token) -> list[RungParts]:
        coils = self._coils()
        statement = self._branches(where, start.place)
        if coils:
            return [self._with_coils(coils, statement)]
        drawn: list[RungParts] = []
        for piece in self._lowered(lambda: pieces(statement, self._type_of)):
            drawn.append((self._drawn(piece.network), piece.outputs))
        return drawn

    def _with_coils(self, coils: Sequence[tuple[Coil, Place]], statement: If) -> RungParts:
        """Coils and what acts with power, on one rung."""
        found = self._lowered(lambda: pieces(statement, self._type_of))
        if len(found) > 1 or len(statement.branches) > 1:
            self._fail(
                "syntax",
                coils[0][1],
                "A coil stands after an IF that takes several rungs.",
                "Give the coil a rung of its own.",
            )
        return self._drawn(found[0].network), [*coils, *found[0].outputs]

    def _branches(self, where: str, place: Place, depth: int = 1) -> If:
        if depth > MAX_NESTING:
            self._stop(
                "limit",
                f"More than {MAX_NESTING} IFs are open.",
                "Join their conditions with AND.",
            )
        branches = [self._branch(where, depth, self._expression())]
        while self._here("ELSIF"):
            if len(branches) == MAX_BRANCHES:
                self._stop(
                    "limit",
                    f"An IF has more than {MAX_BRANCHES} branches.",
                    "Write several IFs.",
                )
            self._next()
            branches.append(self._branch(where, depth, self._expression()))
        if self._accept("ELSE"):
            branches.append(Branch(None, self._body(where, depth)))
        self._expect("END_IF", where)
        return If(tuple(branches), place)

    def _branch(self, where: str, depth: int, condition: Expression) -> Branch:
        self._expect("THEN", where)
        return Branch(condition, self._body(where, depth))

    def _body(self, where: str, depth: int) -> tuple[Assigned | If, ...]:
        body: list[Assigned | If] = []
        while not self._here("END_IF", "ELSIF", "ELSE") or not body:
            if len(body) == MAX_ELEMENTS:
                self._stop(
                    "limit",
                    f"A branch of an IF has more than {MAX_ELEMENTS} statements.",
                    "Write several IFs.",
                )
            start = self._token
            if self._accept("IF"):
                body.append(self._branches(where, start.place, depth + 1))
                self._expect(";", where)
            else:
                body.append(self._action(where))
        return tuple(body)

    def _action(self, where: str) -> Assigned:
        start = self._token
        if not self._here("END_IF"):
            self._refuse_other_statements()
        if not self._at_target():
            self._refuse("an action like 'lamp := TRUE;' or END_IF", where)
        if self._ahead(1).value == "(":
            self._fail(
                "syntax",
                start.place,
                f"{start.value} is called under a condition, and a rung calls it in each scan.",
                f"Call {start.value} above the IF, and give the condition to its input.",
            )
        assigned = self._acted()
        self._expect(";", f"after the action on {start.value}")
        return assigned

    def _acted(self) -> Assigned:
        place = self._token.place
        target = self._target("a symbol")
        self._expect(":=", f"after {target}")
        return Assigned(target, self._expression("TRUE, FALSE, a symbol or a number"), place)


def _served(comment: str) -> tuple[str, tuple[str, ...]]:
    """Return the comment without the requirements in front of it, and those."""
    match = SERVES.match(comment)
    if match is None:
        return comment, ()
    return comment[match.end() :], tuple(REQUIREMENT.findall(match[1]))
