"""Grades on their way to a learning-management system that answers, is away, or refuses."""

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from starlette.testclient import TestClient

from server.marking.verdict import Difference, Status
from server.marking.verdict_form import to_json
from server.remote.access_tokens import AccessTokens
from server.remote.http import Outside
from server.remote.outbox import send_due
from server.remote.services import Services
from server.store.attempts import StoredVerdict
from server.store.corrections import remove_override, set_points
from server.store.courses import Assignment, SectionRole, role_in_section
from server.store.database import Database
from server.store.lti import LtiContext, LtiLink, LtiPerson, OutgoingScore
from server.store.lti import Platform as Registered
from server.store.lti_outbox import claim_due, queue_scores
from server.store.people import Role, User, find_user
from server.store.submissions import store_verdict
from tests.factories import (
    NOON,
    Clock,
    make_assignment,
    make_marked,
    make_section,
    make_submission,
    make_user,
    make_verdict,
)
from tests.web.conftest import SITE
from tests.web.lab import OVERFILLS, RIGHT, ClientFor, Desk
from tests.web.launches import BO, WANJIRU, launch, platform_of
from tests.web.lti_platform import ASSISTANT, COURSE, Person, Platform, Server

MINUTE = timedelta(minutes=1)


@pytest.fixture
def platform(lti_server: Server, database: Database, clock: Clock) -> Platform:
    return platform_of(lti_server, database, clock, SITE)


@pytest.fixture
def people(database: Database) -> tuple[User, User, User]:
    """Two students who have come from the platform before, and their instructor."""
    with database.write() as session:
        return (
            make_user(session, name="Wanjiru Kamande"),
            make_user(session, name="Bo Li"),
            make_user(session, Role.INSTRUCTOR),
        )


@pytest.fixture
def assignment(
    database: Database, platform: Platform, people: tuple[User, User, User]
) -> Assignment:
    wanjiru, bo, teacher = people
    with database.write() as session:
        section = make_section(
            session,
            (wanjiru, SectionRole.STUDENT),
            (bo, SectionRole.STUDENT),
            (teacher, SectionRole.INSTRUCTOR),
        )
        assignment = make_assignment(session, section, exercise="wash-sump")
        registered = session.scalars(select(Registered.id)).one()
        for subject, user in ((WANJIRU.subject, wanjiru), (BO.subject, bo)):
            session.add(LtiPerson(platform_id=registered, subject=subject, user_id=user.id))
        context = LtiContext(
            platform_id=registered,
            deployment_id=platform.deployment_id,
            context_id=COURSE,
            title="Control logic",
            section_id=section.id,
            memberships_url=f"{platform.url}/members",
        )
        session.add(context)
        session.flush()
        session.add(
            LtiLink(
                context_id=context.id,
                resource_link_id="sump",
                assignment_id=assignment.id,
                line_item=f"{platform.url}/lineitems/0?course={COURSE}",
                line_items=f"{platform.url}/lineitems?course={COURSE}",
            )
        )
    return assignment


@pytest.fixture
def services(database: Database, clock: Clock) -> Iterator[Services]:
    outside = Outside(clock)
    yield Services(outside, AccessTokens(outside, database, ""))
    outside.close()


@pytest.fixture
def send(database: Database, services: Services, clock: Clock) -> Callable[[], int]:
    """One round of the sender, at the time of the clock."""
    return lambda: send_due(database, services, clock())


def reach(
    database: Database,
    assignment: Assignment,
    user: User,
    now: datetime,
    points: int = 2,
    attempt: int = 1,
) -> None:
    """The student hands in and has so many of three points."""
    with database.write() as session:
        met = {f"R{n}": Status.MET if n <= points else Status.NOT_MET for n in (1, 2, 3)}
        assignment = session.get_one(Assignment, assignment.id)
        make_marked(session, assignment, user, attempt, now, **met)
        queue_scores(session, assignment, [user.id], now)


def given_by(platform: Platform, person: Person, column: int = 0) -> tuple[float, float] | None:
    score = platform.columns[column].scores.get(person.subject)
    return (score["scoreGiven"], score["scoreMaximum"]) if score and "scoreGiven" in score else None


