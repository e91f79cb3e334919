"""Settings: what is taken, and what is told at the start instead of being passed over."""

from datetime import timedelta
from pathlib import Path

import pytest

from server.settings import Settings, SettingTrouble, read_settings
from server.store.database import Database, DatabaseTrouble


def read(host: str = "127.0.0.1", **named: str) -> Settings:
    with pytest.MonkeyPatch.context() as environment:
        for name, value in named.items():
            environment.setenv(f"RUNGMARK_{name}", value)
        return read_settings(Path("data"), host, 8131)


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


def test_a_path_before_the_server_is_refused() -> None:
    assert refusal(PUBLIC_URLS="https://lab.example/rungmark/") == (
        "public_urls: https://lab.example/rungmark/ has the path /rungmark/, but Rungmark has to "
        "be at the root of its host. Give it a host name of its own, like https://lab.example."
    )


@pytest.mark.parametrize(
    ("host", "addresses"),
    [
        ("0.0.0.0", ("127.0.0.1", "localhost")),
        ("::", ("127.0.0.1", "localhost", "[::1]")),
        ("2001:db8::1", ("[2001:db8::1]", "127.0.0.1", "localhost")),
        ("localhost", ("localhost", "127.0.0.1")),
    ],
)
def test_a_server_knows_the_addresses_of_its_own_machine(
    host: str, addresses: tuple[str, ...]
) -> None:
    assert read(host).public_urls == tuple(f"http://{name}:8131" for name in addresses)


def test_everything_wrong_is_told_at_once(tmp_path: Path) -> None:
    file = tmp_path / "rungmark.toml"
    file.write_text('stay_days = 0\nport = 80\nlog_level = "loud"\n')
    told = refusal(
        SETTINGS=str(file),
        LOG_LEVEL="quiet",
        UPLOADLIMIT="5",
        DATABASE_URL="mysql://lab@db/rungmark",
        OPENID_ISSUER="https://id.example",
        TIME_ZONE="Mars/Olympus",
    )
    beginnings = [
        "There is no setting RUNGMARK_UPLOADLIMIT. Did you mean RUNGMARK_UPLOAD_LIMIT?",
        "The database's URL begins with mysql. Write sqlite:///FILE",
        "stay_days is '0'. Write a whole number from 1 to 365.",
        "log_level is 'quiet'. Write one of debug, info, warning, error.",
        "openid_issuer and openid_client_id belong together. Set both.",
        "time_zone is 'Mars/Olympus'.",
        f"{file}: there is no setting port. The settings are database_url, ",
    ]
    lines = told.splitlines()
    assert len(lines) == len(beginnings)
    assert all(line.startswith(each) for line, each in zip(lines, beginnings, strict=True)), told


def test_the_environment_wins_over_the_file(tmp_path: Path) -> None:
    file = tmp_path / "rungmark.toml"
    file.write_text("idle_minutes = 5\nstay_days = 6\n")
    settings = read(SETTINGS=str(file), STAY_DAYS="7")
    assert (settings.idle, settings.stay_length) == (timedelta(minutes=5), timedelta(days=7))


@pytest.mark.parametrize("text", [None, "stay_days = ", "stay_days = [1]"])
def test_a_file_of_settings_that_cannot_be_read_is_told(tmp_path: Path, text: str | None) -> None:
    file = tmp_path / "rungmark.toml"
    if text is not None:
        file.write_text(text)
    assert len(refusal(SETTINGS=str(file)).splitlines()) == 1


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
