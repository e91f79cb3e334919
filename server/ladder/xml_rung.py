"""One rung from XML of IEC 61131-10: its objects and their ends, then the tree between them."""

from dataclasses import dataclass, field, replace
from typing import TypeVar

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind, Operator, Relation
from server.ladder.limits import MAX_ELEMENTS, MAX_OPERATORS
from server.ladder.names import canonical, reference_fault, shortened
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Coil,
    Comparison,
    Contact,
    Element,
    Output,
    Rung,
    Series,
)
from server.ladder.series_parallel import Fed, NotSeriesParallel, network_of
from server.ladder.text_form import parse_element, parse_input, parse_output, parse_rung
from server.ladder.text_functions import inputs_of
from server.ladder.xml_carried import refuse_unknown_attributes
from server.ladder.xml_names import EDGE_BLOCKS, MOVE
from server.ladder.xml_parts import attribute, kind_of, only, parsed, text_of
from server.ladder.xml_tree import Node, refused

_FLAGS = ("negated", "edge", "latch")
_RELATIONS = {relation.row.xml: relation for relation in Relation}
_OPERATORS = {MOVE: None} | {operator.row.xml: operator for operator in Operator}
_LAID_OUT = ("RelPosition", "Size", "AddData", "Documentation")
"""Children of an object that say nothing about what it does."""

K = TypeVar("K", ContactKind, CoilKind)


