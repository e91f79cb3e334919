"""The one table of what the rung editor can do: words, key and symbol of each command.

Toolbar, command list and keyboard are all made from it; static/editor.js knows what each does.
A key is written as the browser names it, with Ctrl+ and Shift+ before it.
"""

from dataclasses import dataclass

from server.ladder.elements import (
    ASSIGNMENT_HELP,
    BLOCK_TYPES,
    COMPARISON_HELP,
    CoilKind,
    ContactKind,
    Operator,
)


@dataclass(frozen=True, slots=True)
class EditorCommand:
    """``key`` as the browser names it, ``shown`` as it is printed; ``symbol`` is a drawing's name.

    ``also`` are words by which somebody might look for it, ``brief`` is its name on the bench.
    """

    id: str
    words: str
    key: str
    symbol: str = ""
    also: str = ""
    brief: str = ""

    @property
    def shown(self) -> str:
        return "+".join(_KEYS.get(part, part.upper()) for part in self.key.split("+"))


@dataclass(frozen=True, slots=True)
class Group:
    name: str
    commands: tuple[EditorCommand, ...]


def _words(operator: Operator) -> str:
    """Return the words of an operator, to be searched."""
    return f"{operator} {operator.row.words.replace('{}', '')}"


_KEYS = {
    "ArrowRight": "→",
    "ArrowLeft": "←",
    "ArrowDown": "↓",
    "ArrowUp": "↑",
    "Ctrl": "Ctrl",
    "Shift": "Shift",
    "Enter": "Enter",
    "Delete": "Delete",
}

GROUPS = (
    Group(
        "Contacts",
        (
            EditorCommand(
                "open", ContactKind.OPEN.row.help.title, "n", "open", "NO input", brief="open"
            ),
            EditorCommand(
                "closed",
                ContactKind.CLOSED.row.help.title,
                "Shift+n",
                "closed",
                "NC not input",
                brief="closed",
            ),
            EditorCommand(
                "rising",
                ContactKind.RISING.row.help.title,
                "e",
                "rising",
                "positive transition P",
                brief="rising",
            ),
            EditorCommand(
                "falling",
                ContactKind.FALLING.row.help.title,
                "Shift+e",
                "falling",
                "negative transition",
                brief="falling",
            ),
            EditorCommand(
                "comparison",
                COMPARISON_HELP.title,
                "v",
                "comparison",
                "value number less greater",
                brief="compare",
            ),
            EditorCommand(
                "block",
                "Timer, counter, block",
                "b",
                "block",
                " ".join(BLOCK_TYPES),
                brief="block",
            ),
        ),
    ),
    Group(
        "Outputs",
        (
            EditorCommand(
                "coil", CoilKind.COIL.row.help.title, "q", "coil", "output", brief="coil"
            ),
            EditorCommand(
                "negated",
                CoilKind.NEGATED.row.help.title,
                "Shift+q",
                "negated",
                "not output",
                brief="negated",
            ),
            EditorCommand("set", CoilKind.SET.row.help.title, "s", "set", "latch on", brief="set"),
            EditorCommand(
                "reset", CoilKind.RESET.row.help.title, "Shift+s", "reset", "off", brief="reset"
            ),
            EditorCommand(
                "assignment",
                ASSIGNMENT_HELP.title,
                "a",
                "assignment",
                " ".join(["number add subtract", *map(_words, Operator)]),
                brief="assign",
            ),
        ),
    ),
    Group(
        "Place",
        (
            EditorCommand("place-after", "Insert after, in series", "Shift+ArrowRight", "after"),
            EditorCommand("place-before", "Insert before, in series", "Shift+ArrowLeft", "before"),
            EditorCommand(
                "place-parallel",
                "Insert in parallel",
                "Shift+ArrowDown",
                "parallel",
                "branch around seal-in",
            ),
            EditorCommand("place-branch", "Insert a branch below this branch", "Shift+p"),
            EditorCommand(
                "mark", "Mark one end of a branch or of several rungs", "m", also="around range"
            ),
        ),
    ),
    Group(
        "Selected element",
        (
            EditorCommand("edit", "Change the text", "Enter", also="symbol rename preset"),
            EditorCommand(
                "about",
                "About what is selected",
                "h",
                "about",
                brief="about",
                also="help explain element timing picture where used cross reference serves",
            ),
            EditorCommand("why", "Why is it so in the run?", "w", also="cause reason plant signal"),
            EditorCommand("vary", "Next kind", "x", also="open closed edge set reset negate"),
            EditorCommand(
                "left", "Move left; an output, up", "Ctrl+ArrowLeft", also="order earlier"
            ),
            EditorCommand(
                "right", "Move right; an output, down", "Ctrl+ArrowRight", also="order later"
            ),
            EditorCommand("delete", "Delete", "Delete", also="remove erase"),
            EditorCommand("copy", "Copy", "Ctrl+c", also="clipboard several"),
            EditorCommand("cut", "Cut", "Ctrl+x", also="clipboard move several"),
            EditorCommand("paste", "Paste behind", "Ctrl+v", also="clipboard insert"),
        ),
    ),
    Group(
        "Rung",
        (
            EditorCommand("rung-below", "New rung below", "l", "rung", brief="rung"),
            EditorCommand("rung-above", "New rung above", "Shift+l"),
            EditorCommand(
                "text", "Rung as text", "t", "text", also="type structured", brief="text"
            ),
            EditorCommand(
                "comment",
                "Comment and requirements",
                "c",
                "comment",
                also="serves note document",
                brief="comment",
            ),
            EditorCommand("duplicate", "Duplicate the rung", "d", also="copy"),
            EditorCommand("up", "Move the rung up", "Ctrl+ArrowUp"),
            EditorCommand("down", "Move the rung down", "Ctrl+ArrowDown"),
            EditorCommand("rung-delete", "Delete the rung", "Shift+Delete", also="remove erase"),
        ),
    ),
    Group(
        "Program",
        (
            EditorCommand("find", "Find a symbol", "f", also="search cross reference uses"),
            EditorCommand("undo", "Undo", "Ctrl+z", also="back"),
            EditorCommand("redo", "Redo", "Ctrl+y", also="again forward"),
            EditorCommand(
                "declare", "Declare a variable", "g", also="bit number timer instance retain"
            ),
            EditorCommand(
                "versions",
                "Versions and files",
                "k",
                also="keep name compare export import text XML hand on",
            ),
            EditorCommand("print", "Print", "p", also="paper PDF"),
            EditorCommand("commands", "All commands", "?", also="keys help list"),
        ),
    ),
)
assert {kind.row.help.title for kind in (*ContactKind, *CoilKind)} <= {
    command.words for group in GROUPS for command in group.commands
}, "every contact and coil has a command"
