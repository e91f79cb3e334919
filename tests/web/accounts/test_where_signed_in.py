"""Where somebody is signed in, disabled accounts, and what becomes of sockets that are open."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from starlette.testclient import TestClient, WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from server.store.courses import Assignment, Enrolment, SectionRole
from server.store.database import Database
from server.store.passwords import make_link
from server.store.people import Role, User
from server.store.sessions import hash_token
from server.web import open_sockets
from server.web.access import COOKIE
from server.web.accounts.sessions import describe_browser
from server.web.open_sockets import NO_PLACE, SIGNED_OUT
from tests.factories import NOON, PASSWORD, make_assignment, make_section, make_user
from tests.factories import sign_in as sign_in_as

ClientFor = Callable[[User | None], TestClient]
FIREFOX = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"
ELSEWHERE = 3600.0
"""No look at the sockets but those that somebody causes."""


@pytest.fixture
def user(database: Database) -> User:
    with database.write() as session:
        return make_user(session)


def sign_in(client: TestClient, user: User) -> None:
    form = {"email": user.email, "password": PASSWORD}
    assert client.post("/sign-in", data=form).status_code == 303


def test_the_page_lists_ones_own_browsers(
    client_for: ClientFor, user: User, database: Database
) -> None:
    phone, here = client_for(None), client_for(None)
    phone.headers["User-Agent"] = FIREFOX
    sign_in(phone, user)
    sign_in(here, user)
    with database.write() as session:
        other = make_user(session)
    sign_in(client_for(None), other)
    page = here.get("/sessions").text
    assert page.count("<tr>") == 3
    assert "Firefox on Linux" in page
    assert page.count("(this one)") == 1


def test_one_browser_is_signed_out_from_another(
    client_for: ClientFor, user: User, database: Database
) -> None:
    other, here = client_for(user), client_for(user)
    with database.write() as session:
        stranger_here = make_user(session)
    stranger = client_for(stranger_here)
    which = {"which": hash_token(other.cookies[COOKIE])}
    assert which["which"] in here.get("/sessions").text
    assert stranger.post("/sessions/end", data=which).status_code == 303
    assert other.get("/").status_code == 200
    assert here.post("/sessions/end", data=which).status_code == 303
    assert [other.get("/").status_code, here.get("/").status_code] == [303, 200]


def test_signing_out_everywhere(client_for: ClientFor, user: User) -> None:
    clients = [client_for(user) for _ in range(3)]
    assert clients[0].post("/sessions/end-all").headers["location"] == "/sign-in"
    assert [each.get("/").status_code for each in clients] == [303, 303, 303]


def test_an_account_is_disabled_and_enabled(
    client_for: ClientFor, user: User, database: Database
) -> None:
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
        link = make_link(session, user, NOON, by_id=administrator.id)
    client, office = client_for(user), client_for(administrator)
    assert office.post(f"/people/{user.id}/disable").status_code == 303
    assert client.get("/").status_code == 303
    assert "This link was used" in client.get(f"/password?link={link}").text
    answer = client.post("/sign-in", data={"email": user.email, "password": PASSWORD})
    assert answer.status_code == 403
    assert f"Enable the account of {user.name}" in office.get("/people").text
    office.post(f"/people/{user.id}/enable")
    sign_in(client, user)
    assert office.post(f"/people/{administrator.id}/disable").status_code == 422
    assert office.get("/people").status_code == 200


def test_browsers_are_told_in_two_words() -> None:
    chrome = "Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537.36 Chrome/140.0 Safari/537.36"
    assert describe_browser(FIREFOX) == "Firefox on Linux"
    assert describe_browser(chrome) == "Chrome on Windows"
    assert describe_browser(f"{chrome} Edg/140.0") == "Edge on Windows"
    assert describe_browser("<script>") == "Unknown browser"


# -- sockets that are open ----------------------------------------------------------------------


@contextmanager
def live(
    student: User, assignment: Assignment, client_for: ClientFor
) -> Iterator[tuple[TestClient, WebSocketTestSession]]:
    with client_for(student) as client:
        address = f"/assignments/{assignment.id}/trial/socket"
        with client.websocket_connect(address) as socket:
            assert socket.receive_json()
            yield client, socket


def closed(socket: WebSocketTestSession) -> tuple[int, str]:
    """How the server closes it; frames that come before are passed over."""
    with pytest.raises(WebSocketDisconnect) as gone:
        while True:
            socket.receive_text()
    return gone.value.code, gone.value.reason


@pytest.fixture
def assignment(database: Database, user: User) -> Assignment:
    with database.write() as session:
        section = make_section(session, (user, SectionRole.STUDENT))
        return make_assignment(session, section, exercise="wash-sump")


@pytest.mark.parametrize("how", ["sign-out", "everywhere", "password", "disabled", "section"])
def test_what_ends_a_sign_in_or_a_place_closes_the_socket_at_once(
    client_for: ClientFor,
    database: Database,
    user: User,
    assignment: Assignment,
    monkeypatch: pytest.MonkeyPatch,
    how: str,
) -> None:
    monkeypatch.setattr(open_sockets, "LOOKED_AT_EVERY", ELSEWHERE)
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
        link = make_link(session, user, NOON, by_id=administrator.id)
        token = sign_in_as(session, administrator, NOON)
    with live(user, assignment, client_for) as (client, socket):
        # All in the one event loop in which the socket lives.
        if how in ("disabled", "section"):
            client.cookies.set(COOKIE, token)
        if how == "sign-out":
            client.post("/sign-out")
        elif how == "everywhere":
            client.post("/sessions/end-all")
        elif how == "password":
            form = {"link": link, "password": "crate lamp orchard seven"}
            assert client.post("/password", data=form).status_code == 303
        elif how == "disabled":
            client.post(f"/people/{user.id}/disable")
        else:
            section = assignment.section_id
            client.post(f"/sections/{section}/roster/leave", data={"person": str(user.id)})
        assert closed(socket) == (1008, NO_PLACE if how == "section" else SIGNED_OUT)


def test_what_another_process_has_ended_is_seen_soon(
    client_for: ClientFor,
    database: Database,
    user: User,
    assignment: Assignment,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(open_sockets, "LOOKED_AT_EVERY", 0.05)
    with live(user, assignment, client_for) as (_, socket):
        with database.write() as session:
            session.delete(session.get_one(Enrolment, (assignment.section_id, user.id)))
        assert closed(socket) == (1008, NO_PLACE)
