"""Guides: Markdown of ``templates/help/``, the author's manual, the list of fields; by heading."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from markupsafe import Markup

from server.paths import EXERCISES, TEMPLATES
from server.web.help.fields_guide import fields_guide
from server.web.rendering import markdown

HELP = TEMPLATES / "help"


def _file(path: Path) -> Callable[[], str]:
    return partial(path.read_text, "utf-8")


GUIDES: dict[str, Callable[[], str]] = {
    "students": _file(HELP / "students.md"),
    "instructors": _file(HELP / "instructors.md"),
    "verdicts": _file(HELP / "verdicts.md"),
    "authoring": _file(EXERCISES / "README.md"),
    "fields": fields_guide,
    "department": _file(HELP / "department.md"),
    "operating": _file(HELP / "operating.md"),
    "accessibility": _file(HELP / "accessibility.md"),
    "privacy": _file(HELP / "privacy.md"),
    "changes": _file(HELP / "changes.md"),
}
"""What gives the Markdown of each, by its name in the address, in the order of the list."""


@dataclass(frozen=True, slots=True)
class GuideSection:
    """A part under a heading of the second level; ``id`` names it in the address."""

    id: str
    heading: str
    html: Markup
    words: str


@dataclass(frozen=True, slots=True)
class Guide:
    """``introduction`` stands before the first section."""

    name: str
    title: str
    introduction: Markup
    sections: tuple[GuideSection, ...]


def read_guide(name: str) -> Guide | None:
    """Return the guide with this name in the address; None if there is none."""
    source = GUIDES.get(name)
    if source is None:
        return None
    heading, _, text = source().partition("\n")
    introduction, *rest = re.split(r"^## ", text, flags=re.MULTILINE)
    sections = []
    for part in rest:
        title, _, body = part.partition("\n")
        sections.append(
            GuideSection(section_address(title), title, markdown(body), f"{title}\n{body}")
        )
    return Guide(name, heading.removeprefix("# "), markdown(introduction), tuple(sections))


def all_guides() -> list[Guide]:
    return [guide for name in GUIDES if (guide := read_guide(name))]


def find_sections(query: str) -> list[tuple[Guide, GuideSection]]:
    """Return the sections that contain every word of the query."""
    words = query.casefold().split()
    return [
        (guide, section)
        for guide in all_guides()
        for section in guide.sections
        if words and all(word in section.words.casefold() for word in words)
    ]


def section_address(heading: str) -> str:
    """Return the address of the section with this heading."""
    return re.sub(r"[^a-z0-9]+", "-", heading.casefold()).strip("-")
