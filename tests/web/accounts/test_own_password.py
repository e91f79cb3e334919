"""People change their own password; administrators change addresses and connections."""

import pytest
from sqlalchemy import select

from server.store.audit_chain import Action, AuditEvent
from server.store.database import Database
from server.store.openid import OpenIdPerson
from server.store.passwords import make_link, user_of_link
from server.store.people import Role, User
from server.web.accounts.own_password import NO_PASSWORD, WRONG
from server.web.accounts.password_rules import EASY
from tests.factories import NOON, PASSWORD, make_user
from tests.web.lab import ClientFor

NEW = "quince-press-9-larch"


@pytest.fixture
def user(database: Database) -> User:
    with database.write() as session:
        return make_user(session)


@pytest.fixture
def head(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.ADMINISTRATOR)


def details(database: Database, action: Action) -> list[str]:
    with database.read() as session:
        return list(session.scalars(select(AuditEvent.detail).where(AuditEvent.action == action)))


def signs_in(client_for: ClientFor, email: str, password: str) -> bool:
    form = {"email": email, "password": password}
    return bool(client_for(None).post("/sign-in", data=form).status_code == 303)


def test_new_password_holds_and_signs_out_all_others(
    client_for: ClientFor, user: User, database: Database
) -> None:
    here, other = client_for(user), client_for(user)
    with database.write() as session:
        link = make_link(session, user, NOON, by_id=user.id)
    form = {"current": PASSWORD, "password": NEW}
    answer = here.post("/my-password", data=form)
    assert answer.headers["location"] == "/sessions?password=changed"
    assert "Your password is changed." in here.get(answer.headers["location"]).text
    assert other.get("/").status_code == 303
    assert signs_in(client_for, user.email, NEW)
    assert not signs_in(client_for, user.email, PASSWORD)
    assert details(database, Action.CHANGED_SIGN_IN) == ["password"]
    with database.read() as session:
        assert user_of_link(session, link, NOON) is None


def test_current_password_is_asked_for_and_guessing_it_is_slowed(
    client_for: ClientFor, user: User, database: Database
) -> None:
    here, other = client_for(user), client_for(user)
    for number in range(5):
        refused = here.post("/my-password", data={"current": f"no {number}", "password": NEW})
        assert refused.status_code == 422
        assert WRONG in refused.text
    assert here.post("/my-password", data={"current": PASSWORD, "password": NEW}).status_code == 429
    # Somebody else's browser makes nobody wait who signs in.
    assert signs_in(client_for, user.email, PASSWORD)
    assert other.get("/").status_code == 200
    assert details(database, Action.CHANGED_SIGN_IN) == []


def test_weak_password_is_refused(client_for: ClientFor, user: User) -> None:
    here = client_for(user)
    refused = here.post("/my-password", data={"current": PASSWORD, "password": "password123"})
    assert refused.status_code == 422
    assert EASY.partition(",")[0] in refused.text
    assert here.get("/").status_code == 200


def test_account_without_a_password_gets_none_here(
    client_for: ClientFor, user: User, database: Database
) -> None:
    with database.write() as session:
        session.get_one(User, user.id).password_hash = None
    here = client_for(user)
    assert NO_PASSWORD in here.get("/my-password").text
    assert here.post("/my-password", data={"current": "", "password": NEW}).status_code == 422
    with database.read() as session:
        assert session.get_one(User, user.id).password_hash is None


def test_administrator_changes_an_address(
    client_for: ClientFor, user: User, head: User, database: Database
) -> None:
    client = client_for(head)
    address, new = f"/people/{user.id}/address", "new-name@larkmoor.example"
    for typed in ("nothing", head.email):
        refused = client.post(address, data={"email": typed})
        assert refused.status_code == 422
    assert client.post(address, data={"email": f" {new.upper()} "}).status_code == 303
    assert signs_in(client_for, new, PASSWORD)
    assert not signs_in(client_for, user.email, PASSWORD)
    assert details(database, Action.CHANGED_ACCOUNT) == [f"address, was {user.email}"]


def test_unconfirmed_account_goes_to_the_owner_of_the_new_address(
    client_for: ClientFor, user: User, head: User, database: Database
) -> None:
    with database.write() as session:
        session.get_one(User, user.id).confirmed = False
    joined = client_for(user)
    new = "owner@larkmoor.example"
    client_for(head).post(f"/people/{user.id}/address", data={"email": new})
    assert joined.get("/").status_code == 303
    assert not signs_in(client_for, new, PASSWORD)


def test_administrator_disconnects_an_account(
    client_for: ClientFor, user: User, head: User, database: Database
) -> None:
    with database.write() as session:
        session.add(OpenIdPerson(issuer="https://id.example", subject="7", user_id=user.id))
    theirs, client = client_for(user), client_for(head)
    address = f"/people/{user.id}/disconnect"
    assert address in client.get("/people").text
    assert client.post(address).status_code == 303
    assert address not in client.get("/people").text
    assert theirs.get("/").status_code == 303
    assert details(database, Action.CHANGED_SIGN_IN) == ["disconnected"]
