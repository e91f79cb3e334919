"""A program as XML of IEC 61131-10, as far as its ladder elements go: everything is carried.

A wire beside what always conducts is left out: connections can't tell it.
Requirement numbers travel in a rung's documentation as the text form writes them: ``[R1, R2a] …``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import groupby
from xml.etree import ElementTree as ET

from server.ladder.elements import BLOCK_TYPES, Operator
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Element,
    Formula,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
)
from server.ladder.series_parallel import without_idle_wires
from server.ladder.text_printer import print_initial, print_operand, print_rung
from server.ladder.xml_names import INSTANCE, MOVE, NAMESPACE

_TYPE = f"{{{INSTANCE}}}type"


def write_xml(program: Program) -> bytes:
    """Return the file, UTF-8; the same bytes for the same program."""
    ET.register_namespace("", NAMESPACE)
    ET.register_namespace("xsi", INSTANCE)
    root = ET.Element(_name("Project"), {"schemaVersion": "1.0"})
    header = {"companyName": "Rungmark", "productName": "Rungmark", "productVersion": "1"}
    ET.SubElement(root, _name("FileHeader"), header)
    content = {"name": program.name, "creationDateTime": "2026-01-01T00:00:00"}
    ET.SubElement(root, _name("ContentHeader"), content)
    types = ET.SubElement(root, _name("Types"))
    space = ET.SubElement(types, _name("GlobalNamespace"))
    body = ET.SubElement(space, _name("Program"), {"name": program.name})
    _document(body, program.comment)
    for retain, variables in groupby(program.variables, key=lambda v: v.retain):
        kept = {"retain": "true"} if retain else {}
        section = ET.SubElement(body, _name("Vars"), {"accessSpecifier": "private"} | kept)
        for variable in variables:
            _variable(section, variable)
    main = ET.SubElement(body, _name("MainBody"))
    ladder = ET.SubElement(main, _name("BodyContent"), {_TYPE: "LD"})
    types_of = {v.symbol: v.type for v in program.variables}
    for number, rung in enumerate(program.rungs, 1):
        drawn = ET.SubElement(ladder, _name("Rung"), {"evaluationOrder": str(number)})
        _RungWriter(drawn, types_of).write(rung)
    ET.SubElement(root, _name("Instances"))
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"


def _name(local: str) -> str:
    return f"{{{NAMESPACE}}}{local}"


def _document(parent: ET.Element, text: str) -> None:
    if text:
        ET.SubElement(parent, _name("Documentation"), {_TYPE: "SimpleText"}).text = text


def _variable(section: ET.Element, variable: Variable) -> None:
    declared = ET.SubElement(section, _name("Variable"), {"name": variable.symbol})
    _document(declared, variable.comment)
    kind = ET.SubElement(declared, _name("Type"))
    ET.SubElement(kind, _name("TypeName")).text = variable.type
    if variable.initial is not None:
        initial = ET.SubElement(declared, _name("InitialValue"))
        ET.SubElement(initial, _name("SimpleValue"), {"value": print_initial(variable)})
    if variable.address is not None:
        ET.SubElement(declared, _name("Address"), {"address": variable.address})


@dataclass(slots=True)
class _RungWriter:
    """Writes one rung; every outgoing end gets a number of its own."""

    rung: ET.Element
    types: dict[str, str]
    ends: int = field(default=0)

    def write(self, rung: Rung) -> None:
        comment = _comment(rung)
        if comment:
            said = ET.SubElement(self.rung, _name("CommonObject"), {_TYPE: "Comment"})
            ET.SubElement(said, _name("Content"), {_TYPE: "SimpleText"}).text = comment
        rail = self.ladder("LeftPowerRail", {})
        last = self.series(without_idle_wires(rung.network), [self.end(rail)])
        for output in rung.outputs:
            if isinstance(output, Coil):
                coil = self.ladder("Coil", {"operand": output.symbol, **output.kind.row.xml})
                self.feed(coil, last)
                self.end(coil)
            else:
                self.assignment(output, last)
        if not rung.outputs:
            self.feed(self.ladder("RightPowerRail", {}), last)

    def series(self, series: Series, power: list[str]) -> list[str]:
        for item in series.items:
            if isinstance(item, Parallel):
                power = [end for branch in item.branches for end in self.series(branch, power)]
            else:
                power = [self.element(item, power)]
        return power

    def element(self, element: Element, power: list[str]) -> str:
        match element:
            case Contact(kind, symbol):
                contact = self.ladder("Contact", {"operand": symbol, **kind.row.xml})
                self.feed(contact, power)
                return self.end(contact)
            case Comparison(left, relation, right):
                operands = {"IN1": left, "IN2": right}
                return self.function(relation.row.xml, operands, power)
            case Block():
                return self.block(element, power)

    def block(self, block: Block, power: list[str]) -> str:
        kind = BLOCK_TYPES[self.types[block.instance]]
        sources = [self.source(wired) for wired in block.inputs]
        named = {"typeName": kind.name, "instanceName": block.instance}
        drawn = self.diagram("Block", named)
        inputs = ET.SubElement(drawn, _name("InputVariables"))
        self.feed(self.parameter(inputs, "InputVariable", kind.power_in), power)
        for wired, source in zip(block.inputs, sources, strict=True):
            pin = self.parameter(inputs, "InputVariable", wired.pin)
            if wired.negated:
                pin.set("negated", "true")
            self.feed(pin, [source])
        outputs = ET.SubElement(drawn, _name("OutputVariables"))
        return self.end(self.parameter(outputs, "OutputVariable", kind.power_out))

    def formula(
        self, operator: Operator, operands: tuple[Calculated, ...], power: list[str]
    ) -> str:
        """Write a function; what it takes from others stands before it, with the same power."""
        named = {pin.name: each for pin, each in zip(operator.row.pins, operands, strict=True)}
        return self.function(operator.row.xml, named, power)

    def value(self, value: Calculated, power: list[str]) -> str:
        if isinstance(value, Formula):
            return self.formula(value.operator, value.operands, power)
        return self.operand(print_operand(value))

    def function(self, name: str, operands: Mapping[str, Calculated], power: list[str]) -> str:
        """Write a function; ``operands`` are what feeds its inputs, by name."""
        sources = [self.value(operand, power) for operand in operands.values()]
        drawn = self.diagram("Block", {"typeName": name})
        inputs = ET.SubElement(drawn, _name("InputVariables"))
        self.feed(self.parameter(inputs, "InputVariable", "EN"), power)
        for pin, source in zip(operands, sources, strict=True):
            self.feed(self.parameter(inputs, "InputVariable", pin), [source])
        outputs = ET.SubElement(drawn, _name("OutputVariables"))
        return self.end(self.parameter(outputs, "OutputVariable", "OUT"))

    def assignment(self, output: AssignmentStatement, power: list[str]) -> None:
        if output.operator is None:
            result = self.function(MOVE, {output.pins[0].name: output.left}, power)
        else:
            result = self.formula(output.operator, output.operands, power)
        self.feed(self.diagram("DataSink", {"identifier": output.target}), [result])

    def source(self, wired: BlockInput) -> str:
        return self.operand(print_operand(wired.operand))

    def operand(self, text: str) -> str:
        return self.end(self.diagram("DataSource", {"identifier": text}))

    def ladder(self, kind: str, attributes: dict[str, str]) -> ET.Element:
        return ET.SubElement(self.rung, _name("LdObject"), {_TYPE: kind} | attributes)

    def diagram(self, kind: str, attributes: dict[str, str]) -> ET.Element:
        return ET.SubElement(self.rung, _name("FbdObject"), {_TYPE: kind} | attributes)

    def parameter(self, parent: ET.Element, kind: str, pin: str) -> ET.Element:
        return ET.SubElement(parent, _name(kind), {"parameterName": pin})

    def feed(self, target: ET.Element, ends: list[str]) -> None:
        point = ET.SubElement(target, _name("ConnectionPointIn"))
        for end in ends:
            ET.SubElement(point, _name("Connection"), {"refConnectionPointOutId": end})

    def end(self, source: ET.Element) -> str:
        self.ends += 1
        identity = {"connectionPointOutId": str(self.ends)}
        ET.SubElement(source, _name("ConnectionPointOut"), identity)
        return str(self.ends)


def _comment(rung: Rung) -> str:
    """Return the comment with its requirement numbers, as the text form has them."""
    text = print_rung(Rung(comment=rung.comment, serves=rung.serves))
    lines = text.splitlines()[:-1]
    return "\n".join(line.removeprefix("//").removeprefix(" ") for line in lines)
