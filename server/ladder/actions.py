"""What can be done to a program, as data: one small class an action, JSON at the border.

In JSON an action is an object with the fields of its class, and its name in ``action``. Elements
and outputs are one line of the text form there, variables objects of the JSON form. Rungs, outputs
and the steps of a path count from 0.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal, TypeAlias, TypeVar

from pydantic import ConfigDict, Field, PlainValidator, TypeAdapter, ValidationError

from server.ladder.elements import CoilKind, ContactKind
from server.ladder.fields import Requirement, Symbol, refusal
from server.ladder.json_faults import messages_of
from server.ladder.messages import ProgramError
from server.ladder.program import BlockInput, Declaration, Element, Output, Path
from server.ladder.text_form import parse_element, parse_input, parse_output

T = TypeVar("T")


def _written(parse: Callable[[str], T]) -> PlainValidator:
    """A field that is one line of the text form."""

    def read(text: object) -> T:
        if not isinstance(text, str):
            raise refusal("This is no text.", "Write it like in the text form.")
        try:
            return parse(text)
        except ProgramError as refused:
            first = refused.messages[0]
            raise refusal(first.text, first.mend) from None

    return PlainValidator(read)


ElementText: TypeAlias = Annotated[Element, _written(parse_element)]
OutputText: TypeAlias = Annotated[Output, _written(parse_output)]
InputText: TypeAlias = Annotated[BlockInput, _written(parse_input)]
Side: TypeAlias = Literal["before", "after"]


class _Action:
    __slots__ = ()
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")


# -- rungs ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AddRung(_Action):
    """Put an empty rung before the rung ``at``, or behind the last one."""

    at: int
    action: Literal["add rung"] = "add rung"


@dataclass(frozen=True, slots=True)
class PasteRungs(_Action):
    """Put rungs in text form before the rung ``at``, their blocks under free names."""

    at: int
    text: str
    action: Literal["paste rungs"] = "paste rungs"


@dataclass(frozen=True, slots=True)
class DuplicateRung(_Action):
    """Put a copy behind the rung, its blocks under free names."""

    rung: int
    action: Literal["duplicate rung"] = "duplicate rung"


@dataclass(frozen=True, slots=True)
class DeleteRung(_Action):
    """Take the rung out."""

    rung: int
    action: Literal["delete rung"] = "delete rung"


@dataclass(frozen=True, slots=True)
class MoveRung(_Action):
    """Move the rung so that it is the rung ``to`` afterwards."""

    rung: int
    to: int
    action: Literal["move rung"] = "move rung"


@dataclass(frozen=True, slots=True)
class SetRung(_Action):
    """Replace the whole rung by one in text form."""

    rung: int
    text: str
    action: Literal["set rung"] = "set rung"


@dataclass(frozen=True, slots=True)
class SetNetwork(_Action):
    """Replace the rung's network by one in text form."""

    rung: int
    text: str
    action: Literal["set network"] = "set network"


@dataclass(frozen=True, slots=True)
class SetComment(_Action):
    """Write the rung's comment."""

    rung: int
    comment: str
    action: Literal["set comment"] = "set comment"


@dataclass(frozen=True, slots=True)
class SetServes(_Action):
    """Say which requirements the rung serves."""

    rung: int
    serves: tuple[Requirement, ...]
    action: Literal["set serves"] = "set serves"


# -- elements ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class InsertElement(_Action):
    """Put an element in series beside the item at ``path``, or at an end of the network."""

    rung: int
    path: Path | None
    element: ElementText
    side: Side = "after"
    action: Literal["insert element"] = "insert element"


@dataclass(frozen=True, slots=True)
class InsertParallel(_Action):
    """Put an element in parallel with the items ``first`` to ``last`` of one series."""

    rung: int
    first: Path
    element: ElementText
    last: Path | None = None
    action: Literal["insert parallel"] = "insert parallel"


@dataclass(frozen=True, slots=True)
class AddBranch(_Action):
    """Put a branch with one element below the branch that holds the item at ``path``."""

    rung: int
    path: Path
    element: ElementText
    action: Literal["add branch"] = "add branch"


@dataclass(frozen=True, slots=True)
class DeleteElements(_Action):
    """Take out the items ``first`` to ``last`` of one series; an emptied branch goes with them."""

    rung: int
    first: Path
    last: Path | None = None
    action: Literal["delete elements"] = "delete elements"


@dataclass(frozen=True, slots=True)
class DeleteBranch(_Action):
    """Take out the whole branch that holds the item at ``path``."""

    rung: int
    path: Path
    action: Literal["delete branch"] = "delete branch"


