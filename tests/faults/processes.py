"""Processes of the server as they run for real, to be killed, paused and stopped."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep

from server.store.database import Database
from tests.factories import EXERCISES

PATIENCE = 300.0
"""Seconds until a test gives up: nothing here is judged by its speed."""

Process = subprocess.Popen[str]

IN_BOUNDS = """
import resource, signal, sys
from server.cli import main
from server.jobs import queue
# The same rounds, closer together: nobody waits for a worker that died as long as a class would.
queue.ROUNDS, queue.RETRY_SECONDS = "* * * * * */2", 0
queue.HEARTBEAT_SECONDS, queue.STALLED_SECONDS = 2, 8
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
size = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
sys.exit(main(sys.argv[2:]))
"""


def url_of(database: Database) -> str:
    return database.address.render_as_string(hide_password=False)


@contextmanager
def running(database: Database, *words: str, full_at: int | None = None) -> Iterator[Process]:
    """`rungmark WORDS` on a database, from when it says that it is ready until it has ended.

    No file of its may grow beyond ``full_at`` bytes, as on a disk that is full.
    """
    environment = os.environ | {
        "RUNGMARK_DATABASE_URL": url_of(database),
        "RUNGMARK_EXERCISES": str(EXERCISES),
    }
    command = [sys.executable, "-c", IN_BOUNDS, str(full_at or -1), *words]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as process:
        try:
            await_ready(process)
            yield process
        finally:
            process.send_signal(signal.SIGCONT)
            process.send_signal(signal.SIGTERM)
            process.wait(timeout=PATIENCE)


def await_ready(process: Process) -> None:
    """Read what a command prints, until it says how to stop it."""
    assert process.stdout is not None
    assert any("stop it with Ctrl+C" in line for line in process.stdout), "it did not begin"


@contextmanager
def serving(
    database: Database, folder: Path, full_at: int | None = None
) -> Iterator[tuple[Process, str]]:
    """A web process and its address."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    words = ("serve", "--port", str(port), "--data", str(folder))
    with running(database, *words, full_at=full_at) as process:
        yield process, f"http://127.0.0.1:{port}"


def kill(process: Process) -> None:
    """kill -9."""
    process.kill()
    process.wait()


def until(happened: Callable[[], object], what: str) -> None:
    deadline = monotonic() + PATIENCE
    while not happened():
        assert monotonic() < deadline, f"waited for: {what}"
        sleep(0.02)
