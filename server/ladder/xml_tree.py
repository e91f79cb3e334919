"""XML read safely into plain nodes with their places: bounded, and without document types.

A document type could define entities that grow without bound or name other files, so it is
refused before anything of it is read.
"""

from dataclasses import dataclass, field
from xml.parsers import expat

from server.ladder.messages import Place, ProgramError, error

MAX_XML_BYTES = 2_000_000
MAX_XML_DEPTH = 40
MAX_XML_NODES = 60_000

_SEPARATOR = " "


@dataclass(slots=True)
class Node:
    """One element: its local name, namespace, attributes, where it begins, children and text."""

    name: str
    namespace: str
    attributes: dict[str, str]
    place: Place
    children: list["Node"] = field(default_factory=list)
    text: str = ""

    def all(self, name: str) -> list["Node"]:
        """Children of this name."""
        return [child for child in self.children if child.name == name]

    def first(self, name: str) -> "Node | None":
        """Return the first child of this name, or None."""
        return next((child for child in self.children if child.name == name), None)


def refused(place: Place, text: str, fix: str) -> ProgramError:
    """Return the error of a file that is not read, with its place and its fix."""
    return ProgramError([error("xml", place, text, fix)])


def parse_xml(data: bytes) -> Node:
    """Return the root element. Raises ProgramError with line and column."""
    if len(data) > MAX_XML_BYTES:
        raise refused(
            Place(),
            f"The file has {len(data)} bytes; {MAX_XML_BYTES} are possible.",
            "Hand on one program at a time.",
        )
    builder = _Builder()
    parser = builder.parser
    try:
        parser.Parse(data, True)
    except expat.ExpatError as fault:
        place = Place(line=fault.lineno, column=fault.offset + 1)
        raise refused(
            place,
            f"This is not well-formed XML: {expat.ErrorString(fault.code)}.",
            "Export it again.",
        ) from None
    except ProgramError:
        raise
    except (LookupError, ValueError):
        # ValueError: an encoding that does not have one sign in one byte, such as utf-7.
        raise refused(
            Place(line=1, column=1), "The file's encoding is not known.", "Save it as UTF-8."
        ) from None
    assert builder.root is not None, "a well-formed document has a root"
    return builder.root


class _Builder:
    """Handlers that grow the tree and refuse what is not read."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self.parser = expat.ParserCreate(namespace_separator=_SEPARATOR)
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.parser.buffer_text = True
        self._open: list[Node] = []
        self._count = 0

    def _place(self) -> Place:
        return Place(line=self.parser.CurrentLineNumber, column=self.parser.CurrentColumnNumber + 1)

    def _doctype(self, *_: object) -> None:
        raise refused(
            self._place(), "The file has a document type, which is not read.", "Leave it out."
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        namespace, _, local = name.rpartition(_SEPARATOR)
        place = self._place()
        named = {key.rpartition(_SEPARATOR)[2]: value for key, value in attributes.items()}
        node = Node(local, namespace, named, place)
        self._count += 1
        if self._count > MAX_XML_NODES:
            raise refused(
                place,
                f"The file has more than {MAX_XML_NODES} elements.",
                "Hand on less at a time.",
            )
        if len(self._open) >= MAX_XML_DEPTH:
            raise refused(
                place,
                f"Elements are nested more than {MAX_XML_DEPTH} deep.",
                "Nest them less deeply.",
            )
        if self._open:
            self._open[-1].children.append(node)
        else:
            self.root = node
        self._open.append(node)

    def _end(self, _name: str) -> None:
        self._open.pop()

    def _text(self, data: str) -> None:
        self._open[-1].text += data