@dataclass(slots=True)
class RungReader:
    """Reads one rung: first every object and its ends, then the tree between them."""

    rung: Node
    types: dict[str, str]
    rails: list[str] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    sources: dict[str, str] = field(default_factory=dict)
    fed: list[Fed] = field(default_factory=list)
    outputs: list[tuple[Output, tuple[str, ...]]] = field(default_factory=list)
    pending: dict[str, tuple[Node, tuple[str, ...]]] = field(default_factory=dict)
    last: tuple[str, ...] = ()
    ends_of: dict[str, Node] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)

    def read(self) -> Rung:
        only(self.rung, "Documentation", "AddData", "CommonObject", "LdObject", "FbdObject")
        refuse_unknown_attributes(self.rung)
        self.comments.append(text_of(self.rung.first("Documentation")))
        for node in self.rung.children:
            if node.name == "CommonObject":
                self.common(node)
            elif node.name == "LdObject":
                self.ladder(node)
            elif node.name == "FbdObject":
                self.diagram(node)
        self.complete()
        feeding = [self.from_rail(ends) for _, ends in self.outputs]
        last = feeding[0] if feeding else self.from_rail(self.last)
        if any(set(ends) != set(last) for ends in feeding):
            raise refused(
                self.rung.place,
                "The outputs of this rung are fed from different places.",
                "Give each its own rung.",
            )
        try:
            network = self.network(last) if last else Series()
        except NotSeriesParallel:
            raise refused(
                self.rung.place,
                "The wires of this rung cross over, so that it has no branches side by side.",
                "Draw it with series and parallel branches only.",
            ) from None
        comment = "\n".join(filter(None, self.comments))
        said = parsed(self.rung, parse_rung, _commented(comment))
        outputs = tuple(output for output, _ in self.outputs)
        return Rung(network, outputs, said.comment, said.serves)

    def complete(self) -> None:
        """Nothing of the rung may be left over, and no more of it than can be drawn."""
        if len(self.fed) + len(self.outputs) > MAX_ELEMENTS:
            raise refused(
                self.rung.place,
                f"The rung has more than {MAX_ELEMENTS} elements.",
                "Split it with an internal bit.",
            )
        results = {fed.own for fed in self.fed} | self.pending.keys()
        for end, node in self.ends_of.items():
            if end in results and end not in self.used:
                raise refused(node.place, "What this object gives leads nowhere.", "Connect it.")

    def network(self, last: tuple[str, ...]) -> Series:
        """Return the tree between the rail, whichever of its ends is wired, and the outputs."""
        rail = self.rails[0] if self.rails else ""
        fed = [replace(each, ends=self.from_rail(each.ends)) for each in self.fed]
        return network_of(rail, fed, last)

    def from_rail(self, ends: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self.rails[0] if end in self.rails else end for end in ends))

    def common(self, node: Node) -> None:
        if kind_of(node) != "Comment":
            self.unknown(node, kind_of(node))
        only(node, *_LAID_OUT, "Content")
        self.comments += map(text_of, node.all("Content"))

    def ladder(self, node: Node) -> None:
        only(node, *_LAID_OUT, "ConnectionPointIn", "ConnectionPointOut")
        match kind_of(node):
            case "LeftPowerRail":
                self.rails += [self.own_end(node, each) for each in node.all("ConnectionPointOut")]
            case "RightPowerRail":
                self.last = self.last or self.ends(node)
            case "Contact":
                kind = self.flags(node, ContactKind)
                contact = Contact(kind, self.reference(node))
                self.fed.append(Fed(contact, self.ends(node), self.end(node)))
            case "Coil":
                coil = Coil(self.flags(node, CoilKind), self.reference(node))
                self.outputs.append((coil, self.ends(node)))
            case other:
                self.unknown(node, other)

    def diagram(self, node: Node) -> None:
        match kind_of(node):
            case "DataSource":
                only(node, *_LAID_OUT, "ConnectionPointOut")
                self.sources[self.end(node)] = attribute(node, "identifier")
            case "DataSink":
                only(node, *_LAID_OUT, "ConnectionPointIn")
                self.sink(node)
            case "Block":
                only(node, *_LAID_OUT, "InputVariables", "OutputVariables", "InOutVariables")
                for both in node.all("InOutVariables"):
                    only(both)
                self.block(node)
            case other:
                self.unknown(node, other)

    def unknown(self, node: Node, kind: str) -> None:
        raise refused(
            node.place,
            f"{shortened(kind or node.name)} is no element that can be carried.",
            "Use contacts, coils, standard function blocks, comparisons and arithmetic.",
        )

    def flags(self, node: Node, kinds: type[K]) -> K:
        """Return the kind of a contact or coil by its attributes negated, edge and latch."""
        given = {key: node.attributes.get(key, "") for key in _FLAGS}
        on = {key: value for key, value in given.items() if value not in ("", "false", "none")}
        for kind in kinds:
            if kind.row.xml == on:
                return kind
        block = EDGE_BLOCKS.get(on.get("edge", ""))
        if kinds is CoilKind and block is not None and len(on) == 1:
            raise refused(
                node.place,
                f"A coil for a {on['edge']} edge can't be carried.",
                f"Put a block of type {block} in front of a plain coil: it gives power for one "
                "scan.",
            )
        said = ", ".join(f"{key} {value!r}" for key, value in on.items())
        raise refused(
            node.place,
            f"A {kind_of(node).lower()} with {shortened(said)} can't be carried.",
            "Use one of the kinds of IEC 61131-3: negated, edge or latch alone.",
        )

    def reference(self, node: Node) -> str:
        symbol = canonical(attribute(node, "operand"))
        fault = reference_fault(symbol)
        if fault is not None:
            raise refused(node.place, *fault)
        return symbol

    def end(self, node: Node) -> str:
        point = node.first("ConnectionPointOut")
        if point is None:
            raise refused(node.place, "This object leads nowhere.", "Add its ConnectionPointOut.")
        return self.own_end(node, point)

    def own_end(self, node: Node, point: Node) -> str:
        only(point, "AddData", "RelPosition")
        name = attribute(point, "connectionPointOutId")
        if name in self.ends_of:
            raise refused(point.place, f"The end {shortened(name)} is there twice.", "Rename one.")
        self.ends_of[name] = node
        return name

    def ends(self, node: Node) -> tuple[str, ...]:
        point = node.first("ConnectionPointIn")
        connections = point.all("Connection") if point else []
        if not connections:
            raise refused(node.place, "Nothing leads to this object.", "Connect it.")
        assert point is not None, "it has connections"
        only(point, "Connection", "AddData", "RelPosition")
        ends = tuple(attribute(c, "refConnectionPointOutId") for c in connections)
        self.used.update(ends)
        return ends

    # -- blocks -------------------------------------------------------------------------------

    def block(self, node: Node) -> None:
        name = attribute(node, "typeName").upper()
        if name in BLOCK_TYPES:
            self.function_block(node, name)
        elif name in _RELATIONS:
            inputs = self.pins(node, "EN", "IN1", "IN2")
            left, right = (self.number(node, inputs, pin) for pin in ("IN1", "IN2"))
            text = f"{left} {_RELATIONS[name]} {right}"
            element = parsed(node, parse_element, text)
            if not isinstance(element, Comparison):
                raise refused(node.place, f"{shortened(text)} compares nothing.", "Name numbers.")
            self.fed.append(Fed(element, self.power(node, inputs, "EN"), self.result(node, "OUT")))
        elif name in _OPERATORS:
            known = (pin.name for pin in inputs_of(name))
            power = self.power(node, self.pins(node, "EN", *known), "EN")
            self.pending[self.result(node, "OUT")] = (node, power)
        else:
            self.unknown(node, name)

    def function_block(self, node: Node, name: str) -> None:
        kind = BLOCK_TYPES[name]
        instance = canonical(attribute(node, "instanceName"))
        if self.types.get(instance) != name:
            raise refused(
                node.place,
                f"{shortened(instance)} is not declared as {name}.",
                "Declare the instance with this type.",
            )
        pins = self.pins(node, kind.power_in, *(pin.name for pin in kind.inputs))
        inputs = tuple(self.input(node, pin, pins) for pin in pins if pin != kind.power_in)
        element: Element = Block(instance, inputs)
        own = self.result(node, kind.power_out)
        self.fed.append(Fed(element, self.power(node, pins, kind.power_in), own))

    def input(self, node: Node, pin: str, pins: dict[str, Node]) -> BlockInput:
        negated = "NOT " if pins[pin].attributes.get("negated") == "true" else ""
        return parsed(node, parse_input, f"{pin} := {negated}{self.source(node, pins, pin)}")

    def pins(self, node: Node, *known: str) -> dict[str, Node]:
        """Return the wired inputs by name; one that the block does not have is refused."""
        pins: dict[str, Node] = {}
        for held in node.all("InputVariables"):
            only(held, "InputVariable")
            for child in held.children:
                name = attribute(child, "parameterName")
                if (known and name not in known) or name in pins:
                    raise refused(
                        child.place,
                        f"The input {shortened(name)} can't be carried here.",
                        f"Wire {', '.join(known)}, each once." if known else "Wire it once.",
                    )
                pins[name] = child
        return pins

    def power(self, node: Node, pins: dict[str, Node], pin: str) -> tuple[str, ...]:
        if pin not in pins:
            raise refused(node.place, f"The block has no power at {pin}.", "Connect it.")
        self.plain(pins[pin])
        return self.ends(pins[pin])

    def plain(self, pin: Node) -> None:
        if pin.attributes.get("negated") == "true":
            raise refused(
                pin.place,
                f"A negated {shortened(attribute(pin, 'parameterName'))} can't be carried here.",
                "Negate the contact before it.",
            )

    def source(self, node: Node, pins: dict[str, Node], pin: str) -> str:
        if pin not in pins:
            raise refused(node.place, f"The block has no {pin}.", "Connect it.")
        [*ends] = self.ends(pins[pin])
        if len(ends) != 1 or ends[0] not in self.sources:
            raise refused(
                pins[pin].place,
                f"{pin} is fed by rungs; only a variable or a literal can be carried.",
                "Put the logic into a bit of its own.",
            )
        return self.sources[ends[0]]

    def number(self, node: Node, pins: dict[str, Node], pin: str) -> str:
        """Return what an input of a function is fed from."""
        source = self.source(node, pins, pin)
        self.plain(pins[pin])
        return source

    def calculated(self, node: Node, power: tuple[str, ...], depth: int = 1) -> str:
        """Return the text of a function with those that feed it; all have the same power."""
        if depth > MAX_OPERATORS:
            raise refused(
                node.place,
                f"More than {MAX_OPERATORS} functions feed each other.",
                "Assign a result in between to a variable.",
            )
        name = attribute(node, "typeName").upper()
        operator, pins = _OPERATORS[name], self.pins(node)
        operands = []
        for pin in inputs_of(name):
            ends = self.ends(pins[pin.name]) if pin.name in pins else ()
            if len(ends) != 1 or ends[0] not in self.pending:
                operands.append(self.number(node, pins, pin.name))
                continue
            self.plain(pins[pin.name])
            inner, its_power = self.pending[ends[0]]
            if set(its_power) != set(power):
                raise refused(
                    inner.place,
                    "Functions that feed each other have different power.",
                    "Connect EN of both to the same places.",
                )
            text = self.calculated(inner, power, depth + 1)
            # Parentheses that a function has anyway count among those that may be open at once.
            apart = _calls(name) or _calls(attribute(inner, "typeName").upper())
            operands.append(text if apart else f"({text})")
        return (operator.row.text if operator else "{}").format(*operands)

    def result(self, node: Node, pin: str) -> str:
        held = node.first("OutputVariables")
        for child in held.children if held else ():
            if child.attributes.get("parameterName") == pin:
                return self.end(child)
        raise refused(node.place, f"The block has no output {pin}.", "Connect it.")

    def sink(self, node: Node) -> None:
        target = canonical(attribute(node, "identifier"))
        [*ends] = self.ends(node)
        if len(ends) != 1 or ends[0] not in self.pending:
            *first, last = _OPERATORS
            raise refused(
                node.place,
                f"Only the result of {', '.join(first)} or {last} is assigned.",
                "Use one.",
            )
        block, power = self.pending[ends[0]]
        text = self.calculated(block, power)
        output = parsed(block, parse_output, f"{target} := {text}")
        if not isinstance(output, AssignmentStatement):
            raise refused(node.place, f"{shortened(text)} is no number.", "Assign a number.")
        self.outputs.append((output, power))


def _calls(name: str) -> bool:
    """Return whether the text of a function has its operands in parentheses."""
    operator = _OPERATORS[name]
    return operator is not None and operator.called


def _commented(comment: str) -> str:
    """Return a comment as the text form has it above an empty rung."""
    return "".join(f"// {line}\n" for line in comment.splitlines()) + ";"
