"""Help somebody who can't sign in, where no administrator can do it on a page."""

import argparse
from contextlib import closing
from datetime import UTC, datetime

from sqlalchemy.exc import DBAPIError

from server.commands.database import add_data, own_database, run_on_database
from server.store.accounts import remove_factor
from server.store.database import Database, DatabaseTrouble
from server.store.people import find_user
from server.store.second_factors import has_factor


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Define what is done, and to whose account."""
    parser.add_argument(
        "what",
        choices=["remove-second-factor"],
        help="sign-in asks for no code any more, until a new factor is set up",
    )
    parser.add_argument("email", help="address of the account")
    add_data(parser)


def run(arguments: argparse.Namespace) -> int:
    """Do it and say so; 2, with one sentence, if there is nothing to do."""

    def work() -> str:
        with closing(own_database(arguments.data)) as database:
            try:
                return _remove_factor(database, arguments.email)
            except DBAPIError as error:
                raise database.explain(error) from error

    return run_on_database("account", work)


def _remove_factor(database: Database, email: str) -> str:
    with database.write() as session:
        user = find_user(session, email)
        if user is None:
            raise DatabaseTrouble(f"There is no account with the address {email}. Correct it.")
        if not has_factor(session, user.id):
            raise DatabaseTrouble(f"The account of {user.email} has no second factor.")
        remove_factor(session, user, by_id=None, now=datetime.now(UTC))
        return f"The second factor of {user.email} is removed; they sign in by password alone."
