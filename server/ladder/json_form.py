"""The JSON form: what the browser and the database hold. ``from_json(to_json(p)) == p``."""

from typing import Any, TypeAlias

from pydantic import ValidationError
from pydantic_core import from_json as parse_json

from server.ladder.bounds import over_limits
from server.ladder.json_faults import messages_of
from server.ladder.json_schema import VERSION, ProgramForm
from server.ladder.limits import MAX_JSON_BYTES, MAX_JSON_DEPTH, MAX_NESTING
from server.ladder.messages import Place, ProgramError, error
from server.ladder.program import (
    Assignment,
    Block,
    BlockInput,
    Coil,
    Comparison,
    Contact,
    Duration,
    Item,
    Name,
    Number,
    Operand,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
)

Json: TypeAlias = dict[str, Any]


def to_json(program: Program) -> Json:
    """The program as plain JSON data; what has its default is left out."""
    return {"version": VERSION, "name": program.name} | _given(
        variables=[_variable(variable) for variable in program.variables],
        rungs=[_rung(rung) for rung in program.rungs],
        comment=program.comment,
    )


def from_json(data: object) -> Program:
    """The program of JSON data. Raises ProgramError that names each place and its mend."""
    if _deeper_than(MAX_JSON_DEPTH, data):
        raise ProgramError(
            [
                error(
                    "limit",
                    Place(),
                    f"More than {MAX_JSON_DEPTH} lists and objects stand inside each other.",
                    f"A rung may have {MAX_NESTING} branches inside each other.",
                )
            ]
        )
    try:
        program = ProgramForm.model_validate(data).build()
    except ValidationError as refused:
        raise ProgramError(messages_of(refused)) from None
    if too_large := over_limits(program):
        raise ProgramError(too_large)
    return program


def read_json(data: bytes) -> Program:
    """The program of a JSON text. Nothing over the size limit is looked at."""
    if len(data) > MAX_JSON_BYTES:
        raise ProgramError(
            [
                error(
                    "limit",
                    Place(),
                    f"The JSON text is larger than {MAX_JSON_BYTES} bytes.",
                    "Leave out what is not needed.",
                )
            ]
        )
    try:
        plain = parse_json(data)
    except ValueError as fault:
        raise ProgramError(
            [error("syntax", Place(), f"This is no JSON: {fault}.", "Send a program as JSON.")]
        ) from None
    return from_json(plain)


def _deeper_than(limit: int, data: object) -> bool:
    """Whether lists and objects nest deeper, found level by level without recursion."""
    level = [data]
    for _ in range(limit):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return bool(level)


def _given(**fields: object) -> Json:
    """The fields that differ from their default: nothing, empty, or false."""
    return {
        name: value
        for name, value in fields.items()
        if not (value is None or value is False or value in ("", []))
    }


def _variable(variable: Variable) -> Json:
    return {"symbol": variable.symbol, "type": variable.type} | _given(
        address=variable.address,
        initial=variable.initial,
        retain=variable.retain,
        comment=variable.comment,
    )


def _rung(rung: Rung) -> Json:
    return _given(
        network=_series(rung.network),
        outputs=[_output(output) for output in rung.outputs],
        comment=rung.comment,
        serves=list(rung.serves),
    )


def _series(series: Series) -> list[Json]:
    return [_item(item) for item in series.items]


def _item(item: Item) -> Json:
    match item:
        case Contact(kind, symbol):
            return {"element": "contact", "kind": str(kind), "symbol": symbol}
        case Comparison(left, relation, right):
            return {
                "element": "comparison",
                "left": _operand(left),
                "relation": str(relation),
                "right": _operand(right),
            }
        case Block(instance, inputs):
            return {"element": "block", "instance": instance} | _given(
                inputs=[_input(wired) for wired in inputs]
            )
        case Parallel(branches):
            return {"element": "parallel", "branches": [_series(branch) for branch in branches]}


def _input(wired: BlockInput) -> Json:
    return {"pin": wired.pin, "operand": _operand(wired.operand)} | _given(negated=wired.negated)


def _output(output: Output) -> Json:
    match output:
        case Coil(kind, symbol):
            return {"output": "coil", "kind": str(kind), "symbol": symbol}
        case Assignment(target, left, operator, right):
            return {"output": "assignment", "target": target, "left": _operand(left)} | _given(
                operator=None if operator is None else str(operator),
                right=None if right is None else _operand(right),
            )


def _operand(operand: Operand) -> Json:
    match operand:
        case Name(symbol):
            return {"operand": "name", "symbol": symbol}
        case Number(value):
            return {"operand": "number", "value": value}
        case Duration(ms):
            return {"operand": "duration", "ms": ms}
