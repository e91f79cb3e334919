"""Scores that wait, taken by senders side by side; keys that change; a person's data."""

from dataclasses import replace
from datetime import timedelta

import pytest
from joserfc import jwt
from joserfc.jwk import KeySet
from sqlalchemy import select

from server.marking.verdict import Difference, Status
from server.marking.verdict_form import to_json
from server.remote import own_keys
from server.remote.own_keys import PUBLISHED_AFTER, PUBLISHED_BEFORE, KeyTrouble, published, sign
from server.store.attempts import StoredVerdict
from server.store.corrections import awaiting_second_look, keep_points
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.lti import LtiLink, LtiMember, LtiPerson, OutgoingScore, Platform, ToolKey
from server.store.lti_entry import LOGIN_LASTS, begin_login, find_login, use_nonce
from server.store.lti_members import bind_members, note_members
from server.store.lti_outbox import (
    CLAIMED,
    claim_due,
    delivery,
    note_failed,
    note_sent,
    queue_scores,
    subjects_of,
    try_again,
)
from server.store.people import Role, User
from server.store.person_export import export_person
from server.store.privacy import erase_person
from server.store.submissions import store_verdict
from tests.factories import (
    NOON,
    make_assignment,
    make_lti_link,
    make_marked,
    make_section,
    make_submission,
    make_user,
    make_verdict,
)

SECOND = timedelta(seconds=1)


@pytest.fixture
def work(database: Database) -> tuple[Assignment, list[User]]:
    """An assignment with a link, and three students of the platform who have one point each."""
    with database.write() as session:
        students = [make_user(session) for _ in range(3)]
        teacher = make_user(session, Role.INSTRUCTOR)
        enrolled = [(student, SectionRole.STUDENT) for student in students]
        section = make_section(session, *enrolled)
        assignment = make_assignment(session, section)
        ids = make_lti_link(session, assignment, teacher)
        link = session.get_one(LtiLink, ids["link_id"])
        link.line_item = "https://lms.larkmoor.example/items/1"
        for number, student in enumerate(students):
            platform_id = ids["platform_id"]
            session.add(
                LtiPerson(platform_id=platform_id, subject=f"s-{number}", user_id=student.id)
            )
            make_marked(session, assignment, student, R1=Status.MET, R2=Status.NOT_MET)
        queue_scores(session, assignment, [student.id for student in students], NOON)
    return assignment, students


def test_senders_side_by_side_take_different_scores(
    database: Database, work: tuple[Assignment, list[User]]
) -> None:
    with database.write() as session:
        first = claim_due(session, NOON, limit=2)
        if not database.is_sqlite:
            # On PostgreSQL the other one does not wait for the first.
            with database.write() as other:
                assert len(claim_due(other, NOON)) == 1
    with database.write() as session:
        rest = claim_due(session, NOON)
    assert (len(first), len(rest)) == (2, 1 if database.is_sqlite else 0)
    with database.write() as session:
        assert claim_due(session, NOON + CLAIMED - SECOND) == []
        # A sender that died is relieved.
        assert len(claim_due(session, NOON + CLAIMED)) == 3


def test_the_wait_doubles_up_to_an_hour(
    database: Database, work: tuple[Assignment, list[User]]
) -> None:
    now, waits = NOON, []
    with database.write() as session:
        score = claim_due(session, now, limit=1)[0]
        for _ in range(12):
            note_failed(session, score.id, score.version, "away", now)
            waits.append((score.next_try_at - now).total_seconds())
            now = score.next_try_at
        assert waits == [10, 20, 40, 80, 160, 320, 640, 1280, 2560, 3600, 3600, 3600]
        note_failed(session, score.id, score.version, "", now, wait=timedelta(minutes=70))
        assert score.next_try_at == now + timedelta(hours=1)


def test_what_became_of_an_older_version_says_nothing_of_a_newer(
    database: Database, work: tuple[Assignment, list[User]]
) -> None:
    assignment, _ = work
    with database.write() as session:
        old = claim_due(session, NOON)[0]
        version = old.version
    with database.write() as session:
        assignment = session.get_one(Assignment, assignment.id)
        student = session.get_one(User, old.user_id)
        make_marked(session, assignment, student, 2, R1=Status.MET, R2=Status.MET)
        queue_scores(session, assignment, [student.id], NOON + SECOND)
        note_failed(session, old.id, version, "refused", NOON + SECOND, stop=True)
        (newer,) = claim_due(session, NOON + SECOND)
        assert (newer.id, newer.points, newer.stopped, newer.trouble) == (old.id, 2.0, False, "")
        assert newer.made_at == NOON + SECOND
        note_sent(session, old.id, version)
    with database.read() as session:
        found = delivery(session, assignment.id)
        assert found is not None
        assert (found.sent, found.waiting) == (0, 3)


