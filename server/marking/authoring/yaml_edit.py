"""Changes of a YAML text at a place in it; comments, order and layout of the rest stay.

A path has keys and places in lists, counted from 0. A text that can't be read is refused with
FileFault, a path that leads nowhere with LookupError; the text is then as it was.
"""

import re
from collections.abc import Callable
from copy import deepcopy
from io import StringIO
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.scalarstring import DoubleQuotedScalarString, LiteralScalarString

from server.marking.files.document import FieldPath, read_document

WIDTH = 1_000_000
"""Never reached: a key of two words that is broken over two lines can't be read again."""


_PLAIN = re.compile(r"[\w(]")
"""How a text begins that may do without quotes; the writer quotes what else needs it."""


def set_value(text: str, path: FieldPath, value: Any) -> str:
    """Put a value at ``path``; None takes the key, or the item of a list, out."""

    def change(root: Any) -> None:
        parent = _at(root, path[:-1], make=value is not None)
        key = path[-1]
        if value is not None:
            if isinstance(parent, list) and key == len(parent):
                parent.append(_node(value))
            else:
                parent[key] = _node(value)
        elif not isinstance(parent, dict) or key in parent:
            parent.pop(key)

    return _changed(text, change)


def add_part(text: str, path: FieldPath, part: Any) -> str:
    """Add an item to the end of the list at ``path``, which is made if it is missing."""

    def change(root: Any) -> None:
        parent = _at(root, path[:-1], make=True)
        if not isinstance(parent, dict):
            raise LookupError(path)
        found = parent.get(path[-1])
        if not isinstance(found, list):
            found = parent[path[-1]] = CommentedSeq()
        elif isinstance(found, CommentedSeq) and not found:
            found.fa.set_block_style()
        found.append(_node(part))

    return _changed(text, change)


def move_part(text: str, path: FieldPath, by: int) -> str:
    """Move an item of a list up (negative) or down; at the ends it stays."""

    def change(root: Any) -> None:
        parent, place = _at(root, path[:-1]), path[-1]
        if not isinstance(parent, list) or not isinstance(place, int) or place >= len(parent):
            raise LookupError(path)
        item = parent.pop(place)
        parent.insert(min(max(0, place + by), len(parent)), item)

    return _changed(text, change)


def change_texts(
    text: str,
    change: Callable[[FieldPath, str], str],
    change_key: Callable[[FieldPath, str], str],
) -> str:
    """Put ``change(path, text)`` in place of every text and key at ``path``; layout stays."""

    def walk(node: Any, path: FieldPath) -> None:
        if isinstance(node, CommentedMap):
            for place, key in enumerate(list(node)):
                walk_value(node, key, (*path, key))
                new = change_key((*path, key), key) if isinstance(key, str) else key
                if new != key and new not in node:
                    node.insert(place, new, node.pop(key))
        else:
            for place in range(len(node)):
                walk_value(node, place, (*path, place))

    def walk_value(node: Any, key: Any, path: FieldPath) -> None:
        value = node[key]
        if isinstance(value, dict | list):
            walk(value, path)
        elif isinstance(value, str) and (new := change(path, value)) != value:
            node[key] = type(value)(new)

    return _changed(text, lambda root: walk(root, ()))


def _changed(text: str, change: Callable[[Any], None]) -> str:
    # What is too large, too deep or no YAML is refused here before it reaches the slower reader.
    read_document("exercise.yaml", text.encode())
    yaml = YAML(typ="rt", pure=True)
    yaml.width = WIDTH
    yaml.indent(mapping=2, sequence=4, offset=2)
    yaml.allow_unicode = True
    root = yaml.load(text)
    try:
        change(root)
    except (TypeError, IndexError, AttributeError) as nowhere:
        raise LookupError("The path leads nowhere.") from nowhere
    out = StringIO()
    yaml.dump(root, out)
    return out.getvalue()


def _at(root: Any, path: FieldPath, *, make: bool = False) -> Any:
    for key in path:
        if make and isinstance(root, dict) and root.get(key) is None:
            root[key] = CommentedMap()
        root = root[key]
    return root


def _node(value: Any) -> Any:
    """Plain data as it is laid out in a file: small parts on one line, texts below their key."""
    match value:
        case str() if "\n" in value:
            return LiteralScalarString(value.rstrip("\n") + "\n")
        case str() if not _PLAIN.match(value) or "\t" in value:
            return DoubleQuotedScalarString(value)
        case dict():
            node = CommentedMap({key: _node(inner) for key, inner in value.items()})
            if not any(isinstance(inner, list | dict) and inner for inner in value.values()):
                node.fa.set_flow_style()
            return node
        case list() | tuple():
            items = CommentedSeq(_node(inner) for inner in value)
            if not any(isinstance(inner, dict | list) for inner in value):
                items.fa.set_flow_style()
            return items
        case _:
            return deepcopy(value)
