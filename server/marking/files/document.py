"""A YAML text as plain data that knows where each part of it stands.

YAML 1.2: only true and false are BOOLs, so ``on``, ``off``, ``no`` stay words. Anchors, tags and
repeated keys are refused: a file says each thing once, where it is read.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

from ruamel.yaml import YAML
from ruamel.yaml.composer import Composer
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from server.ladder.names import clean_line, shortened
from server.marking.files.placeholders import Filled

MAX_FILE_BYTES = 200_000
MAX_NODES = 10_000
"""Keys, values and lists of one file; the largest exercise that is shipped has some 2,800."""
MAX_OPEN = 60
"""Brackets open at once, or dashes in a row: the YAML reader's time grows with their square."""

FieldPath: TypeAlias = tuple[str | int, ...]
"""Where a part stands in the data: keys and, from 0, places in lists."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a file: line and column from 1, the field, one or two sentences."""

    line: int
    column: int
    field: str
    sentence: str

    def __str__(self) -> str:
        field_name = f" {self.field}:" if self.field else ""
        return f"{self.line}:{self.column}:{field_name} {self.sentence}"


class FileFault(ValueError):
    """A file that can't be used.

    Printed, it has a line ``file:line:column: field: sentence`` for every fault.
    """

    def __init__(self, file: str, faults: list[Fault]) -> None:
        self.file = file
        self.faults = tuple(sorted(faults, key=lambda f: (f.line, f.column)))
        super().__init__("\n".join(f"{file}:{fault}" for fault in self.faults))


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where the first character of a part stands, from 1; ``indent`` holds for further lines."""

    line: int
    column: int
    indent: int = 0


@dataclass(slots=True)
class Document:
    """The data of one file and the faults found in it so far.

    ``filled`` has the texts in which values stand for names of parameters.
    """

    file: str
    data: Any = None
    faults: list[Fault] = field(default_factory=list)
    advice: list[Fault] = field(default_factory=list)
    values: dict[FieldPath, _Spot] = field(default_factory=dict)
    keys: dict[FieldPath, _Spot] = field(default_factory=dict)
    filled: dict[FieldPath, Filled] = field(default_factory=dict)

    def fault(self, path: FieldPath, sentence: str, *, line: int = 1, column: int = 1) -> None:
        """Note what is wrong with the part at ``path``.

        ``line`` and ``column`` (from 1) count inside that part, where it is a text.
        """
        spot = self._spot(path)
        if path in self.filled:
            column = self.filled[path].column(line, column)
        before = spot.column if line == 1 else spot.indent + 1
        place = (spot.line + line - 1, before + column - 1)
        self.faults.append(Fault(*place, format_path(path), sentence))

    def advise(self, path: FieldPath, sentence: str) -> None:
        """Note what could be better at ``path``; it does not make the file faulty."""
        spot = self._spot(path)
        self.advice.append(Fault(spot.line, spot.column, format_path(path), sentence))

    def afresh(self) -> "Document":
        """Return the same data, without the faults that were found so far."""
        return replace(self, faults=[], advice=[])

    def refuse_if_faulty(self) -> None:
        """Raise FileFault with all faults, if there are any."""
        if self.faults:
            raise FileFault(self.file, self.faults)

    def _spot(self, path: FieldPath) -> _Spot:
        while path:
            if path in self.values:
                return self.values[path]
            path = path[:-1]
        return self.values.get((), _Spot(1, 1))

    def fault_of_key(self, path: FieldPath, sentence: str) -> None:
        """Note what is wrong with the key at ``path``, rather than with its value."""
        spot = self.keys.get(path) or self._spot(path)
        self.faults.append(Fault(spot.line, spot.column, format_path(path), sentence))


def read_document(file: str, content: bytes) -> Document:
    """Read one YAML file. Raises FileFault when it can't be read at all."""
    document = Document(file)
    if len(content) > MAX_FILE_BYTES:
        document.fault((), f"The file has more than {MAX_FILE_BYTES // 1000} kB. Make it smaller.")
        document.refuse_if_faulty()
    try:
        text = content.decode("utf-8-sig")
        if _too_deep(text):
            raise RecursionError
        yaml = YAML(typ="safe", pure=True)
        yaml.Composer = _BoundedComposer
        node = yaml.compose(text)
    except _TooMany as problem:
        document.fault(
            (), f"The file has more than {MAX_NODES} values. Make it smaller.", line=problem.line
        )
    except UnicodeDecodeError as problem:
        line = content.count(b"\n", 0, problem.start) + 1
        document.faults.append(Fault(line, 1, "", "The file is not UTF-8. Save it as UTF-8."))
    except MarkedYAMLError as problem:
        document.faults.append(_yaml_fault(problem))
    except YAMLError:
        document.fault((), "The file holds characters that no text has. Leave them out.")
    except RecursionError:
        document.fault((), "The file nests lists too deeply. Write them flat.")
    else:
        if node is None:
            document.fault((), "The file is empty. Write the exercise into it.")
        else:
            document.data = _Reader(document, text).value((), node)
    document.refuse_if_faulty()
    return document


