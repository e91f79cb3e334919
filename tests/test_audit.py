"""What is installed has no known advisory and an accepted licence, as far as the data go."""

import tomllib
from datetime import date
from typing import Any

import pytest

from tests.audit import DATA, Package, age, installed, refreshed, wrong_with

TODAY = date(2026, 11, 25)
TEXT = DATA.read_text(encoding="utf-8")


def told(name: str, version: str, licence: str = "MIT") -> list[str]:
    return list(wrong_with([Package(name, version, licence)], tomllib.loads(TEXT)))


def test_what_is_installed_may_be_used() -> None:
    assert list(wrong_with(installed(), tomllib.loads(TEXT))) == []


def test_a_version_with_an_advisory_is_refused() -> None:
    assert told("starlette", "0.38.6") == []
    assert told("starlette", "0.39.0") == [
        "starlette 0.39.0 has CVE-2025-62727. Use 0.49.1 or newer."
    ]
    assert told("starlette", "0.49.1rc1") != []
    assert told("starlette", "0.49.1") == []


@pytest.mark.parametrize(
    ("licence", "accepted"),
    [
        ("MIT", True),
        ("MIT AND PSF-2.0", True),
        ("GPL-3.0 OR MIT", True),
        ("MIT AND GPL-3.0", False),
        ("GPL-3.0", False),
        ("", False),
    ],
)
def test_a_licence_is_accepted_or_named_with_a_reason(licence: str, accepted: bool) -> None:
    assert (told("a", "1", licence) == []) is accepted
    assert told("psycopg", "1", licence) == []


def test_it_says_how_old_its_data_are() -> None:
    data = tomllib.loads(TEXT)
    assert "was ever asked" in age(data | {"asked_on": "never"}, TODAY)
    assert age(data | {"asked_on": "2026-11-20"}, TODAY).endswith("2026-11-20, 5 days ago.")
    assert age(data | {"asked_on": "2026-01-01"}, TODAY).endswith("That is old.")


def report(*dependencies: dict[str, Any]) -> dict[str, Any]:
    """As pip-audit 2.10 writes it (read in its source, ``_format/json.py``)."""
    return {"dependencies": list(dependencies), "fixes": []}


def test_a_refresh_adds_what_was_found_and_the_day() -> None:
    found = {"id": "PYSEC-2026-1", "fix_versions": ["1.9.5", "2.0.1"], "aliases": []}
    asked = report(
        {"name": "Some_Package", "version": "2.0.0", "vulns": [found]},
        {"name": "jinja2", "version": "3.1.6", "vulns": []},
    )
    text = refreshed(TEXT, asked, TODAY)
    data = tomllib.loads(text)
    assert data["asked_on"] == "2026-11-25"
    assert data["licences"] == tomllib.loads(TEXT)["licences"]
    (sentence,) = wrong_with([Package("some-package", "2.0.0", "MIT")], data)
    assert sentence == "some-package 2.0.0 has PYSEC-2026-1. Use 2.0.1 or newer."
    assert tomllib.loads(refreshed(text, asked, TODAY)) == data


def test_a_refresh_that_could_not_ask_changes_nothing() -> None:
    skipped = {"name": "fastapi", "skip_reason": "not found"}
    with pytest.raises(ValueError, match="1 packages could not be asked about, fastapi first"):
        refreshed(TEXT, report(skipped), TODAY)