def gradebook(client_for: ClientFor, teacher: User, assignment: Assignment) -> str:
    answer = client_for(teacher).get(f"/assignments/{assignment.id}/gradebook")
    return " ".join(answer.text.split())


def correct(
    database: Database,
    assignment: Assignment,
    people: tuple[User, User, User],
    who: int,
    points: float | None,
    now: datetime,
) -> None:
    """The instructor sets somebody's points, or takes back what was set if None."""
    student, by_id = people[who].id, people[2].id
    with database.write() as session:
        if points is None:
            remove_override(session, assignment, student, by_id=by_id, now=now)
        else:
            set_points(session, assignment, student, points, "why", by_id=by_id, now=now)
        queue_scores(session, session.merge(assignment), [student], now)


def test_from_launch_to_grade(
    client_for: ClientFor,
    platform: Platform,
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
    lti_server: Server,
) -> None:
    """Launch, submit, and the grade arrives; with the LMS away for a minute, it arrives once."""
    client = client_for(None)
    assert launch(client, platform, WANJIRU).status_code == 303
    desk = Desk(client, assignment)
    desk.build(OVERFILLS)
    assert "R2b" in desk.verdict(desk.submit())
    assert send() == 1
    first = given_by(platform, WANJIRU)
    assert first is not None
    assert 0 < first[0] < first[1]
    lti_server.stop()
    try:
        clock.now += timedelta(hours=1)
        desk.build(RIGHT)
        desk.verdict(desk.submit())
        assert send() == 0
        clock.now += timedelta(seconds=11)
        assert send() == 0
    finally:
        lti_server.start()
    assert send() == 0  # it is asked again after twice the wait
    clock.now += MINUTE
    assert send() == 1
    assert given_by(platform, WANJIRU) == (first[1], first[1])
    clock.now += timedelta(hours=5)
    assert send() == 0
    assert platform.columns[0].posts == 2


