"""The documents say what is there, and stay short."""

import re
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from server.paths import PACKAGE
from server.settings import NAMES, NOT_SETTINGS

ROOT = PACKAGE.parent
HELP = ROOT / "templates/help"


def test_the_readme_begins_with_exactly_two_commands() -> None:
    readme = (ROOT / "README.md").read_text()
    commands = re.findall(r"^```\n(.*?)\n```$", readme, re.MULTILINE | re.DOTALL)
    assert commands == ["uv run rungmark serve --demo", "uv run pytest"]


def test_each_variable_of_the_environment_is_explained() -> None:
    names = {f"RUNGMARK_{name.upper()}" for name in NAMES | NOT_SETTINGS}
    assert names == set(re.findall(r"RUNGMARK_\w+", (HELP / "operating.md").read_text()))


def test_every_needed_package_is_pinned_by_hash() -> None:
    text = (ROOT / ".build/constraints.txt").read_text()
    pins = re.findall(
        r"^([\w.-]+)==\S+(?: ; .+)? \\\n(?:    --hash=sha256:[0-9a-f]{64}.*\n)+", text, re.MULTILINE
    )
    assert "://" not in text
    assert len(pins) == len(re.findall(r"^\S", text, re.MULTILINE))
    needed = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    names = {canonicalize_name(Requirement(each).name) for each in needed}
    assert names <= set(pins)


def test_each_threat_has_a_test() -> None:
    text = (ROOT / "tests/README.md").read_text().partition("## Threats")[2].partition("\n\n| ")[2]
    rows = re.findall(r"^\| .* \| .* \| (.*) \|$", text.partition("\n\n")[0], re.MULTILINE)
    assert len(rows) > 20
    for row in rows[1:]:
        files = re.findall(r"`(tests/[\w/]+\.py)`", row)
        assert files, row
        assert all("def test_" in (ROOT / file).read_text() for file in files), row


def test_each_test_that_the_map_names_exists() -> None:
    files = list((ROOT / "tests").rglob("test_*.py"))
    there = {file.name for file in files}
    there |= {name for file in files for name in re.findall(r"def (test_\w+)", file.read_text())}
    named = re.findall(r"`(test_\w+(?:\.py)?)`", (ROOT / "tests/README.md").read_text())
    assert len(named) > 60
    assert sorted(set(named) - there) == []


def test_each_line_of_the_verification_standard_is_answered() -> None:
    text = (ROOT / "tests/README.md").read_text().partition("## OWASP ASVS")[2]
    rows = re.findall(
        r"^\| (\d+\.\d+\.\d+) \| ([12]) \| .+ \| (.+) \| (.+) \|$", text, re.MULTILINE
    )
    # So many requirements has version 5.0.0 at level 1, and at level 2 in addition.
    assert Counter(level for _, level, _, _ in rows) == {"1": 70, "2": 183}
    assert len({number for number, *_ in rows}) == len(rows)
    answers = Counter(answer for _, _, answer, _ in rows)
    assert answers.keys() == {"held", "not held", "n/a"}
    told = f"{answers['held']} are held, {answers['not held']} are not, {answers['n/a']} do not"
    assert told in text


@pytest.mark.parametrize(("document", "most"), [("README.md", 700), ("DEVELOPERS.md", 1500)])
def test_a_document_stays_short(document: str, most: int) -> None:
    assert len((ROOT / document).read_text().split()) <= most


@pytest.mark.parametrize(
    "document", ["README.md", "DEVELOPERS.md", "tests/README.md", "exercises/README.md"]
)
def test_files_that_a_document_names_exist(document: str) -> None:
    text = (ROOT / document).read_text()
    folders = "server|templates|static|exercises|migrations|tests|\\.ci|\\.build"
    named = set(re.findall(rf"`((?:{folders})/[\w./-]*)`", text))
    fetched = {"static/vendor/"}
    assert [name for name in sorted(named - fetched) if not (ROOT / Path(name)).exists()] == []