def test_timestamps_grow_when_the_clock_does_not(
    database: Database, work: tuple[Assignment, list[User]]
) -> None:
    assignment, students = work
    moments = []
    for attempt in (2, 3):
        with database.write() as session:
            assignment = session.get_one(Assignment, assignment.id)
            met = {f"R{n}": Status.MET for n in range(attempt + 1)}
            make_marked(session, assignment, students[0], attempt, NOON, **met)
            queue_scores(session, assignment, [students[0].id], NOON - timedelta(days=1))
            rows = select(OutgoingScore).where(OutgoingScore.user_id == students[0].id)
            moments.append(session.scalars(rows).one().made_at)
    assert moments == [NOON + timedelta(milliseconds=n) for n in (1, 2)]


def test_how_far_the_scores_have_come(
    database: Database, work: tuple[Assignment, list[User]]
) -> None:
    assignment, _ = work
    with database.write() as session:
        one, two, three = claim_due(session, NOON)
        note_sent(session, one.id, one.version)
        note_failed(session, two.id, two.version, "gone", NOON, stop=True)
        note_failed(session, three.id, three.version, "away", NOON)
        found = delivery(session, assignment.id)
        assert found is not None
        assert (found.sent, found.waiting, found.stopped) == (1, 2, 1)
        assert (found.since, found.trouble) == (NOON, "gone")
        assert [each.id for each in claim_due(session, NOON + timedelta(days=1))] == [three.id]
        try_again(session, assignment.id, NOON)
        assert {each.id for each in claim_due(session, NOON)} == {two.id, three.id}
        assert delivery(session, 0) is None


def test_a_nonce_is_good_once(database: Database, work: tuple[Assignment, list[User]]) -> None:
    with database.write() as session:
        platform = session.scalars(select(Platform)).one()
        state, nonce = begin_login(session, platform, NOON)
        assert state != nonce
    with database.write() as session:
        assert not use_nonce(session, "made-up", {"launch": 1}, NOON)
        assert not use_nonce(session, state, {"launch": 1}, NOON + LOGIN_LASTS)
        assert use_nonce(session, state, {"launch": 1}, NOON)
        assert not use_nonce(session, state, {"launch": 2}, NOON)
    with database.read() as session:
        login = find_login(session, state, NOON)
        assert login is not None
        assert login.launch == {"launch": 1}
        assert state not in login.state_hash


def test_a_persons_data_has_where_they_come_from_and_what_was_sent(
    database: Database, work: tuple[Assignment, list[User]]
) -> None:
    _, students = work
    with database.write() as session:
        data = export_person(session, students[0].id)
        assert data["learning-management systems"] == [
            {"name": "Larkmoor course server", "subject": "s-0"}
        ]
        (sent,) = data["grades for learning-management systems"]
        assert (sent["exercise"], sent["points"], sent["sent"]) == ("Apple wash sump", 1.0, False)
        erase_person(session, students[0].id, by_id=students[1].id, now=NOON)
        assert len(session.scalars(select(LtiPerson)).all()) == 2
        assert len(session.scalars(select(OutgoingScore)).all()) == 2


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
@pytest.mark.parametrize("secret", ["", "a long secret of the college"])
def test_a_new_key_is_published_before_it_signs_and_the_old_one_after(
    database: Database, secret: str
) -> None:
    def signer(now_after: timedelta) -> str:
        now = NOON + now_after
        with database.read() as session:
            token = sign(session, {"iss": "us"}, secret, now)
            found = KeySet.import_key_set(published(session, secret, now))
        # Whoever has the key set of this moment can check it.
        return str(jwt.decode(token, found, algorithms=["RS256"]).header["kid"])

    def kids(now_after: timedelta) -> list[str]:
        with database.read() as session:
            return [str(key["kid"]) for key in published(session, secret, NOON + now_after)["keys"]]

    with database.write() as session:
        assert published(session, secret, NOON) == {"keys": []}
        own_keys.ensure_key(session, secret, NOON)
        own_keys.ensure_key(session, secret, NOON)
    old = kids(timedelta())
    with database.write() as session:
        assert own_keys.rotate(session, secret, NOON + SECOND) == NOON + SECOND + PUBLISHED_BEFORE
        assert own_keys.rotate(session, secret, NOON + SECOND) is None
    both = kids(2 * SECOND)
    assert both[:1] == old
    assert len(both) == 2
    takes_over = SECOND + PUBLISHED_BEFORE
    assert [signer(2 * SECOND), signer(takes_over - SECOND)] == [old[0], old[0]]
    assert [signer(takes_over), signer(timedelta(days=100))] == [both[1], both[1]]
    assert kids(takes_over + PUBLISHED_AFTER - SECOND) == both
    assert kids(takes_over + PUBLISHED_AFTER) == both[1:]
    with database.read() as session:
        stored = [str(key.private_key) for key in session.scalars(select(ToolKey))]
    assert all(("'d'" in text) == (not secret) for text in stored)
    # Private parts are in nothing that is published.
    with database.read() as session:
        for key in published(session, secret, NOON)["keys"]:
            assert key.keys() == {"kty", "n", "e", "kid", "use", "alg"}


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_a_key_whose_secret_was_lost_is_replaced_at_once(database: Database) -> None:
    with database.write() as session:
        own_keys.ensure_key(session, "the first secret", NOON)
        for secret in ("", "another secret"):
            with pytest.raises(KeyTrouble, match="is kept by another secret"):
                sign(session, {}, secret, NOON)
            assert published(session, secret, NOON) == {"keys": []}
        assert own_keys.rotate(session, "another secret", NOON + SECOND) == NOON + SECOND
        assert sign(session, {}, "another secret", NOON + SECOND)


