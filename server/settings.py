"""The environment, read once and frozen; nothing else in the project reads it."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from server.paths import EXERCISES


@dataclass(frozen=True, slots=True)
class Settings:
    """How one server runs.

    ``database_url``: any URL of SQLAlchemy; SQLite in the data folder unless named.
    ``public_urls``: origins (scheme://host[:port]) under which browsers see this server; a form
    or socket from any other origin is refused.
    ``upload_limit``: bytes of one request body.
    """

    database_url: str
    public_urls: tuple[str, ...]
    exercises: Path = EXERCISES
    session_length: timedelta = timedelta(hours=12)
    upload_limit: int = 1_000_000

    @property
    def secure(self) -> bool:
        """Whether browsers reach this server by TLS only, so that cookies may insist on it."""
        return all(url.startswith("https://") for url in self.public_urls)


def read_settings(
    data: Path, host: str, port: int, environment: Mapping[str, str] = os.environ
) -> Settings:
    """Settings of a server that listens on ``host`` and ``port`` and keeps its data in ``data``.

    RUNGMARK_DATABASE_URL names another database, RUNGMARK_PUBLIC_URLS the addresses behind a
    proxy (separated by spaces), RUNGMARK_EXERCISES another folder of exercises.
    """
    named = environment.get("RUNGMARK_PUBLIC_URLS", "").split()
    own = [f"http://{name}:{port}" for name in dict.fromkeys((host, "127.0.0.1", "localhost"))]
    return Settings(
        database_url=environment.get("RUNGMARK_DATABASE_URL")
        or f"sqlite:///{data.resolve() / 'rungmark.db'}",
        public_urls=tuple(url.rstrip("/") for url in named) or tuple(own),
        exercises=Path(environment.get("RUNGMARK_EXERCISES") or EXERCISES),
    )
