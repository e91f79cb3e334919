"""What is wrong with a program, all at once: errors here, advice from ``advice``.

A program without errors compiles and runs.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from functools import lru_cache

from server.ladder.advice import advise
from server.ladder.bounds import over_limits
from server.ladder.elements import (
    BLOCK_TYPES,
    DATA_TYPES,
    INT_MAX,
    NUMERIC,
    BlockType,
    Pin,
    PinType,
)
from server.ladder.limits import RUNGS_REMEMBERED
from server.ladder.messages import Message, Place, Severity, error, in_rung
from server.ladder.names import address_fault, article, bit_of, listed, symbol_fault
from server.ladder.points import Direction, PointDeclaration, direction_of
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Formula,
    Name,
    Number,
    Operand,
    Output,
    Program,
    Rung,
    Variable,
    walk,
)
from server.ladder.references import Usage, occurrences_in
from server.ladder.text_printer import print_operand, print_value


def validate(program: Program, points: Sequence[PointDeclaration] = ()) -> tuple[Message, ...]:
    """Return every fault and every piece of advice; errors first, then warnings, then notes.

    ``points`` is the exercise's table; without one, only the program itself is looked at.
    """
    messages = [*errors(program), *advise(program, points)]
    return tuple(sorted(messages, key=lambda message: _RANK[message.severity]))


def errors(program: Program) -> tuple[Message, ...]:
    """Only what keeps the program from running."""
    checker = _checker(program.variables)
    return (
        *over_limits(program),
        *checker.of_declarations,
        *(
            message
            for index, rung in enumerate(program.rungs)
            for message in in_rung(index, _of_rung(checker, rung))
        ),
        *checker.calls(program),
    )


@lru_cache(256)
def _checker(variables: tuple[Variable, ...]) -> "_Checker":
    return _Checker(variables)


@lru_cache(RUNGS_REMEMBERED)
def _of_rung(checker: "_Checker", rung: Rung) -> tuple[Message, ...]:
    return tuple(checker.rung(rung))


class _Checker:
    """Some declarations, and the rules that need them."""

    def __init__(self, variables: tuple[Variable, ...]) -> None:
        self._variables = {variable.symbol: variable for variable in reversed(variables)}
        self.of_declarations = tuple(self._declarations(variables))

    def rung(self, rung: Rung) -> Iterator[Message]:
        for path, element in walk(rung.network):
            yield from self._element(element, Place(path=path))
        for number, output in enumerate(rung.outputs):
            yield from self._output(output, Place(output=number))

    # -- declarations --------------------------------------------------------------------------

    def _declarations(self, variables: tuple[Variable, ...]) -> Iterator[Message]:
        addressed: dict[str, str] = {}
        for variable in variables:
            place = Place(symbol=variable.symbol)
            if variable is not self._variables[variable.symbol]:
                yield error(
                    "duplicate",
                    place,
                    f"{variable.symbol} is declared twice.",
                    "Rename or remove one of the two.",
                )
            if fault := symbol_fault(variable.symbol):
                yield error("symbol", place, *fault)
            if variable.type not in DATA_TYPES and variable.type not in BLOCK_TYPES:
                yield error(
                    "type",
                    place,
                    f"{variable.symbol} has the unknown type {variable.type}.",
                    f"The types are {', '.join((*DATA_TYPES, *BLOCK_TYPES))}.",
                )
            if variable.address is None:
                continue
            if fault := address_fault(variable.address, variable.type):
                yield error("address", place, *fault)
            other = addressed.setdefault(variable.address, variable.symbol)
            if other != variable.symbol:
                yield error(
                    "duplicate",
                    place,
                    f"{variable.symbol} has the same address as {other}, {variable.address}.",
                    "Use one of the two symbols everywhere.",
                )

    # -- elements ------------------------------------------------------------------------------

    def _element(self, element: Element, place: Place) -> Iterator[Message]:
        match element:
            case Contact(_, symbol):
                yield from self._needs(
                    "BOOL", symbol, place, "a contact", "Use a comparison on it."
                )
            case Comparison(left, _, right):
                yield from self._comparison(left, right, place)
            case Block():
                yield from self._block(element, place)

    def _comparison(self, left: Operand, right: Operand, place: Place) -> Iterator[Message]:
        types = [self._type_of(operand, place) for operand in (left, right)]
        yield from (found for found in types if isinstance(found, Message))
        if any(isinstance(found, Message) for found in types):
            return
        if "BOOL" in types:
            symbol = print_operand(left if types[0] == "BOOL" else right)
            yield error(
                "type",
                place,
                f"{symbol} is a BOOL; a comparison takes numbers or durations.",
                "Use a contact on it.",
            )
        elif not (_fits(left, types[0], types[1]) or _fits(right, types[1], types[0])):
            yield error(
                "type",
                place,
                f"{print_operand(left)} is {article(str(types[0]))} and "
                f"{print_operand(right)} {article(str(types[1]))}.",
                "Convert one of them, like WORD_TO_INT."
                if set(types) == set(NUMERIC)
                else "Compare two numbers or two durations.",
            )
        elif all(isinstance(side, Name) and "." in side.symbol for side in (left, right)) and (
            types[0] == "TIME"
        ):
            yield error(
                "type",
                place,
                f"{print_operand(left)} and {print_operand(right)} are both elapsed times.",
                "Compare an elapsed time with a duration, like T#5s.",
            )

    def _block(self, block: Block, place: Place) -> Iterator[Message]:
        variable = self._variables.get(block.instance)
        if variable is None:
            yield self._undeclared(block.instance, place)
            return
        block_type = BLOCK_TYPES.get(variable.type)
        if block_type is None:
            yield error(
                "type",
                place,
                f"{block.instance} is {article(variable.type)} and no function block.",
                "Use a contact or a comparison on it, or declare a block.",
            )
            return
        known = {pin.name: pin for pin in block_type.inputs}
        for wired in block.inputs:
            if wired.pin in known:
                yield from self._input(block.instance, known[wired.pin], wired, place)
            else:
                yield _unknown_input(block.instance, block_type, wired.pin, place)
        count = Counter(wired.pin for wired in block.inputs)
        for pin in block_type.inputs:
            if count[pin.name] > 1:
                yield error(
                    "input",
                    place,
                    f"{pin.name} of {block.instance} is wired twice.",
                    "Remove one of the two.",
                )
            elif pin.required and not count[pin.name]:
                yield error(
                    "input",
                    place,
                    f"{pin.name} of {block.instance} is not wired.",
                    f"Give it {_EXAMPLES[pin.type]}.",
                )

    def _input(self, instance: str, pin: Pin, wired: BlockInput, place: Place) -> Iterator[Message]:
        what = f"{pin.name} of {instance}"
        match pin.type, wired.operand:
            case ("TIME", Duration()):
                return
            case ("INT", Number(value)) if value <= INT_MAX:
                return
            case "TIME" | "INT", Name(symbol) if symbol.startswith(f"{instance}.") or (
                pin.type == "TIME" and "." in symbol
            ):
                yield error(
                    "input",
                    place,
                    f"{what} can't be {symbol}: a preset is no time or count that runs.",
                    f"Give it {_EXAMPLES[pin.type]}, or a variable.",
                )
            case wanted, Name(symbol):
                fix = "a BOOL" if wanted == "BOOL" else _EXAMPLES[wanted]
                yield from self._needs(wanted, symbol, place, what, f"Give it {fix}.")
            case _:
                yield error(
                    "input",
                    place,
                    f"{what} can't be {print_operand(wired.operand)}.",
                    f"Give it {_EXAMPLES[pin.type]}.",
                )

    # -- outputs -------------------------------------------------------------------------------

    def _output(self, output: Output, place: Place) -> Iterator[Message]:
        match output:
            case Coil(kind, symbol):
                yield from self._target(
                    "BOOL", symbol, place, f"a {kind}", "Assign a number to it."
                )
            case AssignmentStatement(target):
                yield from self._assignment(target, output, place)

    def _assignment(
        self, target: str, output: AssignmentStatement, place: Place
    ) -> Iterator[Message]:
        allowed = NUMERIC if output.operator is None else output.operator.row.result
        found = self._named_type(target)
        result = next((each for each in allowed if each == found), allowed[0])
        what = f"{output.operator} in an assignment" if result == "WORD" else "an assignment"
        fix = _WORD_FIX if result == "WORD" else _INT_FIX
        yield from self._target(result, target, place, what, fix)
        for pin, operand in zip(output.pins, output.operands, strict=True):
            wanted = result if pin.type == "ANY" else pin.type
            yield from self._calculated(pin.name, wanted, operand, place)

    def _calculated(
        self, pin: str, wanted: PinType, value: Calculated, place: Place
    ) -> Iterator[Message]:
        if not isinstance(value, Formula):
            yield from self._assigned(pin, wanted, value, place)
            return
        row = value.operator.row
        if wanted not in row.result:
            yield error(
                "type",
                place,
                f"{print_value(value)} gives {article(row.result[0])}; here it needs "
                f"{article(wanted)}.",
                "Give it a symbol." if wanted == "BOOL" else "Convert it, like WORD_TO_INT.",
            )
        for inner, operand in zip(row.pins, value.operands, strict=True):
            needed = wanted if inner.type == "ANY" else inner.type
            yield from self._calculated(inner.name, needed, operand, place)

    def _assigned(self, pin: str, wanted: str, operand: Operand, place: Place) -> Iterator[Message]:
        found = self._type_of(operand, place)
        if isinstance(found, Message):
            yield found
        elif not _fits(operand, found, wanted):
            what = "an assignment" if wanted == "INT" else f"its {pin}"
            fix = {"INT": _INT_FIX, "WORD": _WORD_FIX}.get(wanted, "Give it a symbol.")
            yield error(
                "type",
                place,
                f"{print_operand(operand)} is {article(found)}; {what} needs {article(wanted)}.",
                fix,
            )

    def _target(
        self, wanted: str, symbol: str, place: Place, what: str, fix: str
    ) -> Iterator[Message]:
        variable = self._variables.get(symbol)
        if "." in symbol and not bit_of(symbol):
            yield error(
                "read only",
                place,
                f"{symbol} is an output of a block and can't be written.",
                "Write another variable.",
            )
        elif variable is not None and direction_of(variable.address) is Direction.INPUT:
            yield error(
                "read only",
                place,
                f"{symbol} is an input and can't be written.",
                "Write an output or an internal bit.",
            )
        else:
            yield from self._needs(wanted, symbol, place, what, fix)

    def calls(self, program: Program) -> Iterator[Message]:
        first: dict[str, int] = {}
        for index, rung in enumerate(program.rungs):
            for found in occurrences_in(rung):
                if found.role is not Usage.CALL:
                    continue
                symbol = found.symbol
                if symbol in first:
                    yield error(
                        "block used twice",
                        found.place.in_rung(index),
                        f"{symbol} is used already in rung {first[symbol] + 1}.",
                        f"Declare another {self._named_type(symbol)} for this place.",
                    )
                else:
                    first[symbol] = index

    # -- symbols -------------------------------------------------------------------------------

    def _needs(
        self, wanted: str, name: str, place: Place, what: str, fix: str
    ) -> Iterator[Message]:
        found = self._type_of(Name(name), place)
        if isinstance(found, Message):
            yield found
        elif found != wanted:
            yield error(
                "type", place, f"{name} is {article(found)}; {what} needs {article(wanted)}.", fix
            )

    def _type_of(self, operand: Operand, place: Place) -> str | Message:
        """Return the data type of an operand, or what is wrong with it."""
        match operand:
            case Number(value):
                return "INT" if value <= INT_MAX else "WORD"
            case Duration():
                return "TIME"
            case Name(name):
                return self._type_of_name(name, place)

    def _type_of_name(self, name: str, place: Place) -> str | Message:
        symbol, dot, output = name.partition(".")
        variable = self._variables.get(symbol)
        if variable is None:
            return self._undeclared(symbol, place)
        block = BLOCK_TYPES.get(variable.type)
        outputs = {pin.name: pin for pin in block.outputs} if block else {}
        if dot and output in outputs:
            return outputs[output].type
        if bit_of(name):
            if variable.type == "WORD":
                return "BOOL"
            return error(
                "type",
                place,
                f"{symbol} is {article(variable.type)}; only a WORD has bits with a number.",
                "Declare it as a WORD, or convert it with INT_TO_WORD.",
            )
        if dot:
            fix = f"Its outputs are {listed(outputs)}." if block else f"Write {symbol} alone."
            return error(
                "output",
                place,
                f"{symbol} is {article(variable.type)} and has no output {output}.",
                fix,
            )
        if block:
            named = listed(f"{symbol}.{output}" for output in outputs)
            return error(
                "output",
                place,
                f"{symbol} is {article(variable.type)} and has no value of its own.",
                f"Name one of its outputs: {named}.",
            )
        return variable.type

    def _undeclared(self, symbol: str, place: Place) -> Message:
        close = _closest(symbol, tuple(self._variables))
        fix = f"Declare it, or use {close}." if close else "Declare it."
        text = f"{symbol} is not declared."
        return error("undeclared", place, text, fix, undeclared=symbol)

    def _named_type(self, symbol: str) -> str:
        variable = self._variables.get(symbol)
        return "block" if variable is None else variable.type


_RANK = {severity: rank for rank, severity in enumerate(Severity)}
_EXAMPLES: dict[PinType, str] = {
    "TIME": "a duration, like T#5s",
    "INT": "a number, like 3",
    "BOOL": "a symbol",
    "WORD": "a WORD, like 16#00FF",
}
_INT_FIX = "Assignments calculate with INT only."
_WORD_FIX = "Take a WORD, or convert an INT with INT_TO_WORD."


def _fits(operand: Operand, found: object, wanted: object) -> bool:
    """Return whether an operand of type ``found`` may stand where ``wanted`` is needed."""
    if found == wanted:
        return True
    return wanted == "WORD" and isinstance(operand, Number) and operand.value >= 0


@lru_cache(maxsize=256)
def _closest(symbol: str, known: tuple[str, ...]) -> str | None:
    """Return what was meant, perhaps; kept, because one misspelt symbol may stand in every rung."""
    return next(iter(get_close_matches(symbol, known, n=1)), None)


def _unknown_input(instance: str, block_type: BlockType, pin: str, place: Place) -> Message:
    if pin == block_type.power_in:
        return error(
            "input",
            place,
            f"{pin} of {instance} is the power that reaches the block from the left.",
            f"Leave {pin} out and put its condition in front of the block.",
        )
    known = [pin.name for pin in block_type.inputs]
    return error(
        "input",
        place,
        f"{instance} is {article(block_type.name)} and has no input {pin}.",
        f"Its inputs are {listed(known)}." if known else "It takes the power alone.",
    )