def test_only_the_newest_score_is_sent(
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    for attempt in (1, 2, 3):
        reach(database, assignment, people[0], NOON, attempt, attempt)
    reach(database, assignment, people[1], NOON, 1)
    assert send() == 2
    assert (given_by(platform, WANJIRU), given_by(platform, BO)) == ((3.0, 3.0), (1.0, 3.0))
    assert platform.columns[0].posts == 2
    assert platform.token_requests == 1
    # The clock was set back meanwhile; the timestamp grows all the same, or the LMS refused it.
    clock.now = NOON - timedelta(hours=3)
    correct(database, assignment, people, 0, 0.5, clock())
    clock.now = NOON + MINUTE
    assert send() == 1
    assert given_by(platform, WANJIRU) == (0.5, 3.0)


def sent_to(platform: Platform, person: Person) -> dict[str, Any]:
    """What the platform has of a student, but for the points."""
    score = platform.columns[0].scores[person.subject]
    return {name: score.get(name) for name in ("gradingProgress", "submission", "comment")}


def test_a_score_says_when_the_work_came_and_what_it_is(
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    """Names: AGS 2.0, 'Score publish service': submission.submittedAt, comment."""
    reach(database, assignment, people[0], NOON)
    correct(database, assignment, people, 1, 1.5, clock())
    assert send() == 2
    assert sent_to(platform, WANJIRU) == {
        "gradingProgress": "FullyGraded",
        "submission": {"submittedAt": "2026-10-05T12:00:00.000+00:00"},
        "comment": "Attempt 1: 2 of 3 requirements met.",
    }
    assert sent_to(platform, BO) == {
        "gradingProgress": "FullyGraded",
        "submission": None,
        "comment": "Set by the instructor: why",
    }


def test_points_are_pending_until_the_second_look_is_decided(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    difference = Difference("fill_pump", "It stayed on.", 10, "a scenario")
    verdict = replace(make_verdict(R1=Status.MET, R2=Status.MET), second_look=(difference,))
    with database.write() as session:
        here = session.get_one(Assignment, assignment.id)
        submission = make_submission(session, here, people[0]).id
        assert store_verdict(session, submission, verdict, to_json(verdict), clock())
        queue_scores(session, here, [people[0].id], clock())

    def progress() -> str:
        clock.now += MINUTE
        assert send() == 1
        return str(sent_to(platform, WANJIRU)["gradingProgress"])

    assert progress() == "PendingManual"
    assert given_by(platform, WANJIRU) == (2.0, 2.0)
    # Points that a teacher sets are a decision, too.
    correct(database, assignment, people, 0, 1.0, clock())
    assert progress() == "FullyGraded"
    correct(database, assignment, people, 0, None, clock())
    assert progress() == "PendingManual"
    teacher = client_for(people[2])
    address = f"/submissions/{submission}"
    assert "Keep the points" in teacher.get(address).text
    assert teacher.post(f"{address}/second-look").status_code == 303
    assert progress() == "FullyGraded"
    assert f"The points stay: {people[2].name}" in teacher.get(address).text
    # A later verdict is another question.
    clock.now += MINUTE
    with database.write() as session:
        session.get_one(StoredVerdict, submission).marked_at = clock()
        queue_scores(session, session.merge(assignment), [people[0].id], clock())
    assert progress() == "PendingManual"


def forget_subjects(database: Database, assignment: Assignment, user: User, email: str) -> None:
    """Nobody has come from the platform; the account has this address."""
    with database.write() as session:
        session.merge(user).email = email
        for known in session.scalars(select(LtiPerson)):
            session.delete(known)


def test_a_rostered_student_who_never_came_gets_grades(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
) -> None:
    forget_subjects(database, assignment, people[0], WANJIRU.email)
    reach(database, assignment, people[0], NOON)
    reach(database, assignment, people[1], NOON, 1)
    assert send() == 0
    page = gradebook(client_for, people[2], assignment)
    listed = f"{people[1].listed_as}; {people[0].listed_as}"
    assert f"The LMS does not know {listed} yet, so their points wait." in page
    # Bo's address here is another one than the platform gives.
    client = client_for(people[2])
    assert client.post(f"/sections/{assignment.section_id}/roster/lms").status_code == 200
    assert send() == 1
    assert given_by(platform, WANJIRU) == (2.0, 3.0)
    page = gradebook(client_for, people[2], assignment)
    assert f"does not know {people[1].listed_as} yet" in page
    # The account is opened as before: the roster alone opens nothing.
    with database.read() as session:
        assert session.scalars(select(LtiPerson)).all() == []


def test_an_address_that_moves_takes_no_grades_along(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    """The LMS gives Wanjiru's address to somebody else, before she has ever come."""
    forget_subjects(database, assignment, people[0], WANJIRU.email)
    client = client_for(people[2])
    roster = f"/sections/{assignment.section_id}/roster"
    client.post(f"{roster}/lms")
    heir = Person("s-99", "Heir Of Address", email=WANJIRU.email)
    platform.people |= {
        "s-99": heir,
        WANJIRU.subject: Person(WANJIRU.subject, WANJIRU.name, email="w2@larkmoor.example"),
    }
    client.post(f"{roster}/lms")
    reach(database, assignment, people[0], NOON)
    assert send() == 1
    assert given_by(platform, WANJIRU) == (2.0, 3.0)
    assert heir.subject not in platform.columns[0].scores
    # The heir comes: her account, which has a password, is not opened, and nothing is sent.
    answer = launch(client_for(None), platform, heir)
    assert answer.headers["location"].startswith("/sign-in")
    clock.now += MINUTE
    reach(database, assignment, people[0], clock(), 3, 2)
    assert send() == 1
    assert heir.subject not in platform.columns[0].scores


def test_points_that_are_taken_back_are_cleared(
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    """A platform clears what it has when a score comes without ``scoreGiven``.

    AGS 2.0, 'Score publish service': scoreGiven and scoreMaximum.
    """
    correct(database, assignment, people, 0, 2.0, clock())
    assert send() == 1
    assert given_by(platform, WANJIRU) == (2.0, 2.0)
    for _ in range(2):
        clock.now += MINUTE
        correct(database, assignment, people, 0, None, clock())
        send()
    assert given_by(platform, WANJIRU) is None
    assert platform.columns[0].posts == 2


def test_a_crash_after_sending_sends_the_same_again(
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    reach(database, assignment, people[0], NOON)

    class Dying(Services):
        """The process ends between the platform's answer and the note of it."""

        def post_score(self, *arguments: Any) -> None:
            super().post_score(*arguments)
            raise KeyboardInterrupt

    outside = Outside()
    dying = Dying(outside, AccessTokens(outside, database, ""))
    with closing(outside), pytest.raises(KeyboardInterrupt):
        send_due(database, dying, clock())
    arrived = dict(platform.columns[0].scores[WANJIRU.subject])
    assert send() == 0  # another sender leaves it alone for a while
    clock.now += timedelta(minutes=5)
    assert send() == 1
    assert platform.columns[0].scores[WANJIRU.subject] == arrived


def test_two_senders_do_not_take_the_same(
    database: Database, platform: Platform, people: tuple[User, User, User], assignment: Assignment
) -> None:
    reach(database, assignment, people[0], NOON)
    with database.write() as session:
        assert len(claim_due(session, NOON)) == 1
    with database.write() as session:
        assert claim_due(session, NOON) == []


def test_an_lms_out_of_order_is_tried_again(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    for user in people[:2]:
        reach(database, assignment, user, NOON)
    for status in (500, 503, 429):
        platform.answer_with = status
        assert send() == 0
        page = gradebook(client_for, people[2], assignment)
        assert "0 sent, 2 waiting since Mon 5 Oct 2026, " in page
        assert f"is out of order or overloaded ({status})" in page
        assert "sent again automatically" in page
        clock.now += MINUTE
    platform.answer_with = None
    assert send() == 2
    assert "2 sent." in gradebook(client_for, people[2], assignment)


MENDS = {
    401: "compare client id and key set address",
    403: "grants the grade service",
    404: "Send again to create a new one",
    400: "Ask its administrator",
    418: "does not take the request (418)",
}


def test_what_an_lms_refuses_is_told_and_sent_when_mended(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    reach(database, assignment, people[0], NOON)
    client = client_for(people[2])
    for status, mend in MENDS.items():
        platform.answer_with = status
        asked = platform.token_requests
        assert send() == 0
        # The token of an hour ago has run out; one that is refused is got anew once.
        assert platform.token_requests - asked == (2 if status in (401, 403) else 1)
        page = gradebook(client_for, people[2], assignment)
        assert mend in page
        assert "sent again automatically" not in page
        clock.now += timedelta(hours=1)
        assert send() == 0
        assert client.post(f"/assignments/{assignment.id}/scores").status_code == 303
    platform.answer_with = None
    assert send() == 1
    assert given_by(platform, WANJIRU) == (2.0, 3.0)
    assert len(platform.columns) == 1


def test_a_token_that_the_lms_forgot_is_got_anew(
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
) -> None:
    reach(database, assignment, people[0], NOON)
    assert send() == 1
    platform.tokens.clear()
    reach(database, assignment, people[1], NOON)
    assert send() == 1
    assert platform.token_requests == 2


def test_a_new_column_is_made_where_there_is_none_once(
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
) -> None:
    platform.columns.clear()
    with database.write() as session:
        session.scalars(select(LtiLink)).one().line_item = None
    for user in people[:2]:
        reach(database, assignment, user, NOON)
    assert send() == 2
    (column,) = platform.columns
    assert (column.label, column.most, column.link) == ("Apple wash sump", 3.0, "sump")
    assert (given_by(platform, WANJIRU), given_by(platform, BO)) == ((2.0, 3.0), (2.0, 3.0))


def test_a_column_for_each_requirement_if_wanted(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
) -> None:
    reach(database, assignment, people[0], NOON)
    assert send() == 1
    form = {"assignment": str(assignment.id), "by_requirement": "true"}
    assert client_for(people[2]).post("/lti/links/1", data=form).status_code == 303
    assert send() == 3
    assert [(each.tag, each.label) for each in platform.columns[1:]] == [
        ("R1", "Apple wash sump R1"),
        ("R2", "Apple wash sump R2"),
        ("R3", "Apple wash sump R3"),
    ]
    given = [given_by(platform, WANJIRU, column) for column in (1, 2, 3)]
    assert given == [(1.0, 1.0), (1.0, 1.0), (0.0, 1.0)]
    # Another student's go into the same columns.
    reach(database, assignment, people[1], NOON, 1)
    assert send() == 4
    assert len(platform.columns) == 4


def test_a_link_that_leads_elsewhere_sends_what_was_reached_there(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    with database.write() as session:
        section = session.get_one(Assignment, assignment.id).section
        other = make_assignment(session, section, title="Day tank")
    reach(database, assignment, people[0], NOON, 1)
    reach(database, assignment, people[1], NOON, 1)
    reach(database, other, people[0], NOON, 3)
    assert send() == 2
    clock.now += MINUTE
    assert client_for(people[2]).post("/lti/links/1", data={"assignment": other.id}).is_redirect
    assert send() == 1
    assert given_by(platform, WANJIRU) == (3.0, 3.0)
    # What is not wanted any more does not go out.
    form = {"assignment": str(other.id), "by_requirement": "true"}
    for wanted in (form, {"assignment": str(other.id)}):
        client_for(people[2]).post("/lti/links/1", data=wanted)
    assert send() == 0
    assert len(platform.columns) == 1


def test_what_was_reached_before_the_first_launch_is_sent_with_it(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
) -> None:
    with database.write() as session:
        student = session.merge(people[0])
        student.email, student.password_hash = WANJIRU.email, None
        for known in session.scalars(select(LtiPerson)):
            session.delete(known)
    reach(database, assignment, people[0], NOON)
    assert send() == 0
    launch(client_for(None), platform, WANJIRU)
    assert send() == 1
    assert given_by(platform, WANJIRU) == (2.0, 3.0)


def test_nothing_is_asked_of_a_host_that_is_not_registered(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
) -> None:
    with database.write() as session:
        session.scalars(select(LtiLink)).one().line_item = "https://elsewhere.example/items/1"
    reach(database, assignment, people[0], NOON)
    assert send() == 0
    page = gradebook(client_for, people[2], assignment)
    assert "The host elsewhere.example is not registered. The administrator adds it" in page


Step = tuple[str, int, int]
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("reach"), st.integers(0, 1), st.integers(0, 3)),
        st.tuples(st.just("set"), st.integers(0, 1), st.integers(0, 3)),
        st.tuples(st.just("take back"), st.integers(0, 1), st.just(0)),
        st.tuples(st.sampled_from(["send", "away", "back", "die"]), st.just(0), st.just(0)),
    ),
    max_size=8,
)


@settings(
    max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(steps=STEPS)
def test_whatever_happens_the_lms_ends_with_the_newest_scores(
    steps: list[Step],
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    services: Services,
    clock: Clock,
) -> None:
    """Points change, the LMS goes away and comes back, the sender dies.

    What the LMS has at last is what counts here, and it was told each change once at most, but for
    what died.
    """
    for what, who, points in steps:
        clock.now += MINUTE
        if what == "reach":
            number = int((clock.now - NOON).total_seconds())
            reach(database, assignment, people[who], clock.now, points, number)
        elif what == "set":
            correct(database, assignment, people, who, float(points), clock.now)
        elif what == "take back":
            correct(database, assignment, people, who, None, clock.now)
        elif what in ("away", "back"):
            platform.answer_with = 503 if what == "away" else None
        elif what == "die":
            with database.write() as session:
                claim_due(session, clock.now)
        else:
            send_due(database, services, clock.now)
    platform.answer_with = None
    clock.now += timedelta(hours=2)
    send_due(database, services, clock.now)
    with database.read() as session:
        rows = session.scalars(select(OutgoingScore)).all()
        assert all(row.sent_version == row.version for row in rows)
        subjects = dict(session.execute(select(LtiPerson.user_id, LtiPerson.subject)).all())
        wanted = {subjects[row.user_id]: row.points for row in rows}
        assert platform.columns[0].posts <= sum(row.version for row in rows)
    has: dict[str, Any] = platform.columns[0].scores
    assert {subject: score.get("scoreGiven") for subject, score in has.items()} == wanted


def test_the_roster_comes_from_the_lms(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    lti_server: Server,
) -> None:
    for number, (name, status, email) in enumerate(
        (
            ("Elif Yıldırım", "Active", "elif@larkmoor.example"),
            ("Gone Already", "Inactive", "gone@larkmoor.example"),
            ("Shy Person", "Active", ""),
        )
    ):
        person = Person(f"s-{number}", name, email=email, status=status)
        platform.people[person.subject] = person
    client: TestClient = client_for(people[2])
    address = f"/sections/{assignment.section_id}/roster"
    assert "Ask Larkmoor course server who is in the course" in client.get(address).text
    page = client.post(f"{address}/lms")
    assert page.status_code == 200
    assert "New accounts: 1" in page.text
    assert "Elif Yıldırım" in page.text
    assert "Gone Already" not in page.text
    assert "In the section, not in this roster: 0" in page.text
    assert "keeps the addresses of 1 to itself" in " ".join(page.text.split())
    text = page.text.split("readonly>")[1].split("</textarea>")[0]
    assert client.post(address, data={"text": text}).status_code == 303
    assert "Yıldırım, Elif" in client.get(address).text
    lti_server.stop()
    try:
        away = client.post(f"{address}/lms")
    finally:
        lti_server.start()
    assert away.status_code == 422
    assert "does not answer. The section is as it was." in away.text


def test_a_role_that_the_lms_takes_away_is_gone_with_the_next_roster(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
) -> None:
    def role_of_ana() -> SectionRole | None:
        with database.read() as session:
            ana = find_user(session, "ana@larkmoor.example")
            assert ana is not None
            return role_in_section(session, ana.id, assignment.section_id)

    client: TestClient = client_for(people[2])
    address = f"/sections/{assignment.section_id}/roster"
    platform.people["x"] = Person("x", "Ana Ruiz", (ASSISTANT,), "ana@larkmoor.example")
    page = client.post(f"{address}/lms").text
    text = page.split("readonly>")[1].split("</textarea>")[0]
    assert 'name="from_lms" value="true"' in page
    client.post(address, data={"text": text, "from_lms": "true"})
    assert role_of_ana() is SectionRole.GRADER
    # She comes, so that it is known who the LMS means; then she helps no more.
    launch(client_for(None), platform, platform.people["x"])
    platform.people["x"] = Person("x", "Ana Ruiz", email="ana@larkmoor.example")
    assert client.post(f"{address}/lms").status_code == 200
    assert role_of_ana() is SectionRole.STUDENT
    log = client.get(f"/sections/{assignment.section_id}/log").text
    assert "student, was grader: Larkmoor course server says so" in log
    # Whoever was named here is nothing that the LMS changes.
    platform.people.pop("x")
    client.post(f"{address}/lms")
    with database.read() as session:
        found = role_in_section(session, people[2].id, assignment.section_id)
        assert found is SectionRole.INSTRUCTOR


def test_what_is_wrong_with_the_sign_in_is_not_said_of_the_score(
    client_for: ClientFor,
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    reach(database, assignment, people[0], NOON)
    client = client_for(people[2])

    def told() -> str:
        assert send() == 0
        page = gradebook(client_for, people[2], assignment)
        client.post(f"/assignments/{assignment.id}/scores")
        return page

    for status in (400, 401):
        platform.token_status = status
        assert f"gives us no access token ({status})" in told()
    platform.token_status = None
    platform.grants = lambda scopes: {each for each in scopes if "score" not in each}
    assert "does not grant us this service" in told()
    platform.grants = lambda scopes: scopes
    assert send() == 1


def test_tokens_of_every_form_are_taken(
    database: Database,
    platform: Platform,
    people: tuple[User, User, User],
    assignment: Assignment,
    send: Callable[[], int],
    clock: Clock,
) -> None:
    """RFC 6749, section 5.1: expires_in and scope may be missing; text is what some send."""
    platform.audience = f"{platform.url}/"
    with database.write() as session:
        session.scalars(select(Registered)).one().token_audience = platform.audience
    answers: list[tuple[dict[str, Any], int]] = [
        ({"expires_in": "120"}, 2),
        ({}, 1),
        ({"scope": None, "expires_in": None}, 1),
        ({"expires_in": -5}, 1),
    ]
    for attempt, (answer, requests) in enumerate(answers, 1):
        platform.token_answer = answer
        platform.token_requests = 0
        clock.now += timedelta(hours=2)
        for who in (0, 1):
            clock.now += timedelta(seconds=90)
            correct(database, assignment, people, who, float(attempt), clock())
            assert send() == 1
        assert platform.token_requests == requests, answer
