"""The hour before a deadline: many students hand in at a steady rate, on a server of its own.

    uv run python -m tests.load.deadline                           # SQLite, 20 a second, 60 s
    uv run python -m tests.load.deadline --postgresql --seconds 180  # 2 web processes, 2 workers

It starts its servers on this machine with a database in a temporary folder, and ends by itself. The
next submission is sent when it is due, but each connection waits for its answer, so that the load
is bounded. It prints p50, p95, p99 of each kind of request in milliseconds, and the errors, and
checks that every accepted submission has one verdict. Exit status 1 when that, or an answer, is
wrong. Nothing here is a test of `pytest`: how fast a machine is, is no matter of right and wrong.
"""

import argparse
import asyncio
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import quantiles

import httpx2
from sqlalchemy import func, select

from server.ladder.json_form import to_json
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.paths import EXERCISES
from server.store.attempts import StoredVerdict, Submission
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.people import User, begin_session
from server.store.programs import save_program
from server.web.access import COOKIE
from tests.factories import make_assignment, make_section, make_user
from tests.postgresql import PostgreSQL

EXERCISE = "apple-wash-sump"
CONNECTIONS = 64
LONGEST_WAIT = 60.0


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--postgresql", action="store_true", help="2 web processes, 2 workers")
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--rate", type=int, default=20, help="submissions a second")
    arguments = parser.parse_args()
    print(f"load of the machine before: {os.getloadavg()[0]:.1f}")
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="rungmark-load-"))
        url = f"sqlite:///{folder}/rungmark.db"
        if arguments.postgresql:
            server = PostgreSQL(Path(folder) / "pg")
            stack.callback(server.server.cleanup)
            # As it is run for real: what is accepted is on the disk.
            server.execute("ALTER SYSTEM RESET ALL")
            server.execute("SELECT pg_reload_conf()")
            url = server.url("migrated")
        database = stack.enter_context(closing(Database(url)))
        migrate(database)
        work = prepare(database, arguments.rate * arguments.seconds + 1)
        webs = 2 if arguments.postgresql else 1
        ports = [stack.enter_context(serving(url, folder)) for _ in range(webs)]
        if arguments.postgresql:
            for _ in range(2):
                stack.enter_context(running("work", url, folder))
        took, errors = asyncio.run(hand_in(ports, work, arguments.rate))
        accepted, verdicts = wait_for_verdicts(database)
        wrong = report(took, errors, accepted, verdicts, len(work))
    print(f"load of the machine after: {os.getloadavg()[0]:.1f}")
    return wrong


def prepare(database: Database, submissions: int) -> list[tuple[str, int, int]]:
    """Students with a program each: their cookie, their assignment, the revision they see."""
    folder = EXERCISES / EXERCISE
    exercise = load_exercise(folder)
    files = sorted((folder / "programs").glob("*.st"))
    programs = [to_json(read_program(path, exercise)) for path in files]
    now = datetime.now(UTC)
    work = []
    with database.write() as session:
        people: list[User] = [make_user(session) for _ in range(submissions)]
        for start in range(0, submissions, 30):
            group = people[start : start + 30]
            section = make_section(session, *((each, SectionRole.STUDENT) for each in group))
            assignment = make_assignment(
                session,
                section,
                exercise=EXERCISE,
                opens_at=now - timedelta(days=1),
                due_at=now + timedelta(hours=1),
            )
            for number, each in enumerate(group):
                program = programs[number % len(programs)]
                save_program(session, assignment, each.id, program, revision=0, start={}, now=now)
                token = begin_session(session, each, now, timedelta(hours=2))
                work.append((token, assignment.id, 1))
    return work


@contextmanager
def running(command: str, url: str, folder: str, *options: str) -> Iterator[None]:
    environment = os.environ | {"RUNGMARK_DATABASE_URL": url}
    words = [sys.executable, "-m", "server.cli", command, *options]
    with subprocess.Popen(words, env=environment, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            process.stdout.readline()
            yield
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(30)


@contextmanager
def serving(url: str, folder: str) -> Iterator[int]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    with running("serve", url, folder, "--port", str(port), "--data", folder):
        yield port


Times = dict[str, list[float]]


async def hand_in(
    ports: list[int], work: list[tuple[str, int, int]], rate: int
) -> tuple[Times, list[str]]:
    took: Times = defaultdict(list)
    errors: list[str] = []
    gate = asyncio.Semaphore(CONNECTIONS)
    async with httpx2.AsyncClient(timeout=30, limits=httpx2.Limits(max_connections=64)) as client:

        async def one(number: int, token: str, assignment: int, revision: int) -> None:
            base = f"http://127.0.0.1:{ports[number % len(ports)]}"
            headers = {"Origin": base, "Cookie": f"{COOKIE}={token}"}
            async with gate:
                begun = time.perf_counter()

                async def ask(kind: str, method: str, path: str) -> httpx2.Response:
                    since = time.perf_counter()
                    data = {"revision": str(revision)} if method == "POST" else None
                    answer = await client.request(method, base + path, headers=headers, data=data)
                    took[kind].append(time.perf_counter() - since)
                    return answer

                try:
                    answer = await ask("submit", "POST", f"/assignments/{assignment}/submissions")
                    if answer.status_code != 303:
                        errors.append(f"submit: {answer.status_code}")
                        return
                    address = answer.headers["location"]
                    while time.perf_counter() - begun < LONGEST_WAIT:
                        progress = await ask("progress", "GET", f"{address}/progress")
                        if "HX-Refresh" in progress.headers:
                            break
                        # The answer waits for the verdict; a page asks again after so long.
                        await asyncio.sleep(5.0)
                    took["submit to verdict"].append(time.perf_counter() - begun)
                    page = await ask("verdict page", "GET", address)
                    if page.status_code != 200:
                        errors.append(f"verdict page: {page.status_code}")
                except httpx2.HTTPError as error:
                    errors.append(type(error).__name__)

        # The compiled kernel is fetched before the clock runs.
        await one(0, *work[0])
        took.clear()
        start = time.perf_counter()
        tasks = []
        for number, each in enumerate(work[1:], 1):
            await asyncio.sleep(max(0.0, start + number / rate - time.perf_counter()))
            tasks.append(asyncio.create_task(one(number, *each)))
        await asyncio.gather(*tasks)
        seconds = time.perf_counter() - start
        print(f"{len(work) - 1} submissions in {seconds:.1f} s: {len(work) / seconds:.1f} a second")
    return took, errors


def wait_for_verdicts(database: Database) -> tuple[int, int]:
    deadline = time.monotonic() + LONGEST_WAIT
    while True:
        with database.read() as session:
            accepted = session.scalars(select(func.count()).select_from(Submission)).one()
            verdicts = session.scalars(select(func.count()).select_from(StoredVerdict)).one()
        if accepted == verdicts or time.monotonic() > deadline:
            return accepted, verdicts
        time.sleep(0.5)


def report(took: Times, errors: list[str], accepted: int, verdicts: int, sent: int) -> int:
    print(f"{'':20}{'number':>8}{'p50 ms':>9}{'p95 ms':>9}{'p99 ms':>9}")
    for kind, times in took.items():
        cuts = [1000 * cut for cut in quantiles(times, n=100)]
        print(f"{kind:20}{len(times):8}{cuts[49]:9.1f}{cuts[94]:9.1f}{cuts[98]:9.1f}")
    print(f"errors: {len(errors)} {sorted(set(errors))}")
    print(f"sent {sent}, accepted {accepted}, verdicts {verdicts}")
    return int(bool(errors) or not sent == accepted == verdicts)


if __name__ == "__main__":
    sys.exit(main())
