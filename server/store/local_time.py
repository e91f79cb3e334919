"""Days and times of day as the college's clocks show them; stored are moments."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


def utc_clock() -> datetime:
    """Return this moment; tests give the application another clock."""
    return datetime.now(UTC)


def days_late(submitted_at: datetime, due_at: datetime, zone: ZoneInfo) -> int:
    """Return how many calendar days after the due date it came; 1 for later on the same day."""
    if submitted_at <= due_at:
        return 0
    passed = submitted_at.astimezone(zone).date() - due_at.astimezone(zone).date()
    return max(1, passed.days)


def moment_of(local: datetime, zone: ZoneInfo) -> datetime | str:
    """Return the moment at which clocks in ``zone`` show ``local``, in UTC.

    At a change of the clock there may be none or two: then a sentence says so.
    """
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    before, after = (each.utcoffset() or timedelta(0) for each in (first, second))
    if before == after:
        return first.astimezone(UTC)
    when = _write(local)
    what = (
        f"doesn't exist in {zone.key}: the clock is set forward over it"
        if after > before
        else f"comes twice in {zone.key}: the clock is set back over it"
    )
    other = local + abs(after - before)
    return f"{when} {what}. Choose another time, such as {other:%H:%M}."


def write_moment(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment as people read it: Mon 30 Nov 2026, 23:59."""
    return _write(moment.astimezone(zone))


def _write(local: datetime) -> str:
    return f"{local:%a} {local.day} {local:%b %Y, %H:%M}"


def zone_mark(moment: datetime, zone: ZoneInfo) -> str:
    """Return the zone as it stands behind a time: CET, or UTC+3 where it has no letters."""
    name = moment.astimezone(zone).strftime("%Z")
    return name if name.isalpha() else f"UTC{name}"
