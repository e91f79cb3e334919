"""A program from XML of IEC 61131-10. What is not ladder of design part 4 is refused, with place.

Sizes and positions are not carried, since rungs are laid out anew; a note says so.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from server.ladder.bounds import over_limits
from server.ladder.elements import BLOCK_TYPES, DATA_TYPES
from server.ladder.limits import MAX_RUNGS
from server.ladder.messages import Message, ProgramError
from server.ladder.names import address_fault, canonical, declared_fault, shortened
from server.ladder.program import Program, Variable
from server.ladder.text_form import parse_program
from server.ladder.xml_carried import left_out
from server.ladder.xml_names import NAMESPACE
from server.ladder.xml_parts import attribute, kind_of, only, parsed, text_of
from server.ladder.xml_rung import RungReader
from server.ladder.xml_tree import Node, parse_xml, refused

_INSIDE = {"Types": "GlobalNamespace", "Instances": "Configuration"}


@dataclass(frozen=True, slots=True)
class Carried:
    """The program, and notes on what the file had that could not be carried."""

    program: Program
    notes: tuple[Message, ...]


def read_xml(data: bytes) -> Carried:
    """Return the program of a file with one ladder program.

    Raises ProgramError with line and column.
    """
    root = parse_xml(data)
    if root.name != "Project" or root.namespace != NAMESPACE:
        raise refused(
            root.place,
            f"This is {shortened(root.name)}, not a Project of IEC 61131-10.",
            f"Export a Project in the namespace {NAMESPACE}.",
        )
    only(root, "FileHeader", "ContentHeader", "Types", "Instances", "AddData", "Documentation")
    for part in root.children:
        if part.name in _INSIDE:
            only(part, _INSIDE[part.name], "AddData", "Documentation")
    programs = [node for space in _spaces(root) for node in space.all("Program")]
    if len(programs) != 1:
        place = programs[1].place if programs else root.place
        raise refused(place, f"The file has {len(programs)} programs.", "Hand on one at a time.")
    for space in _spaces(root):
        only(space, "Program", "AddData", "Documentation")
    program = _program(programs[0])
    faults = over_limits(program)
    if faults:
        raise ProgramError(faults)
    return Carried(program, tuple(left_out(root)))


def _spaces(root: Node) -> Iterator[Node]:
    for types in root.all("Types"):
        yield from types.all("GlobalNamespace")


def _program(node: Node) -> Program:
    only(node, "Documentation", "AddData", "Vars", "MainBody")
    name = canonical(attribute(node, "name"))
    _symbol(node, name)
    variables = tuple(
        _variable(declared, retain=section.attributes.get("retain") == "true")
        for section in node.all("Vars")
        for declared in _declared(section)
    )
    body = node.first("MainBody")
    content = body.first("BodyContent") if body else None
    if content is None or kind_of(content) != "LD":
        raise refused(
            (content or node).place, "The program has no ladder diagram.", "Export it as LD."
        )
    rungs = content.all("Rung")
    only(content, "Rung", "AddData", "Documentation")
    if len(rungs) > MAX_RUNGS:
        raise refused(
            rungs[MAX_RUNGS].place,
            f"The program has {len(rungs)} rungs; {MAX_RUNGS} are possible.",
            "Split it.",
        )
    types = {v.symbol: v.type for v in variables}
    ordered = sorted(rungs, key=_order)
    read = tuple(RungReader(rung, types).read() for rung in ordered)
    return Program(name, variables, read, text_of(node.first("Documentation")))


def _order(rung: Node) -> int:
    order = rung.attributes.get("evaluationOrder", "")
    if not order.isascii() or not order.isdigit() or len(order) > 6:
        raise refused(rung.place, "The rung has no evaluation order.", "Number the rungs from 1.")
    return int(order)


def _declared(section: Node) -> list[Node]:
    only(section, "Variable", "AddData", "Documentation")
    return section.all("Variable")


def _symbol(node: Node, symbol: str) -> None:
    fault = declared_fault(symbol)
    if fault is not None:
        raise refused(node.place, *fault)


def _variable(node: Node, *, retain: bool) -> Variable:
    only(node, "Documentation", "AddData", "Type", "InitialValue", "Address")
    symbol = canonical(attribute(node, "name"))
    _symbol(node, symbol)
    kind = node.first("Type")
    named = kind.first("TypeName") if kind else None
    type_name = text_of(named).strip().upper()
    if type_name not in (*DATA_TYPES, *BLOCK_TYPES):
        raise refused(
            (named or node).place,
            f"The type {shortened(type_name)} can't be carried.",
            f"Use {', '.join((*DATA_TYPES, *BLOCK_TYPES))}.",
        )
    placed = node.first("Address")
    address = None if placed is None else attribute(placed, "address").upper()
    if placed is not None and address is not None:
        fault = address_fault(address, type_name)
        if fault is not None:
            raise refused(placed.place, *fault)
    value = node.first("InitialValue")
    simple = value.first("SimpleValue") if value else None
    initial = None if simple is None else _initial(simple, type_name)
    return Variable(
        symbol, type_name, address, initial, retain, text_of(node.first("Documentation"))
    )


def _initial(node: Node, type_name: str) -> int:
    """Return the value of a literal, read as the text form reads a declaration."""
    literal = attribute(node, "value")
    if any(c in literal for c in ";\n/"):
        raise refused(node.place, f"{shortened(literal)} is no value.", "Write a literal.")
    text = f"PROGRAM p\nVAR\nx : {type_name} := {literal};\nEND_VAR\nEND_PROGRAM\n"
    [variable] = parsed(node, parse_program, text).variables
    assert variable.initial is not None, "a literal was read"
    return variable.initial
