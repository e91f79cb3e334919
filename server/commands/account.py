"""Add the first administrator, and help whoever can't sign in."""

import argparse
import shlex
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy.orm import Session

from server.commands.database import add_data, existing_database, own_settings, run_on_database
from server.commands.serve import port_number
from server.data_folder import make_folder, nothing_left
from server.settings import Settings
from server.store import accounts
from server.store.database import Database, DatabaseTrouble
from server.store.migration import migrate
from server.store.passwords import make_link
from server.store.people import Role, User, find_user, normal_email, search_people
from server.store.roster_file import EMAIL
from server.store.second_factors import has_factor
from server.web.accounts.joining import address_of_link

ADDRESS = "address of the account"

EXAMPLES = (
    "rungmark account add ada@college.example --role administrator",
    "rungmark account link ada@college.example",
    "rungmark account list --data /srv/rungmark/data",
)

EXIT_STATUS = {
    0: "done",
    2: "not done: no such account, or the database can't be used",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Define what is done, and to whose account."""
    tasks = parser.add_subparsers(dest="task", metavar="TASK", required=True)

    def task(name: str, summary: str) -> argparse.ArgumentParser:
        return tasks.add_parser(name, help=summary, description=summary)

    add = task("add", "Add an account and print the link for its first password.")
    add.add_argument("email", metavar="EMAIL", type=_new_address, help=ADDRESS)
    add.add_argument("--name", default="", help="(the address up to the @)")
    add.add_argument(
        "--role",
        choices=[role.value for role in Role],
        default=Role.STUDENT.value,
        help="(%(default)s)",
    )
    link = task("link", "Print a link for a new password. Sign-in goes on until it is used.")
    link.add_argument("email", metavar="EMAIL", help=ADDRESS)
    for printing in (add, link):
        add_port(printing)
    show = task("list", "List the accounts.")
    show.add_argument("text", metavar="TEXT", nargs="?", default="", help="part of name or address")
    others = [
        task("disable", "Let nobody sign in to an account. Its work is kept."),
        task("enable", "Let the owner of a disabled account sign in again."),
        task("remove-second-factor", "Let somebody sign in without the code of a second factor."),
    ]
    for other in others:
        other.add_argument("email", metavar="EMAIL", help=ADDRESS)
    for each in (add, link, show, *others):
        add_data(each)


def add_port(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port",
        type=port_number,
        default=8131,
        help="where the server listens (%(default)s), unless RUNGMARK_PUBLIC_URLS has its address",
    )


def first_account_command(data: Path, port: int) -> str:
    """Return the command that adds the first administrator of a server."""
    words = ["rungmark", "account", "add", "EMAIL", "--role", Role.ADMINISTRATOR]
    if data != Path("data"):
        words += ["--data", str(data)]
    if port != 8131:
        words += ["--port", str(port)]
    return shlex.join(words)


def run(arguments: argparse.Namespace) -> int:
    """Do it and say so; 2, with one sentence, if there is nothing to do."""

    def work() -> str:
        settings = own_settings(arguments.data, getattr(arguments, "port", 8131))
        database = Database(settings.database_url)
        with nothing_left(database):
            if arguments.task == "add":
                if database.is_sqlite:
                    make_folder(arguments.data)
                with closing(database):
                    migrate(database)
            with existing_database(settings.database_url) as found, found.write() as session:
                return _TASKS[arguments.task](session, arguments, settings, datetime.now(UTC))

    return run_on_database("account", work)


def _new_address(text: str) -> str:
    email = normal_email(text)
    if not EMAIL.fullmatch(email):
        raise argparse.ArgumentTypeError(f"{text} is not an email address")
    return email


def _add(session: Session, arguments: argparse.Namespace, settings: Settings, now: datetime) -> str:
    email = arguments.email
    name = arguments.name.strip() or email.partition("@")[0]
    added = accounts.add_account(session, email, name, Role(arguments.role), by_id=None, now=now)
    if added is None:
        raise DatabaseTrouble(
            f"There is an account with {email} already. "
            f"`rungmark account link {email}` prints a link for a new password."
        )
    user, _ = added
    return f"Added {email} as {user.role}.\n{_new_link(session, user, settings, now)}"


def _link(
    session: Session, arguments: argparse.Namespace, settings: Settings, now: datetime
) -> str:
    user = _owner(session, arguments.email)
    if user.disabled_at is not None:
        raise DatabaseTrouble(
            f"The account of {user.email} is disabled, so a link would not let anybody in. "
            f"Run `rungmark account enable {user.email}` first."
        )
    return _new_link(session, user, settings, now)


def _new_link(session: Session, user: User, settings: Settings, now: datetime) -> str:
    link = address_of_link(settings, make_link(session, user, now, by_id=None))
    return f"{user.email} sets a password within a day at:\n{link}"


def _list(
    session: Session, arguments: argparse.Namespace, _settings: Settings, _now: datetime
) -> str:
    found = search_people(session, arguments.text)
    if not found:
        return "No account matches." if arguments.text else "There is no account yet."
    width = max(len(user.email) for user in found)
    return "\n".join(
        f"{user.email:<{width}}  {user.role:<13}  {user.name}"
        + ("  (disabled)" if user.disabled_at is not None else "")
        for user in found
    )


def _disable(
    session: Session, arguments: argparse.Namespace, _settings: Settings, now: datetime
) -> str:
    user = _owner(session, arguments.email)
    accounts.disable_account(session, user, by_id=None, now=now)
    return f"The account of {user.email} is disabled; its work is kept."


def _enable(
    session: Session, arguments: argparse.Namespace, _settings: Settings, now: datetime
) -> str:
    user = _owner(session, arguments.email)
    accounts.enable_account(session, user, by_id=None, now=now)
    return f"{user.email} can sign in again."


def _remove_factor(
    session: Session, arguments: argparse.Namespace, _settings: Settings, now: datetime
) -> str:
    user = _owner(session, arguments.email)
    if not has_factor(session, user.id):
        raise DatabaseTrouble(f"The account of {user.email} has no second factor.")
    accounts.remove_factor(session, user, by_id=None, now=now)
    return f"The second factor of {user.email} is removed; they sign in by password alone."


def _owner(session: Session, email: str) -> User:
    user = find_user(session, email)
    if user is None:
        raise DatabaseTrouble(
            f"There is no account with the address {email}. "
            "Correct it; `rungmark account list` shows them."
        )
    return user


_TASKS: dict[str, Callable[[Session, argparse.Namespace, Settings, datetime], str]] = {
    "add": _add,
    "link": _link,
    "list": _list,
    "disable": _disable,
    "enable": _enable,
    "remove-second-factor": _remove_factor,
}
