"""Two web processes on one PostgreSQL, as if each request came to the other one."""

import json
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx2
import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from server.jobs.queue import prepare_queue
from server.store.database import Database
from server.store.guesses import FREE, LONGEST_WAIT, begin_guess
from server.store.people import User
from server.store.trials import LATEST, find_trial
from server.web.access import COOKIE
from server.web.trial.runs import ELSEWHERE
from tests.factories import PASSWORD, make_user
from tests.faults.class_at_work import Student, handing_in, make_class, submissions, verdicts
from tests.faults.processes import Process, running, serving, until
from tests.postgresql import PostgreSQL


@pytest.fixture(scope="module")
def shared(postgres: PostgreSQL) -> Iterator[Database]:
    with postgres.database() as database:
        prepare_queue(database)
        yield database


@pytest.fixture(scope="module")
def webs(
    shared: Database, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[list[tuple[Process, str]]]:
    folder: Path = tmp_path_factory.mktemp("data")
    with ExitStack() as stack:
        stack.enter_context(running(shared, "work"))
        yield [stack.enter_context(serving(shared, folder)) for _ in range(2)]


Webs = list[tuple[Process, str]]


def test_who_signs_in_at_one_is_known_to_the_other(shared: Database, webs: Webs) -> None:
    (_, here), (_, there) = webs
    with shared.write() as session:
        user = make_user(session)
    signed_in = sign_in(here, user, PASSWORD)
    assert signed_in.status_code == 303
    cookie = {"Cookie": f"{COOKIE}={signed_in.cookies[COOKIE]}"}
    assert httpx2.get(f"{there}/", headers=cookie).status_code == 200
    httpx2.post(f"{there}/sign-out", headers={**cookie, "Origin": there})
    assert httpx2.get(f"{here}/", headers=cookie).status_code == 303


def sign_in(address: str, user: User, password: str) -> httpx2.Response:
    form = {"email": user.email, "password": password}
    return httpx2.post(f"{address}/sign-in", data=form, headers={"Origin": address})


def test_attempts_to_sign_in_count_together(shared: Database, webs: Webs) -> None:
    addresses = [address for _, address in webs]
    guesses = FREE + 8
    with shared.write() as session:
        user = make_user(session)
        # As if another process had taken them for minutes: the next has to wait for one more.
        for number in reversed(range(guesses)):
            now = datetime.now(UTC) - number * LONGEST_WAIT
            assert not begin_guess(session, user.email, "127.0.0.1", now)
    assert [sign_in(each, user, PASSWORD).status_code for each in addresses] == [429, 429]


def test_what_is_handed_in_at_one_is_told_by_the_other(shared: Database, webs: Webs) -> None:
    (_, here), (_, there) = webs
    (student,) = make_class(shared, 1)
    with student.client(here) as client, student.client(there) as other:
        path = f"/assignments/{student.assignment_id}/submissions"
        verdict = client.post(path, data={"revision": "1"}).headers["location"]
        while "HX-Refresh" not in other.get(f"{verdict}/progress").headers:
            pass
        assert "Every requirement is met." in other.get(verdict).text


def test_a_class_hands_in_at_both(shared: Database, webs: Webs) -> None:
    students = make_class(shared, 10)
    with handing_in(students, *(address for _, address in webs)) as answers:
        pass
    assert answers.refused == []
    until(lambda: set(answers.accepted) <= set(verdicts(shared)), "all verdicts")
    assert submissions(shared) == verdicts(shared)


def window(student: Student, address: str) -> ClientConnection:
    return connect(
        f"{address.replace('http', 'ws')}/assignments/{student.assignment_id}/trial/socket",
        origin=Origin(address),
        additional_headers={"Cookie": f"{COOKIE}={student.token}"},
    )


def frame(socket: ClientConnection, **expected: Any) -> dict[str, Any]:
    while True:
        told: dict[str, Any] = json.loads(socket.recv())
        if expected.items() <= told.items():
            return told


def test_a_run_stays_with_its_process_until_that_is_stopped(shared: Database, webs: Webs) -> None:
    """A window that comes to the wrong one is told; a stop tells the other and stores the run."""
    (process, here), (_, there) = webs
    (student,) = make_class(shared, 1)
    with window(student, here) as socket:
        for _ in range(12):
            socket.send(json.dumps({"do": "scan"}))
        frame(socket, scan=12)
        with window(student, there) as lost:
            assert json.loads(lost.recv()) == {"refused": ELSEWHERE}
            with pytest.raises(ConnectionClosed) as closed:
                lost.recv()
            assert closed.value.rcvd is not None
            assert closed.value.rcvd.code == 1013
        process.terminate()
        with pytest.raises(ConnectionClosed) as closed:
            while True:
                socket.recv()
        # "Service restart": the page says so and comes back by itself.
        assert closed.value.rcvd is not None
        assert closed.value.rcvd.code == 1012
    process.wait()
    with shared.read() as session:
        kept = find_trial(session, student.assignment_id, student.user_id, LATEST)
        assert kept is not None
        assert kept.scans == 12
    with window(student, there) as socket:
        frame(socket, scan=12)
