"""The data folder: readable by this user alone, and one server's at a time."""

import os
import stat
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout
from sqlalchemy.exc import DBAPIError

from server.store.connections import processes_that_use
from server.store.database import Database, DatabaseTrouble

BESIDE = ("", "-wal", "-shm", "-journal", ".lock")
"""Endings of a SQLite database's file and of those that go with it."""


def keep_private() -> None:
    """Let all files that this process makes from now on be readable by its user alone."""
    os.umask(0o077)


def make_folder(data: Path) -> None:
    """Make the data folder, but not the folders above it, or close one that stands open to others.

    A mistyped path should be reported, not become an empty course. Raises DatabaseTrouble.
    """
    try:
        data.mkdir(mode=0o700, exist_ok=True)
        found = data.stat()
        # Not /tmp, where everybody has files.
        if _is_ours(found) and not found.st_mode & stat.S_ISVTX:
            data.chmod(0o700)
    except OSError as error:
        raise DatabaseTrouble(
            f"The data folder {data} can't be made: {reason(error)}. "
            "Make the folder above it, or name another with --data."
        ) from error


@contextmanager
def nothing_left(database: Database) -> Iterator[None]:
    """Take a new SQLite database, and its new folder, away again if what is done meanwhile fails.

    Open and close the database inside.
    """
    name = database.address.database
    if not database.is_sqlite or not name or name == ":memory:" or Path(name).exists():
        yield
        return
    had_folder = Path(name).parent.exists()
    try:
        yield
    except BaseException:
        for ending in BESIDE:
            Path(f"{name}{ending}").unlink(missing_ok=True)
        if not had_folder:
            # Something else may be in it by now.
            with suppress(OSError):
                Path(name).parent.rmdir()
        raise


@contextmanager
def held_alone(database: Database) -> Iterator[None]:
    """Keep other servers from a SQLite database meanwhile, and other users from its files.

    Two would each mark what waits, and hold the same trial runs. The lock goes with the process,
    however that ends. Raises DatabaseTrouble when another has it.
    """
    name = database.address.database
    if not database.is_sqlite or not name or name == ":memory:":
        yield
        return
    lock = FileLock(
        f"{name}.lock", timeout=0, mode=0o600, thread_local=False, fallback_to_soft=False
    )
    with ExitStack() as stack:
        try:
            stack.enter_context(lock)
        except Timeout as error:
            raise DatabaseTrouble(
                f"Another Rungmark server uses the database {database.place}. "
                "Stop it, or name another folder with --data."
            ) from error
        except (OSError, NotImplementedError) as error:
            raise DatabaseTrouble(
                f"The file {name}.lock can't be locked: {error}. "
                "Name a folder on a disk of this machine with --data."
            ) from error
        for ending in BESIDE:
            _close(Path(f"{name}{ending}"))
        yield


@contextmanager
def unused(database: Database) -> Iterator[None]:
    """Refuse to go on while a server or a worker uses a database of either kind.

    A server that starts meanwhile is kept out on SQLite alone. Raises DatabaseTrouble.
    """
    try:
        in_use = processes_that_use(database)
    except DBAPIError as error:
        raise database.explain(error) from error
    if in_use:
        raise DatabaseTrouble(
            f"Servers or workers use the database {database.place}. Stop them all, then try again."
        )
    with held_alone(database):
        yield


def _close(file: Path) -> None:
    if file.is_file() and _is_ours(file.stat()):
        file.chmod(0o600)


def _is_ours(found: os.stat_result) -> bool:
    return not hasattr(os, "geteuid") or found.st_uid == os.geteuid()


def reason(error: OSError) -> str:
    return os.strerror(error.errno).lower() if error.errno else str(error)
