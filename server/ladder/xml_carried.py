"""What of a file in XML of IEC 61131-10 is carried, is noted as left out, or is refused.

Inside a rung an attribute that is not known could change what the rung does, so it is refused.
Outside of rungs, and where something only says how a rung looks, a note says what was left out.
"""

from collections.abc import Iterator
from dataclasses import replace

from server.ladder.messages import Message, Place, Severity
from server.ladder.names import shortened
from server.ladder.xml_tree import Node, refused

ATTRIBUTES = {
    "Vars": {"accessSpecifier", "retain"},
    "Variable": {"name"},
    "Rung": {"evaluationOrder"},
    "CommonObject": {"type"},
    "LdObject": {"type", "operand", "negated", "edge", "latch"},
    "FbdObject": {"type", "typeName", "instanceName", "identifier"},
    "InputVariable": {"parameterName", "negated"},
    "OutputVariable": {"parameterName"},
    "ConnectionPointIn": set[str](),
    "ConnectionPointOut": {"connectionPointOutId"},
    "Connection": {"refConnectionPointOutId"},
}
"""What is read of an element; see ``xml_names`` for where the names come from."""

_WITHOUT_MEANING = {"globalId"}
"""Names of parts for other tools to refer to."""

_SAID = {
    "RelPosition": "Positions are not carried; rungs are laid out anew.",
    "Size": "Sizes are not carried; rungs are laid out anew.",
    "AddData": "Additional data of other tools are not carried.",
    "Configuration": "Configurations and resources are not carried.",
    "Documentation": "Comments are carried on the program, on variables and on rungs only.",
}
_COMMENTED = ("Program", "Variable", "Rung")


def refuse_unknown_attributes(rung: Node) -> None:
    """Refuse the first attribute of a rung that is not read. Raises ProgramError."""
    for node in _walk(rung):
        if node.name not in ATTRIBUTES:
            continue
        # A flag that is off changes nothing.
        given = {key for key, value in node.attributes.items() if value not in ("false", "none")}
        for name in sorted(given - ATTRIBUTES[node.name] - _WITHOUT_MEANING):
            raise refused(
                node.place,
                f"The attribute {shortened(name)} of {node.name} can't be carried.",
                "Leave it out, or write it with other ladder elements.",
            )


def left_out(root: Node) -> Iterator[Message]:
    """Yield a note on each kind of thing that was left out: what, how often, and where first."""
    found: dict[str, list[Place]] = {}
    for node, parent in _parts(root):
        if node.name in _SAID and not (node.name == "Documentation" and parent in _COMMENTED):
            found.setdefault(_SAID[node.name], []).append(node.place)
        if node.name in ("Vars", "Variable"):
            unknown = node.attributes.keys() - ATTRIBUTES[node.name] - _WITHOUT_MEANING
            for name in sorted(unknown):
                said = f"The attribute {shortened(name)} of {node.name} is not carried."
                found.setdefault(said, []).append(node.place)
    for said, places in sorted(found.items(), key=lambda item: item[1][0].line or 0):
        times = f" ({len(places)} times)" if len(places) > 1 else ""
        place = replace(places[0], column=None)
        yield Message(Severity.NOTE, "xml", place, said.removesuffix(".") + times + ".")


def _parts(root: Node) -> Iterator[tuple[Node, str]]:
    """Yield every element with the name of the one it stands in.

    Not what stands in additional data.
    """
    todo = [(root, "")]
    while todo:
        node, parent = todo.pop()
        yield node, parent
        if node.name != "AddData":
            todo += ((child, node.name) for child in reversed(node.children))


def _walk(node: Node) -> Iterator[Node]:
    return (part for part, _ in _parts(node))
