"""Settings: what is taken, and what is told at the start instead of being passed over."""

from pathlib import Path

import pytest

from server.settings import Settings, SettingTrouble, read_settings
from server.store.database import Database, DatabaseTrouble


def read(**named: str) -> Settings:
    environment = {f"RUNGMARK_{name}": value for name, value in named.items()}
    return read_settings(Path("data"), "127.0.0.1", 8131, environment)


def refusal(**named: str) -> str:
    with pytest.raises(SettingTrouble) as trouble:
        read(**named)
    return str(trouble.value)


@pytest.mark.parametrize(
    ("written", "origin"),
    [
        ("https://lab.example/", "https://lab.example"),
        # As browsers write the header Origin (RFC 6454, 6.2).
        ("https://LAB.example:443", "https://lab.example"),
        ("http://lab.example:8131", "http://lab.example:8131"),
        ("https://[2001:db8::1]:8443", "https://[2001:db8::1]:8443"),
    ],
)
def test_a_public_address_is_an_origin(written: str, origin: str) -> None:
    assert read(PUBLIC_URLS=f"{written} http://b.example").public_urls[0] == origin


@pytest.mark.parametrize(
    "written",
    [
        "lab.example",
        "https://",
        "https:///x",
        "https://lab.example/rungmark",
        "https://lab.example?x=1",
        "https://lab.example#x",
        "https://user@lab.example",
        "https://lab.example:99999",
        "https://bücher.example",
        "ftp://lab.example",
        "https://lab.example,https://b.example",
    ],
)
def test_what_is_no_origin_is_refused(written: str) -> None:
    told = refusal(PUBLIC_URLS=f"https://a.example {written}")
    assert told.startswith(f"public_urls: {written} is not an address of this server. Write scheme")


@pytest.mark.parametrize(
    ("urls", "host", "by_tls"),
    [
        ("https://lab.example http://lab.local", "lab.example", True),
        ("https://lab.example http://lab.local", "LAB.example", True),
        ("https://lab.example http://lab.local", "lab.local", False),
        # A name that is in no list is no way around it.
        ("https://lab.example http://lab.local", "127.0.0.1:8131", True),
        ("https://lab.example http://lab.example", "lab.example", True),
        ("http://lab.local", "lab.local", False),
        ("", "127.0.0.1:8131", False),
    ],
)
def test_one_http_address_does_not_open_the_others(urls: str, host: str, by_tls: bool) -> None:
    assert read(PUBLIC_URLS=urls).by_tls(host) is by_tls


def test_a_misspelled_variable_is_told() -> None:
    assert refusal(PUBLIC_URL="https://lab.example") == (
        "There is no setting RUNGMARK_PUBLIC_URL. Did you mean RUNGMARK_PUBLIC_URLS? "
        "Correct the name, or unset the variable."
    )
    assert read(CACHE="/somewhere", SETTINGS="").upload_limit


def test_a_folder_of_exercises_that_is_not_there_is_told(tmp_path: Path) -> None:
    missing = tmp_path / "missing"
    assert refusal(EXERCISES=str(missing)) == (
        f"exercises: there is no folder {missing}. Make it, or name another."
    )


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("SECOND_FACTOR", "yes", "second_factor is 'yes'. Write one of optional, administrators."),
        ("IDLE_MINUTES", "0", "idle_minutes is '0'. Write a whole number from 1 to 43200."),
        ("STAY_DAYS", "ten", "stay_days is 'ten'. Write a whole number from 1 to 365."),
    ],
)
def test_a_value_that_cannot_be_used_is_told(name: str, value: str, sentence: str) -> None:
    assert refusal(**{name: value}) == sentence


@pytest.mark.parametrize("scheme", ["postgres", "postgresql", "postgresql+psycopg"])
def test_postgresql_by_any_of_its_names(scheme: str) -> None:
    database = Database(f"{scheme}://lab@db/rungmark")
    assert database.place == "postgresql+psycopg://lab@db/rungmark"


@pytest.mark.parametrize("url", ["mysql://lab@db/rungmark", "postgresql+asyncpg://db/x"])
def test_another_database_is_refused_in_one_sentence(url: str) -> None:
    with pytest.raises(DatabaseTrouble, match=r"^The database's URL begins with .* Write sqlite:"):
        Database(url)
