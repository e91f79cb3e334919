"""The blocks of the administrator's guide: commands and files."""

import re
from dataclasses import dataclass
from textwrap import dedent

from server.paths import TEMPLATES

GUIDE = TEMPLATES / "help" / "operating.md"

_BLOCK = re.compile(r"^(?P<before>\S.*)\n\n(?P<text>(?:    .*\n|\n)+)", re.MULTILINE)
_FILE = re.compile(r"`(/[^`]+)`:$")


@dataclass(frozen=True, slots=True)
class Block:
    """An indented block of a section: the content of ``file``, or commands without one."""

    section: str
    file: str
    text: str


def blocks() -> list[Block]:
    """Return the blocks of the guide in their order."""
    found = []
    for part in re.split(r"^## ", GUIDE.read_text("utf-8"), flags=re.MULTILINE)[1:]:
        section, _, text = part.partition("\n")
        for match in _BLOCK.finditer(text):
            file = _FILE.search(match["before"])
            name = file[1] if file else ""
            found.append(Block(section, name, dedent(match["text"]).strip("\n") + "\n"))
    return found
