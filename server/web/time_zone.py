"""The college's time zone for the pages of this process, read now and then."""

from time import monotonic
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from server.store.college import time_zone

SECONDS_KEPT = 10.0
"""On PostgreSQL, where another process may change it."""


class CollegeZone:
    """Remembers the zone: on SQLite, which has one process, until this process changes it."""

    def __init__(self, *, shared: bool) -> None:
        self._shared = shared
        self._read: tuple[ZoneInfo, float] | None = None

    def of(self, session: Session) -> ZoneInfo:
        known = self._read
        if known is None or (self._shared and monotonic() - known[1] > SECONDS_KEPT):
            known = self._read = (time_zone(session), monotonic())
        return known[0]

    def forget(self) -> None:
        """Have it read again: it is being changed."""
        self._read = None
