"""Play every attack against a server of its own on loopback, and print a line for each.

    uv run python -m tests.attack            # all of them, SQLite and, where it matters, PostgreSQL
    uv run python -m tests.attack flood      # only those whose title contains the word

Each attack gets a fresh database and a fresh server process, and is bounded in count and time. Exit
status 1 when one did not hold.
"""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

from server.jobs.queue import prepare_queue
from server.store.database import Database
from server.store.migration import migrate
from tests.attack import accounts, floods, heavy_texts, outside, records, sign_in
from tests.attack.attack import Attack, Target
from tests.faults.processes import serving
from tests.postgresql import PostgreSQL, postgresql

ATTACKS: tuple[Attack, ...] = (
    *accounts.ATTACKS,
    *floods.ATTACKS,
    *heavy_texts.ATTACKS,
    *outside.ATTACKS,
    *records.ATTACKS,
    *sign_in.ATTACKS,
)
"""Each file of this folder adds what it has: ``*accounts.ATTACKS``."""


@contextmanager
def target(server: PostgreSQL | None) -> Iterator[Target]:
    """A fresh server process on a fresh database: PostgreSQL's, or SQLite if there is no server."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="rungmark-attack-")))
        if server is None:
            database = stack.enter_context(closing(Database(f"sqlite:///{folder}/rungmark.db")))
            migrate(database)
        else:
            database = stack.enter_context(server.database())
            prepare_queue(database)
        _, url = stack.enter_context(serving(database, folder))
        yield Target(url, database, folder)


def play(attack: Attack, server: PostgreSQL | None) -> bool:
    """Play one attack and print its line; return whether the server held."""
    with target(server) as victim:
        outcome = attack.play(victim)
    kind = "SQLite" if server is None else "PostgreSQL"
    verdict = "held" if outcome.held else "BROKEN"
    print(
        f"{verdict:6} {kind:10} {attack.title}: {outcome.tried}, {outcome.times} times: "
        f"{outcome.came}",
        flush=True,
    )
    return outcome.held


def main(words: list[str]) -> int:
    chosen = [each for each in ATTACKS if not words or any(word in each.title for word in words)]
    held = [play(each, None) for each in chosen]
    if any(each.on_postgresql for each in chosen):
        with postgresql() as server:
            held += [play(each, server) for each in chosen if each.on_postgresql]
    print(f"{sum(held)} of {len(held)} held")
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
