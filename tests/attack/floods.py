"""Floods of the trial runs' sockets, while a class works."""

import asyncio
import json
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from statistics import quantiles
from time import monotonic

import aiohttp

from server.ladder.json_form import to_json
from server.ladder.text_form import parse_rungs
from server.marking.files.catalogue import start_program
from server.marking.files.exercise_file import load_exercise
from server.store.courses import SectionRole
from server.store.programs import save_program
from server.web.access import COOKIE
from tests.attack.attack import Attack, Outcome, Target
from tests.factories import EXERCISES, make_assignment, make_section, make_user, sign_in
from tests.web.lab import RIGHT

SOCKETS = 6
MESSAGES = 20_000
EDITORS = 50
EDIT_EVERY = 1.0
HEALTH_EVERY = 0.05
LONGEST_SECONDS = 40.0
"""A flood that the server slows down ends here."""

QUIET_SECONDS = 8.0
"""The class alone, before the flood: what the machine can do."""

HEALTH_BAR, EDIT_BAR = 0.2, 1.0


@dataclass(frozen=True)
class Room:
    """Where an assignment is, the sessions of its students, and which program each has now."""

    url: str
    address: str
    tokens: list[str]
    revisions: list[int]

    def headers(self, number: int) -> dict[str, str]:
        return {"Origin": self.url, "Cookie": f"{COOKIE}={self.tokens[number]}"}


@dataclass
class Measured:
    """Seconds that answers took, and answers that were not as they should be."""

    health: list[float] = field(default_factory=list)
    edits: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


@dataclass
class Sent:
    """What came of a flood."""

    messages: int = 0
    reasons: set[str] = field(default_factory=set)


def prepare(target: Target, number: int) -> Room:
    exercise = load_exercise(EXERCISES / "wash-sump")
    rungs = parse_rungs("\n".join(RIGHT))
    program = to_json(replace(start_program(exercise), rungs=rungs))
    now = datetime.now(UTC)
    with target.database.write() as session:
        students = [make_user(session) for _ in range(number)]
        section = make_section(session, *((each, SectionRole.STUDENT) for each in students))
        assignment = make_assignment(
            session,
            section,
            exercise="wash-sump",
            opens_at=now - timedelta(days=1),
            due_at=now + timedelta(days=1),
        )
        for each in students:
            save_program(session, assignment, each.id, program, revision=0, start={}, now=now)
        tokens = [sign_in(session, each, now) for each in students]
        return Room(target.url, f"/assignments/{assignment.id}", tokens, [1] * number)


# -- the class at work --------------------------------------------------------------------------


async def measure(room: Room, flooding: Callable[[], bool]) -> Measured:
    """Let the class edit, and look at /health, while there is a flood."""
    measured = Measured()
    async with _client() as client:
        work = [_look(client, room, measured, flooding)]
        work += [_edit(client, room, n, measured, flooding) for n in range(EDITORS)]
        await asyncio.gather(*work)
    return measured


async def _edit(
    client: aiohttp.ClientSession,
    room: Room,
    number: int,
    measured: Measured,
    flooding: Callable[[], bool],
) -> None:
    """Change the program about once a second, as a student does."""
    await asyncio.sleep(EDIT_EVERY * number / EDITORS)
    revision = room.revisions[number]
    while flooding():
        action = {"action": "set comment", "rung": 0, "comment": f"Try {revision}"}
        data = {"action": json.dumps(action), "revision": str(revision)}
        begun = monotonic()
        async with client.post(
            f"{room.url}{room.address}/program", data=data, headers=room.headers(number)
        ) as answer:
            await answer.read()
        measured.edits.append(monotonic() - begun)
        if answer.status != 200:
            measured.wrong.append(f"edit {answer.status}")
            return
        revision = room.revisions[number] = revision + 1
        await asyncio.sleep(max(0.0, EDIT_EVERY - (monotonic() - begun)))


async def _look(
    client: aiohttp.ClientSession, room: Room, measured: Measured, flooding: Callable[[], bool]
) -> None:
    while flooding():
        begun = monotonic()
        async with client.get(f"{room.url}/health") as answer:
            await answer.read()
        measured.health.append(monotonic() - begun)
        if answer.status != 200:
            measured.wrong.append(f"health {answer.status}")
        await asyncio.sleep(HEALTH_EVERY)


# -- the flood, in a process of its own ---------------------------------------------------------


