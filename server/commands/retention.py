"""List the students whose data is past its time; erase them when told to."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from server.commands.database import add_data, own_database, run_on_database
from server.store.college import time_zone
from server.store.database import Database
from server.store.privacy import erase_person, erasure_refusal
from server.store.retention import people_past_retention, retention_days

EXAMPLES = (
    "rungmark retention",
    "rungmark retention --erase --data /srv/rungmark/data",
)

EXIT_STATUS = {
    0: "done",
    2: "the database or a setting can't be used; nothing was changed",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--erase", action="store_true", help="erase them; without it, they are only listed"
    )
    add_data(parser)


def run(arguments: argparse.Namespace) -> int:
    """Say whose data is past its time; with --erase, erase them one by one.

    Return 2 when the database can't be used.
    """
    erase: bool = arguments.erase
    data: Path = arguments.data

    def work() -> str:
        with own_database(data) as database:
            return erase_old(database, datetime.now(UTC), erase=erase)

    return run_on_database("retention", work)


def erase_old(database: Database, now: datetime, *, erase: bool) -> str:
    """Erase, or only list, the people whose data is past its time; return what to print."""
    with database.read() as session:
        days = retention_days(session)
        today = now.astimezone(time_zone(session)).date()
        found = [(u.id, u.email, ends) for u, ends in people_past_retention(session, today)]
    if days is None:
        return "No retention time is set, so nobody is past it. Set it under Courses and terms."
    lines = []
    erased = 0
    for user_id, email, ends in found:
        outcome = "would be erased"
        if erase:
            with database.write() as session:
                still = {user.id for user, _ in people_past_retention(session, today)}
                refused = erasure_refusal(session, user_id) if user_id in still else "Kept."
                if not refused:
                    erase_person(session, user_id, by_id=None, now=now)
                    erased += 1
            outcome = refused or "erased"
        lines.append(f"{email}: last term ended {ends}, {outcome}")
    total = f"{erased} erased." if erase else "Nothing is erased without --erase."
    return "\n".join([*lines, f"{len(found)} past {days} days. {total}"])
