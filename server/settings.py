"""The settings of one server: from the environment or a file, read once and frozen.

Nothing else in the project reads either. Each setting is an environment variable RUNGMARK_NAME
or a line ``name = "value"`` of the TOML file that RUNGMARK_SETTINGS names; the environment wins.
"""

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from difflib import get_close_matches
from pathlib import Path
from urllib.parse import SplitResult, urlsplit
from zoneinfo import available_timezones

from server.paths import EXERCISES

PREFIX = "RUNGMARK_"

NAMES = {
    "database_url",
    "public_urls",
    "exercises",
    "session_hours",
    "idle_minutes",
    "stay_days",
    "second_factor",
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

NOT_SETTINGS = {"SETTINGS", "CACHE"}
"""Variables of our prefix that are read elsewhere: the file of settings, the kernels' folder."""

LOG_LEVELS = ("debug", "info", "warning", "error")
DEFAULT_PORTS = {"http": 80, "https": 443}
_HOST = re.compile(r"[a-z0-9._-]+|[0-9a-f:.]+")
SECOND_FACTOR = ("optional", "administrators")


class SettingTrouble(Exception):
    """A setting can't be used; the text says which, where and how to fix it."""


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
    ``session_length``, ``idle``: how long one stays signed in at most, and without doing anything;
    ``stay_length``: how long on a computer where one asked to stay signed in.
    ``second_factor_required``: administrators can do nothing before they have set one up.
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
    idle: timedelta = timedelta(hours=2)
    stay_length: timedelta = timedelta(days=30)
    second_factor_required: bool = False
    upload_limit: int = 1_000_000
    metrics_token: str = ""
    log_level: str = "warning"
    key_secret: str = ""
    openid: OpenIdProvider | None = None
    time_zone: str = "UTC"

    def by_tls(self, host: str) -> bool:
        """Return whether a browser that asks for ``host`` (of the header Host) comes by TLS.

        So it does under any name but those of public http addresses, if there is an https one.
        """
        origins = [url.partition("://") for url in self.public_urls]
        tls = {name for scheme, _, name in origins if scheme == "https"}
        plain = {name for scheme, _, name in origins if scheme == "http"}
        host = host.lower()
        return bool(tls) and (host in tls or host not in plain)


def read_settings(
    data: Path, host: str, port: int, environment: Mapping[str, str] = os.environ
) -> Settings:
    """Return the settings of a server that listens on ``host`` and ``port``.

    It keeps its data in ``data``.

    Raises SettingTrouble.
    """
    _refuse_unknown(environment)
    named = _file(environment.get(PREFIX + "SETTINGS", ""))
    named |= {
        name: environment[PREFIX + name.upper()]
        for name in NAMES
        if environment.get(PREFIX + name.upper())
    }
    names = dict.fromkeys((f"[{host}]" if ":" in host else host, "127.0.0.1", "localhost"))
    own = [f"http://{name}" if port == 80 else f"http://{name}:{port}" for name in names]
    urls = [_origin(url) for url in named.get("public_urls", "").split()]
    return Settings(
        database_url=named.get("database_url") or f"sqlite:///{data.resolve() / 'rungmark.db'}",
        public_urls=tuple(urls) or tuple(own),
        exercises=_folder(named, "exercises", EXERCISES),
        session_length=timedelta(hours=_number(named, "session_hours", 12, 24 * 30)),
        idle=timedelta(minutes=_number(named, "idle_minutes", 120, 60 * 24 * 30)),
        stay_length=timedelta(days=_number(named, "stay_days", 30, 365)),
        second_factor_required=_word(named, "second_factor", SECOND_FACTOR) == "administrators",
        upload_limit=_number(named, "upload_limit", 1_000_000, 100_000_000),
        metrics_token=named.get("metrics_token", ""),
        log_level=_word(named, "log_level", LOG_LEVELS, "warning"),
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
    """Return the one that is named, else that of this machine, else UTC."""
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


def _refuse_unknown(environment: Mapping[str, str]) -> None:
    """Refuse a misspelled variable, which would be as if it were not set."""
    known = {name.upper() for name in NAMES} | NOT_SETTINGS
    for variable in sorted(environment):
        name = variable.removeprefix(PREFIX)
        if variable.startswith(PREFIX) and name not in known:
            near = get_close_matches(name, known, 1)
            meant = f" Did you mean {PREFIX}{near[0]}?" if near else ""
            raise SettingTrouble(
                f"There is no setting {variable}.{meant} Correct the name, or unset the variable."
            )


def _origin(url: str) -> str:
    """Return a public address as the header Origin has it: scheme, host and port alone."""
    trouble = SettingTrouble(
        f"public_urls: {url} is not an address of this server. "
        "Write scheme and host alone, like https://lab.example or http://lab.example:8131."
    )
    try:
        parts = urlsplit(url)
        host = _host(parts)
    except ValueError:
        raise trouble from None
    named = parts.netloc.isascii() and _HOST.fullmatch(parts.hostname or "")
    beside = "@" in parts.netloc or parts.query or parts.fragment or parts.path.strip("/")
    if parts.scheme not in DEFAULT_PORTS or not named or beside:
        raise trouble
    return f"{parts.scheme}://{host}"


def _host(parts: SplitResult) -> str:
    """Host and port as browsers write them. Raises ValueError."""
    name = parts.hostname or ""
    name = f"[{name}]" if ":" in name else name
    port = parts.port
    return name if port in (None, DEFAULT_PORTS.get(parts.scheme)) else f"{name}:{port}"


def _folder(named: Mapping[str, str], name: str, usual: Path) -> Path:
    folder = Path(named.get(name) or usual)
    if not folder.is_dir():
        raise SettingTrouble(f"{name}: there is no folder {folder}. Make it, or name another.")
    return folder


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


def _word(named: Mapping[str, str], name: str, words: tuple[str, ...], usual: str = "") -> str:
    word = named.get(name) or usual or words[0]
    if word not in words:
        raise SettingTrouble(f"{name} is {word!r}. Write one of {', '.join(words)}.")
    return word


def _number(named: Mapping[str, str], name: str, usual: int, most: int) -> int:
    text = named.get(name, str(usual))
    if not (text.isdecimal() and 0 < int(text) <= most):
        raise SettingTrouble(f"{name} is {text!r}. Write a whole number from 1 to {most}.")
    return int(text)