@dataclass(frozen=True, slots=True)
class MoveElement(_Action):
    """Move an element beside another item, in parallel with it, or to an end of a network."""

    rung: int
    path: Path
    to_rung: int
    to_path: Path | None
    side: Literal["before", "after", "parallel"] = "after"
    action: Literal["move element"] = "move element"


@dataclass(frozen=True, slots=True)
class SetElement(_Action):
    """Replace an element."""

    rung: int
    path: Path
    element: ElementText
    action: Literal["set element"] = "set element"


@dataclass(frozen=True, slots=True)
class SetContactKind(_Action):
    """Make a contact normally open, normally closed, or one for an edge."""

    rung: int
    path: Path
    kind: ContactKind
    action: Literal["set contact kind"] = "set contact kind"


@dataclass(frozen=True, slots=True)
class SetInput(_Action):
    """Wire an input of a block, in text form: ``PT := T#5s``."""

    rung: int
    path: Path
    input: InputText
    action: Literal["set input"] = "set input"


@dataclass(frozen=True, slots=True)
class ClearInput(_Action):
    """Leave an input of a block unwired."""

    rung: int
    path: Path
    pin: str
    action: Literal["clear input"] = "clear input"


@dataclass(frozen=True, slots=True)
class SetSymbol(_Action):
    """Put another symbol to a contact or a block (``path``), or to an output."""

    rung: int
    symbol: str
    path: Path | None = None
    output: int | None = None
    action: Literal["set symbol"] = "set symbol"


# -- outputs -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AddOutput(_Action):
    """Add a coil or an assignment below the others."""

    rung: int
    output: OutputText
    action: Literal["add output"] = "add output"


@dataclass(frozen=True, slots=True)
class SetOutput(_Action):
    """Replace an output."""

    rung: int
    number: int
    output: OutputText
    action: Literal["set output"] = "set output"


@dataclass(frozen=True, slots=True)
class SetCoilKind(_Action):
    """Make a coil plain, negated, set or reset."""

    rung: int
    number: int
    kind: CoilKind
    action: Literal["set coil kind"] = "set coil kind"


@dataclass(frozen=True, slots=True)
class MoveOutput(_Action):
    """Move an output so that it is the output ``to`` afterwards, as far as coils stay first."""

    rung: int
    number: int
    to: int
    action: Literal["move output"] = "move output"


@dataclass(frozen=True, slots=True)
class DeleteOutput(_Action):
    """Take an output out."""

    rung: int
    number: int
    action: Literal["delete output"] = "delete output"


# -- declarations --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Declare(_Action):
    """Declare a variable behind the others."""

    variable: Declaration
    action: Literal["declare"] = "declare"


@dataclass(frozen=True, slots=True)
class ChangeVariable(_Action):
    """Change a declaration; a new symbol is carried through all rungs."""

    symbol: str
    variable: Declaration
    action: Literal["change variable"] = "change variable"


@dataclass(frozen=True, slots=True)
class RenameVariable(_Action):
    """Give a variable another symbol, in its declaration and in all rungs."""

    symbol: str
    new: Symbol
    action: Literal["rename variable"] = "rename variable"


@dataclass(frozen=True, slots=True)
class DeleteVariable(_Action):
    """Take a declaration out that no rung uses."""

    symbol: str
    action: Literal["delete variable"] = "delete variable"


# -- the program ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NameProgram(_Action):
    """Give the program another name and comment."""

    name: Symbol
    comment: str = ""
    action: Literal["name program"] = "name program"


@dataclass(frozen=True, slots=True)
class Together(_Action):
    """Several actions as one: all of them or none."""

    actions: Annotated[tuple["Action", ...], Field(max_length=50)]
    action: Literal["together"] = "together"


Action: TypeAlias = (
    AddRung
    | PasteRungs
    | DuplicateRung
    | DeleteRung
    | MoveRung
    | SetRung
    | SetNetwork
    | SetComment
    | SetServes
    | InsertElement
    | InsertParallel
    | AddBranch
    | DeleteElements
    | DeleteBranch
    | MoveElement
    | SetElement
    | SetContactKind
    | SetInput
    | ClearInput
    | SetSymbol
    | AddOutput
    | SetOutput
    | SetCoilKind
    | MoveOutput
    | DeleteOutput
    | Declare
    | ChangeVariable
    | RenameVariable
    | DeleteVariable
    | NameProgram
    | Together
)

_ACTION: TypeAdapter[Action] = TypeAdapter(Annotated[Action, Field(discriminator="action")])


def parse_action(data: dict[str, Any]) -> Action:
    """The action of JSON data. Raises ProgramError that names what is wrong with it."""
    try:
        return _ACTION.validate_python(data)
    except ValidationError as refused:
        raise ProgramError(messages_of(refused)) from None
