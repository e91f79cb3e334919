"""The hour before a deadline: many students hand in at a steady rate while others try their runs.

    uv run python -m tests.load.deadline                           # SQLite, 20 a second, 60 s
    uv run python -m tests.load.deadline --postgresql --seconds 180  # 2 web processes, 2 workers
    uv run python -m tests.load.deadline --trials 0 --json --rate 5  # what it costs, both databases

It starts its servers on this machine with a database in a temporary folder, and ends by itself. The
next submission is sent when it is due, but each connection waits for its answer, so that the load
is bounded. A student does as the browser does: submits, follows to the verdict's page, and waits
there for the news if it is not marked yet. Live trial runs are read by a process of their own. It
prints p50, p95, p99 of each kind of request in milliseconds, the errors, and how long processors
were busy, and checks that every accepted submission has one verdict. Exit status 1 when that, or an
answer, is wrong. Nothing here is a test of `pytest`: how fast a machine is, is no matter of right
and wrong.

``times_bare`` is the processor time of a submission with edit, page and marking, divided
by that of two bare routes that write and one that reads (``tests/load/bare.py``), asked for in the
same run. Both count all processes of the server, PostgreSQL's too. It depends on the load of the
machine much less than a time by the clock does.
"""

import argparse
import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack, closing, contextmanager, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from multiprocessing.synchronize import Event
from pathlib import Path
from statistics import quantiles
from typing import Any, NamedTuple

import aiohttp
import psutil
import uvloop
from sqlalchemy import func, select

from server.ladder.json_form import to_json
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.paths import EXERCISES
from server.store.attempts import StoredVerdict, Submission
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.people import User
from server.store.programs import save_program
from server.web.access import COOKIE
from tests.factories import make_assignment, make_section, make_user, sign_in
from tests.faults.processes import await_ready
from tests.load.bare import ask_bare, interpreter_ms
from tests.load.trial_runs import Page, measure
from tests.postgresql import PostgreSQL

EXERCISE = "apple-wash-sump"
CONNECTIONS = 64
LONGEST_WAIT = 60.0
WAITS = 'id="progress"'
BARE_ROUNDS = 300


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--postgresql", action="store_true", help="2 web processes, 2 workers")
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--rate", type=int, default=20, help="submissions a second")
    parser.add_argument("--students", type=int, default=1000)
    parser.add_argument("--trials", type=int, default=150, help="live trial runs beside it")
    parser.add_argument("--json", action="store_true", help="both databases, figures as JSON")
    arguments = parser.parse_args()
    if not arguments.json:
        return int(hour(arguments, postgresql=arguments.postgresql).wrong)
    with redirect_stdout(sys.stderr):
        hours = {
            "SQLite": hour(arguments, postgresql=False),
            "PostgreSQL": hour(arguments, postgresql=True),
        }
    print(
        json.dumps(
            {
                "machine": machine(),
                "times_bare": max(each.figures["times_bare"] for each in hours.values()),
                **{name: each.figures for name, each in hours.items()},
            },
            indent=2,
        )
    )
    return int(any(each.wrong for each in hours.values()))


class Hour(NamedTuple):
    """What came of one hour; ``wrong``: an answer, or the number of verdicts."""

    wrong: bool
    figures: dict[str, Any]