def flood(room: Room, flooders: list[int], messages: list[str]) -> Sent:
    """Send the messages in turn on a socket of each of the flooders."""
    sent = Sent()

    async def work() -> None:
        async with _client() as client:
            if not messages:
                address = f"{room.url}{room.address}/trial/socket"
                async with client.ws_connect(address, headers=room.headers(flooders[0])) as socket:
                    await socket.receive()
                return
            await asyncio.gather(*(_flood(client, room, n, messages, sent) for n in flooders))

    asyncio.run(work())
    return sent


async def _flood(
    client: aiohttp.ClientSession, room: Room, number: int, messages: list[str], sent: Sent
) -> None:
    """Send as fast as the server takes it, and come back whenever it closes."""
    until, left = monotonic() + LONGEST_SECONDS, MESSAGES
    while left and monotonic() < until:
        with suppress(aiohttp.ClientError, ConnectionError):
            async with client.ws_connect(
                f"{room.url}{room.address}/trial/socket",
                headers=room.headers(number),
                max_msg_size=0,
            ) as socket:
                reading = asyncio.create_task(_read(socket, sent))
                while left and not socket.closed and monotonic() < until:
                    await socket.send_str(messages[left % len(messages)])
                    left -= 1
                    sent.messages += 1
                    if left % 100 == 0:
                        await asyncio.sleep(0)
                await asyncio.wait([reading], timeout=1.0)


async def _read(socket: aiohttp.ClientWebSocketResponse, sent: Sent) -> None:
    async for _ in socket:
        pass
    if socket.close_code is not None:
        sent.reasons.add(f"closed with {int(socket.close_code)}")


def _client() -> aiohttp.ClientSession:
    return aiohttp.ClientSession(
        connector=aiohttp.TCPConnector(limit=0),
        cookie_jar=aiohttp.DummyCookieJar(),
        timeout=aiohttp.ClientTimeout(120),
    )


# -- the attacks --------------------------------------------------------------------------------


def p99(times: list[float]) -> float:
    return quantiles(times, n=100)[98]


def _flooded(tried: str, students: int, messages: list[str]) -> Callable[[Target], Outcome]:
    def play(target: Target) -> Outcome:
        room = prepare(target, EDITORS + students)
        flooders = [EDITORS + number % students for number in range(SOCKETS)]
        with ProcessPoolExecutor(1, get_context("spawn")) as pool:
            # The kernel is fetched, and the process begun, before anything is measured.
            pool.submit(flood, room, [0], []).result()
            quiet_until = monotonic() + QUIET_SECONDS
            quiet = asyncio.run(measure(room, lambda: monotonic() < quiet_until))
            flooding = pool.submit(flood, room, flooders, messages)
            measured = asyncio.run(measure(room, lambda: not flooding.done()))
            sent = flooding.result()
        health, edits = p99(measured.health), p99(measured.edits)
        came = (
            f"p99 of /health {health:.3f} s ({len(measured.health)}, before the flood "
            f"{p99(quiet.health):.3f} s), of an edit {edits:.3f} s ({len(measured.edits)}, before "
            f"{p99(quiet.edits):.3f} s), {len(measured.wrong)} wrong answers, "
            f"{', '.join(sorted(sent.reasons)) or 'never closed'}"
        )
        closed = sent.reasons == {"closed with 1008"}
        held = health < HEALTH_BAR and edits < EDIT_BAR and closed and not measured.wrong
        return Outcome(tried, sent.messages, came, held)

    return play


SCANS = ['{"do":"scan"}']

COSTLY = [
    '{"do":"scan"}',
    '{"do":"look","scan":0}',
    '{"do":"why","signal":"fill_pump"}',
    '{"do":"act","action":{"control":"panel.start_pb","on":true}}',
    '{"do":"scenario"}',
    '{"do":"restart"}',
    '{"do":"branch","scan":0}',
    '{"do":"exchange"}',
]
"""The commands that cost most, in turn."""


ATTACKS = (
    Attack(
        "flood of scans by one student",
        _flooded(f"scans on {SOCKETS} sockets of one student", 1, SCANS),
    ),
    Attack(
        "flood of scans by six students",
        _flooded(f"scans on {SOCKETS} sockets of {SOCKETS} students", SOCKETS, SCANS),
    ),
    Attack(
        "flood of costly commands by six students",
        _flooded(f"commands of every kind on {SOCKETS} sockets", SOCKETS, COSTLY),
    ),
)
