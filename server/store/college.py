"""What holds for the college as a whole: its time zone."""

from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from sqlalchemy import String
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base

UTC_ZONE = ZoneInfo("UTC")


class College(Base):
    """One row, written when the server first starts on its database.

    ``retention_days``: how long after the end of their last term students are kept.
    """

    __tablename__ = "college"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    time_zone: Mapped[str] = mapped_column(String(64))
    retention_days: Mapped[int | None]


@cache
def zone_names() -> tuple[str, ...]:
    """Return the names of the time zones, like America/Chicago, as the IANA's database has them."""
    return tuple(sorted(available_timezones()))


def time_zone(session: Session) -> ZoneInfo:
    """Return the college's time zone; UTC before any is set."""
    college = session.get(College, 1)
    return ZoneInfo(college.time_zone) if college is not None else UTC_ZONE


def set_time_zone(session: Session, name: str) -> bool:
    """Let due dates be shown, and days be counted, in this zone; False if there is none."""
    if name not in zone_names():
        return False
    session.merge(College(id=1, time_zone=name))
    session.flush()
    return True


def has_time_zone(session: Session) -> bool:
    return session.get(College, 1) is not None