class _TooMany(Exception):
    """A text has more parts than are read; the reader stops at ``line``."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


class _BoundedComposer(Composer):
    """Stops at the first part that is too much, before time is spent on the rest."""

    _nodes = 0

    def compose_node(self, parent: Any, index: Any) -> Any:
        self._nodes += 1
        if self._nodes > MAX_NODES:
            raise _TooMany(self.parser.peek_event().start_mark.line + 1)
        return super().compose_node(parent, index)


def format_path(path: FieldPath) -> str:
    """Return a path as people count, lists from 1: ``requirements.2.checks.1.never``."""
    return ".".join(
        clean_line(str(part + 1 if isinstance(part, int) else part))[:60] for part in path
    )


def _too_deep(text: str) -> bool:
    depth = 0
    for bracket in re.finditer(r"[][{}]", text):
        depth = depth + 1 if bracket[0] in "[{" else max(0, depth - 1)
        if depth > MAX_OPEN:
            return True
    return re.search(rf"(?:[-?:] +){{{MAX_OPEN}}}", text) is not None


def _yaml_fault(problem: MarkedYAMLError) -> Fault:
    mark = problem.problem_mark or problem.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    said = str(problem.problem or problem.context)
    if "'\\t'" in said:
        return Fault(line, column, "", "A tab stands where spaces belong. Indent with spaces.")
    return Fault(line, column, "", f"This is no YAML: {clean_line(said)}.")


class _Reader:
    """Nodes to data; what each part is and where it stands goes into the document."""

    def __init__(self, document: Document, text: str) -> None:
        self._document = document
        self._lines = text.splitlines()

    def value(self, path: FieldPath, node: Node) -> Any:
        self._document.values[path] = self._spot(node)
        if node.anchor is not None:
            self._document.fault(path, "Anchors (&) are not used here. Write the part out again.")
            return None
        match node:
            case MappingNode():
                return dict(self._entries(path, node))
            case SequenceNode():
                return [self.value((*path, i), item) for i, item in enumerate(node.value)]
            case ScalarNode():
                return self._scalar(path, node)
            case _:
                raise AssertionError("YAML has three kinds of node")

    def _entries(self, path: FieldPath, node: MappingNode) -> Iterator[tuple[str, Any]]:
        seen: set[str] = set()
        for key_node, value_node in node.value:
            key = str(key_node.value) if isinstance(key_node, ScalarNode) else "?"
            inner = (*path, key)
            self._document.keys[inner] = self._spot(key_node)
            if not isinstance(key_node, ScalarNode):
                self._document.fault_of_key(inner, "A key is one word or phrase, no list.")
            elif key in seen:
                self._document.fault_of_key(inner, f"{shortened(key)} stands here twice.")
            else:
                seen.add(key)
                yield key, self.value(inner, value_node)

    def _scalar(self, path: FieldPath, node: ScalarNode) -> Any:
        text = str(node.value)
        match str(node.tag).rpartition(":")[2]:
            case "str":
                return text
            case "int" if text.lstrip("+-").isdecimal() and len(text) <= 12:
                return int(text)
            case "float" if len(text) <= 24 and any(map(str.isdigit, text)):
                return float(text)
            case "bool":
                return text.lower() == "true"
            case "null":
                return None
        self._document.fault(path, f"{shortened(text)} can't be read. Put a text into quotes.")
        return None

    def _spot(self, node: Node) -> _Spot:
        line, column = node.start_mark.line + 1, node.start_mark.column + 1
        match getattr(node, "style", None):
            case "|" | ">":
                content = next((row for row in self._lines[line:] if row.strip()), "")
                indent = len(content) - len(content.lstrip(" "))
                return _Spot(line + 1, indent + 1, indent)
            case "'" | '"':
                return _Spot(line, column + 1)
        return _Spot(line, column)