def hour(arguments: argparse.Namespace, *, postgresql: bool) -> Hour:
    """Start the servers on one database, let the students hand in, and print what came of it."""
    print(f"{machine()}; load before: {os.getloadavg()[0]:.1f}")
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="rungmark-load-"))
        url, bare_url = (f"sqlite:///{folder}/{name}.db" for name in ("rungmark", "bare"))
        if postgresql:
            server = PostgreSQL(Path(folder) / "pg")
            stack.callback(server.server.cleanup)
            # As it is run for real: what is accepted is on the disk.
            server.execute("ALTER SYSTEM RESET ALL")
            server.execute("SELECT pg_reload_conf()")
            server.execute("CREATE DATABASE bare")
            url, bare_url = server.url("migrated"), server.url("bare")
        database = stack.enter_context(closing(Database(url)))
        migrate(database)
        students = prepare(database, arguments.students)
        webs = 2 if postgresql else 1
        served = [stack.enter_context(serving(url, folder)) for _ in range(webs)]
        ports = [port for port, _ in served]
        pids = [pid for _, pid in served]
        if postgresql:
            pids += [stack.enter_context(running("work", url)) for _ in range(2)]
            pids.append(server.pid)
        bare_ms = bare_submission_ms(bare_url, pids[-1:] if postgresql else [])
        context = get_context("spawn")
        settled = context.Event()
        trying = stack.enter_context(ProcessPoolExecutor(1, context, _begin, (settled,)))
        runs = None
        if arguments.trials:
            pages = [
                Page(
                    ports[number % webs], f"/assignments/{each.assignment}/trial/socket", each.token
                )
                for number, each in enumerate(students[: arguments.trials])
            ]
            runs = trying.submit(read_trials, pages, arguments.seconds, pids[:webs])
            if not settled.wait(LONGEST_WAIT):
                raise RuntimeError("The live runs were not opened.")
        sent = arguments.rate * arguments.seconds
        # The compiled kernel is fetched, and everything loaded, before the clock runs.
        warm_up = students[: 2 * webs]
        uvloop.run(hand_in(ports, warm_up, len(warm_up), arguments.rate))
        busy = processor_seconds(pids)
        took, errors = uvloop.run(hand_in(ports, students, sent, arguments.rate, len(warm_up)))
        accepted, verdicts = wait_for_verdicts(database)
        used = [now - before for before, now in zip(busy, processor_seconds(pids), strict=True)]
        bare_ms = (bare_ms + bare_submission_ms(bare_url, pids[-1:] if postgresql else [])) / 2
        wrong = report(took, errors, accepted, verdicts, sent + len(warm_up))
        own_ms = 1000 * sum(used) / sent
        print("processor seconds (web, workers, PostgreSQL):", [round(each, 1) for each in used])
        print(
            f"processor ms of a submission: {own_ms:.1f}, of three bare requests: {bare_ms:.1f}: "
            f"times_bare {own_ms / bare_ms:.2f}"
        )
        figures = {
            "times_bare": round(own_ms / bare_ms, 2),
            "submission_ms": round(own_ms, 1),
            "bare_ms": round(bare_ms, 1),
            "processor_s": [round(each, 1) for each in used],
            "p95_ms": {
                kind: round(1000 * quantiles(each * 2, n=20)[-1]) for kind, each in took.items()
            },
            "errors": len(errors),
        }
        if runs is not None:
            figures["trial_runs"] = runs.result()
            print(json.dumps(figures["trial_runs"], indent=2))
    print(f"load of the machine after: {os.getloadavg()[0]:.1f}")
    return Hour(wrong, figures)


def machine() -> str:
    """The machine's speed, in a line."""
    return f"{os.cpu_count()} cores, a million steps of a Python loop {interpreter_ms():.0f} ms"


