"""Attacks on signing in, on what a sign-in leaves open, and on the files below it."""

import asyncio
import os
import re
import socket
import stat
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import monotonic

import httpx2
import pyotp
from sqlalchemy import delete
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect
from websockets.typing import Origin

from server.store.courses import Enrolment, SectionRole
from server.store.people import Role, User
from server.store.sessions import end_sessions_of
from server.web.access import COOKIE
from tests.attack.attack import Attack, Outcome, Target
from tests.factories import PASSWORD, make_assignment, make_section, make_user, sign_in
from tests.faults.processes import url_of

GUESSES = 100
CLASS = 10
OWN, OTHER = "192.0.2.1", "192.0.2.2"
"""Addresses as the proxy of this machine passes them on (RFC 5737: of nobody)."""

CLOSED_WITHIN = 5.0


def client_of(target: Target, address: str) -> httpx2.Client:
    return httpx2.Client(
        base_url=target.url,
        headers={"Origin": target.url, "X-Forwarded-For": address},
        timeout=60,
    )


def give(client: httpx2.Client, email: str, password: str) -> int:
    form = {"email": email, "password": password}
    return int(client.post("/sign-in", data=form).status_code)


def people_of(target: Target, number: int, role: Role = Role.STUDENT) -> list[User]:
    with target.database.write() as session:
        return [make_user(session, role) for _ in range(number)]


def guess_one_account(target: Target) -> Outcome:
    """However its name is spelled; the owner comes from elsewhere meanwhile."""
    (victim,) = people_of(target, 1)
    began = monotonic()
    answers = []
    with client_of(target, OWN) as guesser, client_of(target, OTHER) as owner:
        for number in range(GUESSES):
            spelled = " " * (number * 7 % 90) + victim.email.upper()
            answers.append(give(guesser, spelled, f"guess-{number}"))
        looked_at = answers.count(422)
        owned = give(owner, victim.email, PASSWORD)
    # 5 are free; then each waits twice as long as the one before.
    allowed = 5 + 1 + int(monotonic() - began + 1).bit_length()
    return Outcome(
        "guesses at one account from one address, its name padded with blanks",
        GUESSES,
        f"{looked_at} passwords looked at (at most {allowed}), the owner elsewhere got {owned}",
        looked_at <= allowed and owned == 303,
    )


def guess_from_a_lab(target: Target) -> Outcome:
    """Wrong passwords for many accounts; a class behind the same address signs in."""
    students = people_of(target, CLASS)
    with client_of(target, OWN) as guesser:
        for number in range(GUESSES):
            give(guesser, f"nobody{number}@larkmoor.example", "wrong")

    def come_in(student: User) -> int:
        with client_of(target, OWN) as client:
            return give(client, student.email, PASSWORD)

    with ThreadPoolExecutor(CLASS) as together:
        came = list(together.map(come_in, students))
    return Outcome(
        "wrong passwords from the address of a whole lab",
        GUESSES,
        f"{came.count(303)} of {CLASS} students behind it signed in at once",
        came == [303] * CLASS,
    )


def guess_beside_the_owner(target: Target) -> Outcome:
    """Behind one address; the owner uses a browser in which they have signed in before."""
    (victim,) = people_of(target, 1)
    with client_of(target, OWN) as owner, client_of(target, OWN) as guesser:
        give(owner, victim.email, PASSWORD)
        owner.post("/sign-out")
        for number in range(GUESSES):
            give(guesser, victim.email, f"guess-{number}")
        owned = give(owner, victim.email, PASSWORD)
    return Outcome(
        "guesses at the neighbor's account in the same lab",
        GUESSES,
        f"in their own browser the owner got {owned}",
        owned == 303,
    )


def tell_accounts_apart(target: Target) -> Outcome:
    """By the answer, or by how long it takes."""
    known = people_of(target, 4)
    unlike: set[tuple[int, str]] = set()
    times: dict[bool, list[float]] = {True: [], False: []}
    with client_of(target, OWN) as client:
        for number in range(4 * 4):
            there = number % 2 == 0
            email = known[number % 4].email if there else f"nobody{number % 4}@larkmoor.example"
            began = monotonic()
            answer = client.post("/sign-in", data={"email": email, "password": "wrong"})
            times[there].append(monotonic() - began)
            unlike.add((int(answer.status_code), answer.text.replace(email, "")))
    fastest = {there: min(found) for there, found in times.items()}
    return Outcome(
        "wrong passwords for accounts that are there and that are not",
        16,
        f"{len(unlike)} kind of answer; the fastest took {1000 * fastest[True]:.0f} ms "
        f"and {1000 * fastest[False]:.0f} ms",
        len(unlike) == 1 and 0.5 < fastest[True] / fastest[False] < 2,
    )


def many_at_once(target: Target) -> Outcome:
    """Each verification takes 60 MB: they must not all go on at once, nor stop the pages."""

    async def flood() -> tuple[list[int], float]:
        slowest = 0.0
        headers = {"Origin": target.url, "X-Forwarded-For": OWN}
        limits = httpx2.Limits(max_connections=200)
        async with httpx2.AsyncClient(
            base_url=target.url, headers=headers, timeout=300, limits=limits
        ) as client:

            async def guess(number: int) -> int:
                form = {"email": f"x{number}@larkmoor.example", "password": "wrong"}
                return int((await client.post("/sign-in", data=form)).status_code)

            flood = [asyncio.create_task(guess(number)) for number in range(150)]
            while not all(each.done() for each in flood):
                began = monotonic()
                await client.get("/health")
                slowest = max(slowest, monotonic() - began)
                await asyncio.sleep(0.05)
            return [each.result() for each in flood], slowest

    answers, slowest = asyncio.run(flood())
    return Outcome(
        "sign-ins at the same moment",
        len(answers),
        f"{answers.count(422)} were looked at in turn, {answers.count(429)} told to come again; "
        f"/health took {slowest:.2f} s at most",
        set(answers) <= {422, 429} and slowest < 2,
    )


