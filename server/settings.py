"""The settings of one server: from the environment or a file, read once and frozen.

Nothing else in the project reads either. Each setting is an environment variable RUNGMARK_NAME
or a line ``name = "value"`` of the TOML file that RUNGMARK_SETTINGS names; the environment wins.
"""

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from zoneinfo import available_timezones

from server.paths import EXERCISES

PREFIX = "RUNGMARK_"

NAMES = {
    "database_url",
    "public_urls",
    "exercises",
    "session_hours",
    "upload_limit",
    "metrics_token",
    "log_level",
    "key_secret",
    "openid_name",
    "openid_issuer",
    "openid_client_id",
    "openid_client_secret",
    "time_zone",
}

LOG_LEVELS = ("debug", "info", "warning", "error")


class SettingTrouble(Exception):
    """A setting can't be used; the text says which, where and how to mend it."""


@dataclass(frozen=True, slots=True)
class OpenIdProvider:
    """An OpenID Connect provider by which people with an account here may sign in.

    ``name`` is what the button calls it.
    """

    name: str
    issuer: str
    client_id: str
    client_secret: str


@dataclass(frozen=True, slots=True)
class Settings:
    """How one server runs.

    ``database_url``: SQLite in the data folder unless named.
    ``public_urls``: origins (scheme://host[:port]) under which browsers see this server; a form
    or socket from any other origin is refused.
    ``upload_limit``: bytes of one request body.
    ``metrics_token``: what /metrics asks for; empty lets this machine alone read it.
    ``key_secret``: keeps private keys in the database unreadable without it; empty keeps them open.
    ``time_zone``: that of the college until its page says another.
    ``openid``: where else one may sign in; None, only here.
    """

    database_url: str
    public_urls: tuple[str, ...]
    exercises: Path = EXERCISES
    session_length: timedelta = timedelta(hours=12)
    upload_limit: int = 1_000_000
    metrics_token: str = ""
    log_level: str = "warning"
    key_secret: str = ""
    openid: OpenIdProvider | None = None
    time_zone: str = "UTC"

    @property
    def secure(self) -> bool:
        """Whether browsers reach this server by TLS only, so that cookies may insist on it."""
        return all(url.startswith("https://") for url in self.public_urls)


def read_settings(
    data: Path, host: str, port: int, environment: Mapping[str, str] = os.environ
) -> Settings:
    """Settings of a server that listens on ``host`` and ``port`` and keeps its data in ``data``.

    Raises SettingTrouble.
    """
    named = _file(environment.get(PREFIX + "SETTINGS", ""))
    named |= {
        name: environment[PREFIX + name.upper()]
        for name in NAMES
        if environment.get(PREFIX + name.upper())
    }
    own = [f"http://{name}:{port}" for name in dict.fromkeys((host, "127.0.0.1", "localhost"))]
    urls = named.get("public_urls", "").split()
    level = named.get("log_level", "warning")
    if level not in LOG_LEVELS:
        raise SettingTrouble(f"log_level is {level!r}. Write one of {', '.join(LOG_LEVELS)}.")
    return Settings(
        database_url=named.get("database_url") or f"sqlite:///{data.resolve() / 'rungmark.db'}",
        public_urls=tuple(url.rstrip("/") for url in urls) or tuple(own),
        exercises=Path(named.get("exercises") or EXERCISES),
        session_length=timedelta(hours=_number(named, "session_hours", 12, 24 * 30)),
        upload_limit=_number(named, "upload_limit", 1_000_000, 100_000_000),
        metrics_token=named.get("metrics_token", ""),
        log_level=level,
        key_secret=named.get("key_secret", ""),
        openid=_openid(named),
        time_zone=_time_zone(named),
    )


def _openid(named: Mapping[str, str]) -> OpenIdProvider | None:
    issuer, client_id = named.get("openid_issuer", ""), named.get("openid_client_id", "")
    if bool(issuer) != bool(client_id):
        raise SettingTrouble("openid_issuer and openid_client_id belong together. Set both.")
    if not issuer:
        return None
    name = named.get("openid_name", "your college account")
    return OpenIdProvider(name, issuer, client_id, named.get("openid_client_secret", ""))


def _time_zone(named: Mapping[str, str]) -> str:
    """The one that is named, else that of this machine, else UTC."""
    known = available_timezones()
    if name := named.get("time_zone", ""):
        if name not in known:
            raise SettingTrouble(
                f"time_zone is {name!r}. Write a name of the IANA's time-zone database, "
                "like America/Chicago."
            )
        return name
    _, _, name = str(Path("/etc/localtime").resolve()).partition("zoneinfo/")
    return name if name in known else "UTC"


def _file(name: str) -> dict[str, str]:
    if not name:
        return {}
    try:
        found = tomllib.loads(Path(name).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise SettingTrouble(f"The settings {name} can't be read: {error}.") from error
    if unknown := sorted(found.keys() - NAMES):
        raise SettingTrouble(
            f"{name}: {unknown[0]}: there is no such setting. "
            f"The settings are {', '.join(sorted(NAMES))}."
        )
    return {name: str(value) for name, value in found.items()}


def _number(named: Mapping[str, str], name: str, usual: int, most: int) -> int:
    text = named.get(name, str(usual))
    if not (text.isdecimal() and 0 < int(text) <= most):
        raise SettingTrouble(f"{name} is {text!r}. Write a whole number from 1 to {most}.")
    return int(text)
