"""How late are the frames of many live trial runs? A server, and its readers in another process.

    python -m tests.load.trial_runs [--runs 150] [--seconds 20]

Starts a server on loopback with an empty course of invented students, opens one run each over a
real WebSocket, lets all plants run and works their panels now and then. A frame's lateness is how
far its plant time lies behind that of the punctual frame of the same run:

    lateness = (received - plant time) - least (received - plant time) of the run

Prints the figures as JSON and closes everything it started.
"""

import argparse
import asyncio
import json
import os
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from statistics import quantiles
from time import monotonic
from typing import Any

import aiohttp
import uvloop

from server.ladder.json_form import to_json
from server.marking.files.catalogue import Catalogue, start_program
from server.marking.files.reference_programs import read_program
from server.paths import EXERCISES
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.programs import save_program
from server.web.access import COOKIE
from tests.factories import make_assignment, make_section, make_user, sign_in

EXERCISE, PROGRAM = "apple-wash-sump", "right-seal-in.st"
START = ("panel.fill_pb", "panel.stop_pb")
SETTLING_SECONDS = 4.0
PERIOD_SECONDS = 0.01


@dataclass
class Reader:
    """One open page: when each frame came, and the plant time it told."""

    socket: aiohttp.ClientWebSocketResponse
    frames: list[tuple[float, float]] = field(default_factory=list)
    bytes: int = 0

    async def read(self) -> None:
        async for message in self.socket:
            scan = json.loads(message.data).get("scan")
            self.bytes += len(message.data)
            self.frames.append((monotonic(), scan * PERIOD_SECONDS))

    async def send(self, **command: Any) -> None:
        await self.socket.send_str(json.dumps(command))

    def lateness(self, since: float) -> list[float]:
        lags = [received - plant for received, plant in self.frames if received >= since]
        least = min(lags)
        return [lag - least for lag in lags]

    def gaps(self, since: float) -> list[float]:
        times = [received for received, _ in self.frames if received >= since]
        return [b - a for a, b in pairwise(times)]


def prepare(folder: Path, runs: int) -> tuple[str, list[str]]:
    """A course with one student for each run; the socket's path and their session tokens."""
    database = Database(f"sqlite:///{folder / 'rungmark.db'}")
    migrate(database)
    exercise = Catalogue(EXERCISES).find(EXERCISE)
    assert exercise is not None, "the exercise is shipped"
    program = read_program(EXERCISES / EXERCISE / "programs" / PROGRAM, exercise)
    now = datetime.now(UTC)
    with database.write() as session:
        students = [make_user(session) for _ in range(runs)]
        section = make_section(session, *((s, SectionRole.STUDENT) for s in students))
        assignment = make_assignment(session, section, exercise=EXERCISE)
        start = to_json(start_program(exercise))
        for student in students:
            save_program(session, assignment, student.id, to_json(program), revision=0,
                         start=start, now=now)  # fmt: skip
        tokens = [sign_in(session, s, now) for s in students]
        path = f"/assignments/{assignment.id}/trial/socket"
    database.close()
    return path, tokens


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port: int = listening.getsockname()[1]
    return port


def start_server(folder: Path, port: int) -> "subprocess.Popen[str]":
    """The server as anybody starts it, once it answers."""
    command = [sys.executable, "-m", "server.cli", "serve", "--port", str(port)]
    server = subprocess.Popen([*command, "--data", str(folder)], stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    for line in server.stdout:
        if "Rungmark is at" in line:
            return server
    raise RuntimeError("The server did not start.")


def memory_of(pid: int) -> int:
    """Resident bytes."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


def processor_of(pid: int) -> float:
    """Seconds of processor time used so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Page:
    """Where a trial run is opened, and by whom."""

    port: int
    path: str
    token: str


async def measure(
    pages: list[Page],
    seconds: float,
    pids: list[int],
    settled: Callable[[], None] = lambda: None,
) -> dict[str, Any]:
    """Open every page's trial run on the servers ``pids``, and read all for so many seconds.

    ``settled`` is called when all are open and the seconds begin.
    """
    async with AsyncExitStack() as stack:
        client = await stack.enter_async_context(
            aiohttp.ClientSession(
                connector=aiohttp.TCPConnector(limit=0), cookie_jar=aiohttp.DummyCookieJar()
            )
        )

        async def open_page(page: Page) -> Reader:
            opening = client.ws_connect(
                f"http://127.0.0.1:{page.port}{page.path}",
                origin=f"http://127.0.0.1:{page.port}",
                headers={"Cookie": f"{COOKIE}={page.token}"},
                max_msg_size=0,
            )
            return Reader(await stack.enter_async_context(opening))

        first = await open_page(pages[0])
        await first.socket.receive()  # the kernel is compiled by now
        before = sum(map(memory_of, pids))
        readers = [first, *[await open_page(page) for page in pages[1:]]]
        reading = [asyncio.create_task(reader.read()) for reader in readers]
        for number, reader in enumerate(readers):
            await reader.send(do="run")
            await reader.send(do="act", action={"control": START[0], "on": True})
            await asyncio.sleep(0.001 * (number % 7))
        await asyncio.sleep(SETTLING_SECONDS)
        settled()
        since, busy = monotonic(), sum(map(processor_of, pids))
        end = since + seconds
        turn = 0
        while monotonic() < end:
            # Each panel is worked about once in two seconds.
            for reader in readers[turn % 20 :: 20]:
                on = turn // 20 % 2 == 0
                await reader.send(do="act", action={"control": START[1], "on": on})
            turn += 1
            await asyncio.sleep(0.1)
        used = (sum(map(processor_of, pids)) - busy) / (monotonic() - since)
        after = sum(map(memory_of, pids))
        for task in reading:
            task.cancel()
        await asyncio.gather(*reading, return_exceptions=True)
    late = [lag for reader in readers for lag in reader.lateness(since)]
    gaps = [gap for reader in readers for gap in reader.gaps(since)]
    frames = len(late)
    return {
        "runs": len(readers),
        "seconds": seconds,
        "frames_per_second_and_run": round(frames / seconds / len(readers), 2),
        "lateness_p50_ms": round(1000 * quantiles(late, n=100)[49], 1),
        "lateness_p95_ms": round(1000 * quantiles(late, n=100)[94], 1),
        "lateness_p99_ms": round(1000 * quantiles(late, n=100)[98], 1),
        "gap_p95_ms": round(1000 * quantiles(gaps, n=100)[94], 1),
        "bytes_per_frame": round(
            sum(r.bytes for r in readers) / sum(len(r.frames) for r in readers)
        ),
        "server_cores": round(used, 2),
        "kilobytes_per_run": round((after - before) / 1000 / max(1, len(readers) - 1)),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=150)
    parser.add_argument("--seconds", type=float, default=20.0)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path, tokens = prepare(folder, arguments.runs)
        port = free_port()
        server = start_server(folder, port)
        try:
            pages = [Page(port, path, token) for token in tokens]
            figures = uvloop.run(measure(pages, arguments.seconds, [server.pid]))
        finally:
            server.terminate()
            server.wait(timeout=30)
    print(json.dumps(figures, indent=2))


if __name__ == "__main__":
    main()