def keep_a_socket(target: Target) -> Outcome:
    """Signed out here, in another process, and taken out of the section, with a live run open."""
    came, held = [], True
    for how in ("signed out", "signed out by another process", "taken out of the section"):
        with target.database.write() as session:
            student = make_user(session)
            section = make_section(session, (student, SectionRole.STUDENT))
            assignment = make_assignment(session, section, exercise="wash-sump")
            token = sign_in(session, student, datetime.now(UTC))
            assignment.opens_at = datetime.now(UTC) - timedelta(days=1)
            assignment.due_at = datetime.now(UTC) + timedelta(days=1)
        cookie = {"Cookie": f"{COOKIE}={token}"}
        address = f"{target.url.replace('http', 'ws', 1)}/assignments/{assignment.id}/trial/socket"
        with connect(address, origin=Origin(target.url), additional_headers=cookie) as live:
            live.recv(timeout=60)
            if how == "signed out":
                with client_of(target, OWN) as client:
                    client.post("/sign-out", headers=cookie)
            else:
                with target.database.write() as session:
                    if how.startswith("taken"):
                        session.execute(delete(Enrolment).where(Enrolment.user_id == student.id))
                    else:
                        end_sessions_of(session, student.id)
            began = monotonic()
            with suppress(TimeoutError, ConnectionClosed):
                while monotonic() - began < CLOSED_WITHIN:
                    live.recv(timeout=CLOSED_WITHIN)
            took = monotonic() - began
            held = held and live.close_code == 1008 and took < CLOSED_WITHIN
            came.append(f"{how}: {took:.1f} s")
    return Outcome("kept a live run's socket", 3, f"closed after {', '.join(came)}", held)


def steal_a_password(target: Target) -> Outcome:
    """Of an administrator with a second factor: the password alone, old codes, guessed codes."""
    (victim,) = people_of(target, 1, Role.ADMINISTRATOR)
    opened = 0
    with client_of(target, OWN) as owner, client_of(target, OTHER) as thief:
        give(owner, victim.email, PASSWORD)
        owner.post("/second-factor/begin")
        shown = re.search(r'class="break">([A-Z2-7 ]+)<', owner.get("/second-factor").text)
        assert shown is not None
        used = pyotp.TOTP(shown[1].replace(" ", "")).now()
        assert owner.post("/second-factor", data={"code": used}).status_code == 200
        looked_at = 0
        for number in range(GUESSES):
            if number % 10 == 0:
                give(thief, victim.email, PASSWORD)
            code = used if number == 0 else f"{number:06}"
            answer = thief.post("/sign-in/code", data={"code": code})
            looked_at += "Wrong code" in answer.text
            opened += thief.get("/people").status_code == 200
    return Outcome(
        "codes, with the right password of an administrator",
        GUESSES,
        f"{looked_at} looked at, {opened} times in",
        opened == 0 and looked_at < 20,
    )


def second_server(target: Target) -> Outcome:
    """On the database of the one that runs; and what other users of the machine could read."""
    environment = os.environ | {"RUNGMARK_DATABASE_URL": url_of(target.database)}
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = str(free.getsockname()[1])
    words = ["serve", "--port", port, "--data", str(target.folder)]
    done = subprocess.run(
        [sys.executable, "-m", "server.cli", *words],
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    files = {
        each.name: stat.S_IMODE(each.stat().st_mode)
        for each in (target.folder, *target.folder.rglob("*"))
    }
    loose = sorted(name for name, mode in files.items() if mode & 0o077)
    (told,) = done.stderr.splitlines() or ["nothing"]
    return Outcome(
        "a second server on the same data",
        1,
        f"it said: {told}; {len(loose)} of {len(files)} files are readable by others",
        done.returncode == 2 and "Another Rungmark server" in told and not loose,
    )


def plant_a_kernel(target: Target) -> Outcome:
    """A cache folder that others may write, named to the server."""
    shared = target.folder / "shared"
    shared.mkdir()
    shared.chmod(0o777)
    code = "from server.scan.cache_folder import cache_folder; print(cache_folder())"
    found = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"RUNGMARK_CACHE": str(shared)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    below = Path(found).is_relative_to(shared)
    return Outcome(
        "compiled kernels from a folder that anybody may write",
        1,
        "it was used" if below else "another folder was used",
        not below,
    )


ATTACKS = (
    Attack("Sign-in: guessing at one account", guess_one_account, on_postgresql=True),
    Attack("Sign-in: guessing from a lab's address", guess_from_a_lab, on_postgresql=True),
    Attack("Sign-in: guessing beside the owner", guess_beside_the_owner),
    Attack("Sign-in: telling accounts apart", tell_accounts_apart),
    Attack("Sign-in: many at once", many_at_once),
    Attack("Sessions: a socket that stays open", keep_a_socket, on_postgresql=True),
    Attack("Sessions: a stolen password", steal_a_password),
    Attack("Files: a second server, other users", second_server),
    Attack("Files: a planted kernel", plant_a_kernel),
)
