"""What is asked of the nodes of a file, each time refused with the place and the fix."""

from collections.abc import Callable
from typing import TypeVar

from server.ladder.messages import ProgramError
from server.ladder.names import shortened
from server.ladder.xml_tree import Node, refused

T = TypeVar("T")


def only(node: Node, *known: str) -> None:
    """Refuse a child of any other name."""
    for child in node.children:
        if child.name not in known:
            raise refused(
                child.place,
                f"{shortened(child.name)} in {node.name} can't be carried.",
                "Leave it out, or write it with ladder elements.",
            )


def attribute(node: Node, name: str) -> str:
    """Return an attribute that has to be there."""
    if name not in node.attributes:
        raise refused(node.place, f"{node.name} has no {name!r}.", "Add the attribute.")
    return node.attributes[name]


def text_of(node: Node | None) -> str:
    """Return the text of an element; empty if there is none."""
    return "" if node is None else node.text


def kind_of(node: Node) -> str:
    """Return its type (``xsi:type``) without the prefix of a namespace."""
    return node.attributes.get("type", "").rpartition(":")[2]


def parsed(node: Node, parse: Callable[[str], T], text: str) -> T:
    """Return what the text form makes of a piece of text.

    Its refusal with the place in the file.
    """
    try:
        return parse(text)
    except ProgramError as fault:
        first = fault.messages[0]
        fix = first.fix or "Write it as the text form does."
        raise refused(node.place, first.text, fix) from None
