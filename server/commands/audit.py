"""Check that the log of who did what is whole, and print a range of it as CSV."""

import argparse
import csv
import sys
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.commands.database import add_data, own_database, refuse
from server.settings import SettingTrouble
from server.store.audit_chain import AuditEvent, Chain, check_chain
from server.store.audit_lines import name_of_nobody
from server.store.college import time_zone
from server.store.courses import Assignment, Section
from server.store.database import DatabaseTrouble
from server.store.people import User
from server.web.spreadsheet import safe

COLUMNS = ("Line", "When (UTC)", "Who", "What", "About", "Section", "Exercise", "Detail")

EXAMPLES = (
    "rungmark audit",
    "rungmark audit --from 2026-10-01 --to 2026-10-31 > october.csv",
)

EXIT_STATUS = {
    0: "the log is whole",
    1: "a line was changed or removed",
    2: "the log can't be read",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--from", dest="first", type=_day, metavar="DAY", help="print lines from this day on"
    )
    parser.add_argument(
        "--to", dest="last", type=_day, metavar="DAY", help="print lines to the end of this day"
    )
    parser.add_argument(
        "--expect",
        type=_known_line,
        metavar="LINE:HASH",
        help="what an earlier check printed: the log must still have it",
    )
    add_data(parser)


def run(arguments: argparse.Namespace) -> int:
    """Write the range to standard output, what the check found to standard error.

    Without --from and --to nothing is printed but that. 1 when the log is not whole, 2 when it
    can't be read. Days are those of the college's time zone, as 2026-10-05.
    """
    try:
        with own_database(arguments.data) as database, database.read() as session:
            return _audit(session, arguments)
    except (DatabaseTrouble, SettingTrouble) as trouble:
        return refuse("audit", trouble)


def _audit(session: Session, arguments: argparse.Namespace) -> int:
    expected: tuple[int, str] | None = arguments.expect
    chain = check_chain(session, keep=[expected[0]] if expected else [])
    faults = list(chain.faults)
    if expected and chain.hashes.get(expected[0]) != expected[1]:
        faults.append(f"Line {expected[0]} is not the one that was there at the earlier check.")
    for fault in faults:
        print(fault, file=sys.stderr)
    if not faults:
        print(_whole(chain), file=sys.stderr)
    if arguments.first is not None or arguments.last is not None:
        rows = csv.writer(sys.stdout)
        rows.writerow(COLUMNS)
        rows.writerows(_lines(session, arguments.first, arguments.last))
    return 1 if faults else 0


def _whole(chain: Chain) -> str:
    return (
        f"The log is whole: {chain.lines} lines. Keep this elsewhere for the next check: "
        f"--expect {chain.lines}:{chain.last_hash}"
    )


def _lines(session: Session, first: date | None, last: date | None) -> Iterator[list[object]]:
    names = dict(session.execute(select(User.log_id, User.listed_as)).all())
    sections = {each.id: each for each in session.scalars(select(Section))}
    titles = dict(session.execute(select(Assignment.id, Assignment.title)).all())
    query = select(AuditEvent.__table__).order_by(AuditEvent.number)
    zone = time_zone(session)
    if first is not None:
        query = query.where(AuditEvent.at >= datetime.combine(first, time(), zone))
    if last is not None:
        after = last + timedelta(days=1)
        query = query.where(AuditEvent.at < datetime.combine(after, time(), zone))
    for line in session.execute(query.execution_options(yield_per=1000)):
        section = sections.get(line.section_id)
        yield [
            line.number,
            line.at.strftime("%Y-%m-%d %H:%M:%S"),
            *safe(
                (
                    names.get(line.actor) or name_of_nobody(line.actor),
                    str(line.action),
                    names.get(line.person) or ("erased" if line.person else ""),
                    f"{section.title}, {section.term.name}" if section else "",
                    titles.get(line.assignment_id, ""),
                    line.detail,
                )
            ),
        ]


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day like 2026-10-05") from None


def _known_line(text: str) -> tuple[int, str]:
    number, _, found = text.partition(":")
    if not (number.isdecimal() and len(found) == 64):
        raise argparse.ArgumentTypeError("write LINE:HASH as an earlier check printed it")
    return int(number), found
