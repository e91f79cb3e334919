"""A new kind of check or rule that is not complete is refused when the server starts."""

from pathlib import Path
from textwrap import dedent

import pytest

from server.marking import checks, structure
from server.marking.structure import ProgramRule

HEAD = """
from server.marking.check import Pattern
from server.marking.expression import Expression
"""


def defined(text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Read a file as one of the folder of checks."""
    (tmp_path / f"{name}.py").write_text(HEAD + dedent(text))
    monkeypatch.setattr(checks, "__path__", [str(tmp_path)])
    checks.kind_in(name)


def test_a_check_that_lacks_something_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = """
    class Happens(Pattern):
        menu = "happens: now and then"
        happens: Expression

        @property
        def judged(self) -> Expression:
            return self.happens

        def describe(self) -> str:
            return "it happens"
    """
    with pytest.raises(TypeError) as refused:
        defined(text, tmp_path, monkeypatch, "incomplete")
    assert str(refused.value) == (
        "The check Happens lacks circuit, courses, never_came, violation, draft. Add it."
    )


def test_a_file_of_the_folder_is_one_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(TypeError, match="nothing defines 0 checks"):
        defined("", tmp_path, monkeypatch, "nothing")


def test_a_rule_that_lacks_something_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    class Short(ProgramRule):
        name = "short"

    monkeypatch.setattr(ProgramRule, "__subclasses__", lambda: [Short])
    with pytest.raises(TypeError) as refused:
        structure.rules_by_name()
    assert str(refused.value) == "The rule Short lacks complaint, meaning. Add it."
