"""Sessions: what ends them, what keeps them, and the browsers that are known."""

from datetime import timedelta

from sqlalchemy import select

from server.store import sessions
from server.store.database import Database
from server.store.sessions import BrowserSession, Lifetime, Stage
from tests.factories import NOON, make_user

HOUR = timedelta(hours=1)
DAY = Lifetime(24 * HOUR, 2 * HOUR)


def test_a_token_leads_to_its_user_until_the_session_ends(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
        token = sessions.begin_session(session, user, NOON, Lifetime(HOUR, HOUR))
        found = sessions.find_session(session, token, NOON)
        assert found is not None
        assert (found.user_id, found.name, found.role) == (user.id, user.name, user.role)
        assert sessions.find_session(session, token + "x", NOON) is None
        assert sessions.find_session(session, token, NOON + HOUR) is None
        sessions.end_session(session, sessions.hash_token(token))
        assert sessions.find_session(session, token, NOON) is None


def test_a_token_is_not_stored(database: Database) -> None:
    with database.write() as session:
        token = sessions.begin_session(session, make_user(session), NOON, DAY)
        assert token not in session.scalars(select(BrowserSession.token_hash)).all()


def test_sessions_that_have_ended_are_swept(database: Database) -> None:
    with database.write() as session:
        for hours in (0, 2):
            sessions.begin_session(session, make_user(session), NOON + hours * HOUR, DAY)
        assert len(session.scalars(select(BrowserSession)).all()) == 1


def test_an_idle_session_ends_and_a_used_one_goes_on(database: Database) -> None:
    with database.write() as session:
        token = sessions.begin_session(session, make_user(session), NOON, DAY)
        found = sessions.find_session(session, token, NOON + 1.9 * HOUR)
        assert found is not None
        sessions.note_use(session, [found.token_hash], NOON + 1.9 * HOUR, DAY.idle)
        assert sessions.find_session(session, token, NOON + 3.8 * HOUR) is not None
        assert sessions.find_session(session, token, NOON + 3.9 * HOUR) is None


def test_use_does_not_carry_a_session_over_its_end(database: Database) -> None:
    with database.write() as session:
        token = sessions.begin_session(session, make_user(session), NOON, DAY)
        hashed = sessions.hash_token(token)
        sessions.note_use(session, [hashed], NOON + 23.9 * HOUR, DAY.idle)
        assert sessions.live_sessions(session, [hashed], NOON + 23.9 * HOUR)
        assert not sessions.live_sessions(session, [hashed], NOON + 24 * HOUR)


def test_a_disabled_account_has_no_session(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
        token = sessions.begin_session(session, user, NOON, DAY)
        user.disabled_at = NOON
        session.flush()
        assert sessions.find_session(session, token, NOON) is None
        assert sessions.sessions_of(session, user.id, NOON) == []


def test_a_session_that_waits_for_its_code_is_short(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
        token = sessions.begin_session(session, user, NOON, DAY, stage=Stage.CODE_DUE)
        assert sessions.sessions_of(session, user.id, NOON) == []
        assert sessions.find_session(session, token, NOON) is not None
        assert sessions.find_session(session, token, NOON + sessions.CODE_WITHIN) is None


def test_a_browser_is_known_to_those_who_signed_in_there(database: Database) -> None:
    with database.write() as session:
        first, second, other = (make_user(session) for _ in range(3))
        token = sessions.know_browser(session, "planted", first.id, NOON)
        assert token != "planted"
        assert sessions.know_browser(session, token, second.id, NOON) == token
        assert sessions.know_browser(session, token, first.id, NOON) == token
        assert sessions.is_known(session, token, first.id)
        assert sessions.is_known(session, token, second.id)
        assert not sessions.is_known(session, token, other.id)
        sessions.forget_browsers(session, first.id)
        assert not sessions.is_known(session, token, first.id)