def bare_submission_ms(url: str, beside: list[int]) -> float:
    """Processor milliseconds of two bare requests that write and one that reads.

    ``beside`` are processes that work for it, such as PostgreSQL's.
    """
    command = [sys.executable, "-m", "tests.load.bare", url]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            port = int(process.stdout.readline())
            uvloop.run(ask_bare(port, BARE_ROUNDS // 10))
            pids = [process.pid, *beside]
            before = sum(processor_seconds(pids))
            uvloop.run(ask_bare(port, BARE_ROUNDS))
            return 1000 * (sum(processor_seconds(pids)) - before) / BARE_ROUNDS
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(30)


@dataclass(frozen=True)
class Student:
    token: str
    assignment: int


def prepare(database: Database, number: int) -> list[Student]:
    """So many students, each signed in and with a program of their own to hand in."""
    folder = EXERCISES / EXERCISE
    exercise = load_exercise(folder)
    files = sorted((folder / "programs").glob("*.st"))
    programs = [to_json(read_program(path, exercise)) for path in files]
    now = datetime.now(UTC)
    students = []
    with database.write() as session:
        people: list[User] = [make_user(session) for _ in range(number)]
        for start in range(0, number, 30):
            group = people[start : start + 30]
            section = make_section(session, *((each, SectionRole.STUDENT) for each in group))
            assignment = make_assignment(
                session,
                section,
                exercise=EXERCISE,
                opens_at=now - timedelta(days=1),
                due_at=now + timedelta(hours=1),
            )
            for place, each in enumerate(group, start):
                program = programs[place % len(programs)]
                save_program(session, assignment, each.id, program, revision=0, start={}, now=now)
                token = sign_in(session, each, now)
                students.append(Student(token, assignment.id))
    return students


def processor_seconds(pids: list[int]) -> list[float]:
    """Of each process with those that it started."""
    processes = [[each, *each.children()] for each in map(psutil.Process, pids)]
    return [sum(sum(each.cpu_times()[:2]) for each in family) for family in processes]


_settled: list[Event] = []


def _begin(settled: Event) -> None:
    # An event can be given to a process when it begins, and not with its work.
    _settled.append(settled)


def read_trials(pages: list[Page], seconds: float, pids: list[int]) -> dict[str, Any]:
    return uvloop.run(measure(pages, seconds, pids, _settled[0].set))


@contextmanager
def running(command: str, url: str, *options: str) -> Iterator[int]:
    """A process of ours while the block runs; its id."""
    environment = os.environ | {"RUNGMARK_DATABASE_URL": url}
    words = [sys.executable, "-m", "server.cli", command, *options]
    with subprocess.Popen(words, env=environment, stdout=subprocess.PIPE, text=True) as process:
        try:
            await_ready(process)
            yield process.pid
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(30)


@contextmanager
def serving(url: str, folder: str) -> Iterator[tuple[int, int]]:
    """A web process while the block runs: its port and its id."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    with running("serve", url, "--port", str(port), "--data", folder) as pid:
        yield port, pid


Times = dict[str, list[float]]


class Answer(NamedTuple):
    status: int
    headers: Mapping[str, str]
    text: str


async def hand_in(
    ports: list[int], students: list[Student], sent: int, rate: int, done: int = 0
) -> tuple[Times, list[str]]:
    """Hand in ``sent`` times, each student in turn; ``done`` have handed in before."""
    took: Times = defaultdict(list)
    errors: list[str] = []
    gate = asyncio.Semaphore(CONNECTIONS)
    async with aiohttp.ClientSession(
        timeout=aiohttp.ClientTimeout(30),
        connector=aiohttp.TCPConnector(limit=CONNECTIONS),
        cookie_jar=aiohttp.DummyCookieJar(),
    ) as client:

        async def one(number: int) -> None:
            base = f"http://127.0.0.1:{ports[number % len(ports)]}"
            number += done
            student = students[number % len(students)]
            headers = {"Origin": base, "Cookie": f"{COOKIE}={student.token}"}

            # Each has submitted so often, after an edit each time: the same again is refused.
            revision = 1 + number // len(students)

            async def ask(kind: str, method: str, path: str, **data: object) -> Answer:
                since = time.perf_counter()
                async with client.request(
                    method, base + path, headers=headers, data=data or None, allow_redirects=False
                ) as answer:
                    text = await answer.text()
                took[kind].append(time.perf_counter() - since)
                return Answer(answer.status, answer.headers, text)

            async with gate:
                try:
                    here = f"/assignments/{student.assignment}"
                    edit = {"action": "set comment", "rung": 0, "comment": f"Try {revision}"}
                    edited = await ask(
                        "edit",
                        "POST",
                        f"{here}/program",
                        action=json.dumps(edit),
                        revision=revision,
                    )
                    if edited.status != 200:
                        errors.append(f"edit: {edited.status}")
                        return
                    begun = time.perf_counter()
                    answer = await ask(
                        "submit", "POST", f"{here}/submissions", revision=revision + 1
                    )
                    if answer.status != 303:
                        errors.append(f"submit: {answer.status}")
                        return
                    address = answer.headers["Location"]
                    page = await ask("verdict page", "GET", address)
                    while WAITS in page.text and time.perf_counter() - begun < LONGEST_WAIT:
                        news = await ask("waiting", "GET", f"{address}/progress")
                        if "HX-Refresh" in news.headers:
                            page = await ask("verdict page", "GET", address)
                    took["submit to verdict"].append(time.perf_counter() - begun)
                    if page.status != 200 or WAITS in page.text:
                        errors.append(f"verdict page: {page.status}")
                except (aiohttp.ClientError, TimeoutError) as error:
                    errors.append(type(error).__name__)

        start = time.perf_counter()
        tasks = []
        for number in range(sent):
            await asyncio.sleep(max(0.0, start + number / rate - time.perf_counter()))
            tasks.append(asyncio.create_task(one(number)))
        await asyncio.gather(*tasks)
        seconds = time.perf_counter() - start
        print(f"{sent} submissions in {seconds:.1f} s: {sent / seconds:.1f} a second")
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


def report(took: Times, errors: list[str], accepted: int, verdicts: int, sent: int) -> bool:
    """Print the figures; return whether an answer or the number of verdicts was wrong."""
    print(f"{'':20}{'number':>8}{'p50 ms':>9}{'p95 ms':>9}{'p99 ms':>9}")
    for kind, times in took.items():
        cuts = [1000 * cut for cut in quantiles(times * 2, n=100)]
        print(f"{kind:20}{len(times):8}{cuts[49]:9.1f}{cuts[94]:9.1f}{cuts[98]:9.1f}")
    print(f"errors: {len(errors)} {sorted(set(errors))}")
    print(f"sent {sent}, accepted {accepted}, verdicts {verdicts}")
    return bool(errors) or not sent == accepted == verdicts


if __name__ == "__main__":
    sys.exit(main())
