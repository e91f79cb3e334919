"""Guides: Markdown files of ``templates/help/`` and the author's manual, in sections by heading."""

import re
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from server.paths import EXERCISES, TEMPLATES
from server.web.rendering import markdown

HELP = TEMPLATES / "help"

GUIDES: dict[str, Path] = {
    "students": HELP / "students.md",
    "instructors": HELP / "instructors.md",
    "verdicts": HELP / "verdicts.md",
    "authoring": EXERCISES / "README.md",
    "department": HELP / "department.md",
    "operating": HELP / "operating.md",
    "accessibility": HELP / "accessibility.md",
    "privacy": HELP / "privacy.md",
    "changes": HELP / "changes.md",
}
"""By their name in the address, in the order of the list."""


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
    file = GUIDES.get(name)
    if file is None:
        return None
    heading, _, text = file.read_text("utf-8").partition("\n")
    introduction, *rest = re.split(r"^## ", text, flags=re.MULTILINE)
    sections = []
    for part in rest:
        title, _, body = part.partition("\n")
        sections.append(GuideSection(_address_of(title), title, markdown(body), f"{title}\n{body}"))
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


def _address_of(heading: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", heading.casefold()).strip("-")