def test_members_of_a_roster_are_found_by_address_once(database: Database) -> None:
    """Grades go to who had the address first; an account that is known by launch is left alone."""
    with database.write() as session:
        ana, bo, cam = (make_user(session) for _ in range(3))
        teacher = make_user(session, Role.INSTRUCTOR)
        enrolled = [(each, SectionRole.STUDENT) for each in (ana, bo)]
        section = make_section(session, *enrolled, (cam, SectionRole.GRADER))
        assignment = make_assignment(session, section)
        ids = make_lti_link(session, assignment, teacher)
        session.get_one(LtiLink, ids["link_id"]).line_item = "https://lms.larkmoor.example/items/1"
        platform_id = ids["platform_id"]
        session.add(LtiPerson(platform_id=platform_id, subject="s-bo", user_id=bo.id))
        make_marked(session, assignment, ana, R1=Status.MET)
        make_marked(session, assignment, bo, R1=Status.MET)

        def read(roster: dict[str, str]) -> dict[int, str]:
            note_members(session, platform_id, roster)
            bind_members(session, section.id, NOON)
            return subjects_of(session, platform_id, [ana.id, bo.id, cam.id])

        assert read({"s-1": f" {ana.email.upper()}", "s-2": ana.email, "s-3": ""})[ana.id] == "s-1"
        # The address moves; a grader, and who is known by a launch, get nothing by a roster.
        later = {"s-9": ana.email, "s-1": "n@larkmoor.example", "s-8": bo.email}
        moved = read({**later, "s-7": cam.email})
        assert moved == {ana.id: "s-1", bo.id: "s-bo"}
        assert [row.user_id for row in session.scalars(select(OutgoingScore))] == [ana.id]
        found = delivery(session, assignment.id)
        assert found is not None
        assert found.unknown == ()
    with database.write() as session:
        session.delete(session.get_one(LtiMember, (platform_id, "s-1")))
        session.flush()
        found = delivery(session, assignment.id)
        assert found is not None
        assert found.unknown == (ana.listed_as,)


def test_a_second_look_waits_until_it_is_decided_for_this_verdict(database: Database) -> None:
    difference = Difference("pump", "It stayed on.", 10, "a scenario")
    looked = replace(make_verdict(R1=Status.MET), second_look=(difference,))
    with database.write() as session:
        student, teacher = make_user(session), make_user(session, Role.INSTRUCTOR)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section)
        plain = make_submission(session, assignment, student, 1)
        store_verdict(session, plain.id, make_verdict(R1=Status.MET), {}, NOON)
        submission = make_submission(session, assignment, student, 2)
        store_verdict(session, submission.id, looked, to_json(looked), NOON)
        both = [plain.id, submission.id]
        assert awaiting_second_look(session, both) == {submission.id}
        keep_points(session, submission, by_id=teacher.id, now=NOON)
        assert awaiting_second_look(session, both) == set()
        session.get_one(StoredVerdict, submission.id).marked_at = NOON + SECOND
        session.flush()
        assert awaiting_second_look(session, both) == {submission.id}
