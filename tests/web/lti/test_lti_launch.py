"""Coming in from a learning-management system, and every launch that is refused."""

import hmac
from base64 import urlsafe_b64encode
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import func, select
from starlette.testclient import TestClient

from server.marking.files.exercise_file import load_exercise
from server.store.courses import Assignment, Enrolment, SectionRole, role_in_section
from server.store.database import Database
from server.store.lti import Deployment, LtiContext, LtiLink, LtiLogin, LtiPerson
from server.store.lti import Platform as Registered
from server.store.people import Role, User, find_user
from server.store.sessions import BrowserSession
from server.web.access import COOKIE
from tests.factories import (
    EXERCISES,
    NOON,
    PASSWORD,
    Clock,
    make_assignment,
    make_section,
    make_user,
)
from tests.web.conftest import SITE
from tests.web.lab import ClientFor
from tests.web.launches import (
    INGRID,
    WANJIRU,
    connect,
    launch,
    platform_key,
    platform_of,
    post,
    posted,
    register,
    sentence,
)
from tests.web.lti_platform import (
    ADMINISTRATOR,
    AGS,
    ASSISTANT,
    CHOOSING,
    CLAIM,
    COURSE,
    INSTRUCTOR,
    LEARNER,
    NRPS,
    OBSERVER,
    TEST_USER,
    Person,
    Platform,
    Server,
    expired,
)

SUMP = load_exercise(EXERCISES / "wash-sump")


@pytest.fixture
def platform(lti_server: Server, database: Database, clock: Clock) -> Platform:
    return platform_of(lti_server, database, clock, SITE)


@pytest.fixture
def teacher(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")


@pytest.fixture
def assignment(database: Database, platform: Platform, teacher: User) -> Assignment:
    return connect(database, platform, teacher)


@pytest.fixture
def client(client_for: ClientFor) -> TestClient:
    return client_for(None)


def stored(database: Database) -> tuple[int, ...]:
    """How many people, sign-ins and links there are, and launches that wait."""
    tables = (User, BrowserSession, LtiPerson, LtiContext, LtiLink, Enrolment)
    with database.read() as session:
        counts = [session.scalar(select(func.count()).select_from(each)) for each in tables]
        waiting = select(func.count()).where(LtiLogin.launch.is_not(None))
        return tuple(count or 0 for count in (*counts, session.scalar(waiting)))


def test_a_student_comes_in_to_the_exercise(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    answer = launch(client, platform, WANJIRU)
    assert answer.headers["location"] == f"/assignments/{assignment.id}"
    assert client.get(answer.headers["location"]).status_code == 200
    with database.read() as session:
        user = find_user(session, WANJIRU.email)
        assert user is not None
        assert (user.name, user.listed_as, user.role) == (
            "Wanjiru Kamande",
            "Kamande, Wanjiru",
            Role.STUDENT,
        )
        enrolment = session.get_one(Enrolment, (assignment.section_id, user.id))
        assert enrolment.role is SectionRole.STUDENT
        assert session.scalars(select(LtiLogin)).all() == []


def test_the_same_person_comes_again(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    launch(client, platform, WANJIRU)
    before = stored(database)
    # A changed address in the LMS is the same person still.
    again = Person(WANJIRU.subject, WANJIRU.name, email="other@larkmoor.example")
    platform.people[again.subject] = again
    assert launch(client, platform, again).status_code == 303
    # In the same browser the sign-in before has ended.
    assert stored(database) == before


@pytest.mark.parametrize(
    ("roles", "role"),
    [
        ((INSTRUCTOR,), SectionRole.INSTRUCTOR),
        ((INSTRUCTOR, ASSISTANT), SectionRole.GRADER),
        (("Learner",), SectionRole.STUDENT),
    ],
)
def test_the_role_in_the_course_is_the_role_in_the_section(
    client: TestClient,
    platform: Platform,
    assignment: Assignment,
    database: Database,
    roles: tuple[str, ...],
    role: SectionRole,
) -> None:
    platform.people["x"] = Person("x", "Ana Ruiz", roles, "ana@larkmoor.example")
    answer = launch(client, platform, platform.people["x"])
    gradebook = "" if role is SectionRole.STUDENT else "/gradebook"
    assert answer.headers["location"] == f"/assignments/{assignment.id}{gradebook}"
    with database.read() as session:
        user = find_user(session, "ana@larkmoor.example")
        assert user is not None
        assert session.get_one(Enrolment, (assignment.section_id, user.id)).role is role


def test_somebody_without_name_and_address_comes_in(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    def keep_to_itself(claims: dict[str, Any]) -> None:
        for name in ("name", "given_name", "family_name", "email"):
            claims.pop(name)

    platform.bend = keep_to_itself
    assert launch(client, platform, WANJIRU).status_code == 303
    with database.read() as session:
        (user,) = session.scalars(select(User).join(LtiPerson))
        assert user.email.endswith(".invalid")


def test_no_other_browser_comes_in_with_a_launch(
    client: TestClient,
    client_for: ClientFor,
    platform: Platform,
    assignment: Assignment,
    database: Database,
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    before = stored(database)
    other = client_for(None)
    answer = post(other, platform, form)
    assert answer.status_code == 400
    assert "began in another browser" in sentence(answer)
    assert COOKIE not in other.cookies
    assert stored(database) == (*before[:-1], 1)


def without(name: str) -> Callable[[dict[str, Any]], None]:
    return lambda claims: claims.pop(name)


def other(name: str, value: Any) -> Callable[[dict[str, Any]], None]:
    return lambda claims: claims.update({name: value})


BENT: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    "wrong audience": (other("aud", "another-tool"), "meant for another tool"),
    "no audience": (without("aud"), "lacks the claim aud"),
    "another party": (
        lambda c: c.update(aud=[c["aud"], "another-tool"], azp="another-tool"),
        "authorized party is not our client id",
    ),
    "several audiences without a party": (
        lambda c: c.update(aud=[c["aud"], "another-tool"]),
        "authorized party is not our client id",
    ),
    "wrong issuer": (other("iss", "https://lms.elsewhere.example"), "from another issuer"),
    "no issuer": (without("iss"), "lacks the claim iss"),
    "wrong nonce": (other("nonce", "made-up"), "was used before"),
    "nonce as a list": (lambda c: c.update(nonce=[c["nonce"]]), "was used before"),
    "no nonce": (without("nonce"), "lacks the claim nonce"),
    "expired": (expired, "has expired"),
    "no end": (without("exp"), "lacks the claim exp"),
    "made in the future": (lambda c: c.update(iat=c["iat"] + 600, exp=c["exp"] + 600), "future"),
    "no date": (without("iat"), "lacks the claim iat"),
    "no subject": (without("sub"), "does not say who it is for"),
    "empty subject": (other("sub", ""), "does not say who it is for"),
    "a subject that is too long": (other("sub", "s" * 256), "does not say who it is for"),
    "no deployment": (without(f"{CLAIM}deployment_id"), "names no deployment"),
    "unknown deployment": (other(f"{CLAIM}deployment_id", "9"), "deployment 9 of the LMS is not"),
    "wrong version": (other(f"{CLAIM}version", "1.1"), "not of LTI version 1.3.0"),
    "no version": (without(f"{CLAIM}version"), "not of LTI version 1.3.0"),
    "unknown message": (other(f"{CLAIM}message_type", "LtiWhatever"), "neither for a resource"),
    "no message": (without(f"{CLAIM}message_type"), "neither for a resource link"),
    "no roles": (without(f"{CLAIM}roles"), "in which role"),
    "no link": (without(f"{CLAIM}resource_link"), "from which link"),
    "a link without an id": (
        other(f"{CLAIM}resource_link", {"title": "Sump"}),
        "claim resource_link of the launch can't be read",
    ),
    "a course without an id": (
        other(f"{CLAIM}context", {"title": "Fall"}),
        "claim context of the launch can't be read",
    ),
    "a deployment that is too long": (other(f"{CLAIM}deployment_id", "d" * 256), "no deployment"),
    "roles as text": (other(f"{CLAIM}roles", LEARNER), "in which role"),
    "another target": (other(f"{CLAIM}target_link_uri", f"{SITE}/x"), "leads to another address"),
    "no target": (without(f"{CLAIM}target_link_uri"), "leads to another address"),
    "target under the path": (
        other(f"{CLAIM}target_link_uri", f"{SITE}/lti/launch/x"),
        "leads to another address",
    ),
}


BENT_TOKENS = list(BENT)[: list(BENT).index("no deployment")]
"""Those that break a rule of the ID token itself, which is refused with 401 and a challenge."""


def test_a_launch_with_one_thing_wrong_is_refused(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    before = stored(database)
    for name, (bend, expected) in BENT.items():
        platform.bend = bend
        answer = launch(client, platform, WANJIRU)
        refused_token = name in BENT_TOKENS
        assert answer.status_code == (401 if refused_token else 400), name
        assert ("www-authenticate" in answer.headers) is refused_token, name
        assert expected in sentence(answer), name
        assert stored(database) == before, name
        assert COOKIE not in client.cookies, name


def test_a_launch_that_another_key_signed_is_refused(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    platform.signing = platform_key(1)
    before = stored(database)
    assert "made with another key" in sentence(launch(client, platform, WANJIRU))
    assert stored(database) == before


def test_a_launch_without_a_public_signature_is_refused(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    _, payload, signature = form["id_token"].split(".")
    before = stored(database)
    for algorithm in ("none", "HS256"):
        header = urlsafe_b64encode(f'{{"alg": "{algorithm}"}}'.encode()).decode().rstrip("=")
        # The classical trick: the public key taken for a shared secret.
        secret = platform_key().as_pem(private=False)
        mac = hmac.digest(secret, f"{header}.{payload}".encode(), "sha256")
        signature = "" if algorithm == "none" else urlsafe_b64encode(mac).decode().rstrip("=")
        form["id_token"] = f"{header}.{payload}.{signature}"
        answer = post(client, platform, form)
        assert "not signed with RS256" in sentence(answer)
        assert answer.status_code == 401
    assert stored(database) == before


def test_a_launch_whose_token_names_no_key_is_refused(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    platform.names_key = False
    before = stored(database)
    assert "does not name its key (kid)" in sentence(launch(client, platform, WANJIRU))
    assert stored(database) == before


def test_a_key_set_that_is_none_is_asked_for_once_a_minute(
    client: TestClient,
    platform: Platform,
    assignment: Assignment,
    database: Database,
    clock: Clock,
) -> None:
    with database.write() as session:
        session.scalars(select(Registered)).one().keys_url = f"{platform.url}/no-keys"
    for _ in range(3):
        assert "does not take the request (404)" in sentence(launch(client, platform, WANJIRU))
    assert platform.missed == 1
    clock.now += timedelta(minutes=1)
    launch(client, platform, WANJIRU)
    assert platform.missed == 2


NOTHING: dict[str, Any] = {
    f"{CLAIM}custom": None,
    f"{CLAIM}context": {"id": COURSE, "title": None, "label": ""},
    f"{NRPS}/claim/namesroleservice": {},
    f"{AGS}/claim/endpoint": {"scope": None, "lineitems": "", "lineitem": None},
    f"{CHOOSING}deep_linking_settings": None,
    "email": None,
}


def test_services_that_are_null_or_empty_are_absent(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    platform.bend = lambda claims: claims.update(NOTHING)
    assert launch(client, platform, WANJIRU).status_code == 303
    platform.bend = lambda claims: claims.update(
        {f"{AGS}/claim/endpoint": None, f"{NRPS}/claim/namesroleservice": ""}
    )
    assert launch(client, platform, WANJIRU).status_code == 303
    with database.read() as session:
        link = session.scalars(select(LtiLink)).one()
        assert (link.line_item, link.line_items) == (None, None)


def test_services_that_are_not_granted_are_not_used(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    """Scopes of the claim: AGS 2.0, 'Scopes available' (from memory)."""

    def grant(*scopes: str) -> tuple[str | None, str | None]:
        granted = [f"{AGS}/scope/{scope}" for scope in scopes]
        platform.bend = lambda claims: claims[f"{AGS}/claim/endpoint"].update(scope=granted)
        launch(client, platform, WANJIRU)
        with database.read() as session:
            link = session.scalars(select(LtiLink)).one()
            return link.line_item, link.line_items

    own = f"{platform.url}/lineitems/0?course={COURSE}"
    assert grant("lineitem.readonly") == (None, None)
    assert grant("lineitem.readonly", "score") == (own, None)
    assert grant("lineitem", "score") == (own, f"{platform.url}/lineitems?course={COURSE}")


def test_a_launch_may_name_its_target_with_a_query(
    client: TestClient, platform: Platform, assignment: Assignment
) -> None:
    platform.tool = f"{SITE.upper().replace('HTTP', 'http')}:80/lti/launch"
    begun = client.get("/lti/login", params=platform.initiation(WANJIRU, "sump"))
    assert begun.status_code == 302
    platform.tool = f"{SITE}/lti/launch"
    platform.bend = other(f"{CLAIM}target_link_uri", f"{SITE}/lti/launch?from=week-3")
    assert launch(client, platform, WANJIRU).status_code == 303


POLITE: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    "outside of a course": (without(f"{CLAIM}context"), "outside of a course"),
    "an empty course": (other(f"{CLAIM}context", {}), "outside of a course"),
    "observer": (other(f"{CLAIM}roles", [OBSERVER]), "an observer"),
    "administrator": (other(f"{CLAIM}roles", [ADMINISTRATOR]), "an administrator of the course"),
    "no role": (other(f"{CLAIM}roles", []), "neither learner nor instructor"),
}


def test_who_has_no_place_here_is_told_politely(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    before = stored(database)
    for name, (bend, expected) in POLITE.items():
        platform.bend = bend
        answer = launch(client, platform, WANJIRU)
        assert answer.status_code == 200, name
        assert expected in sentence(answer), name
        assert COOKIE not in client.cookies, name
        # The platform gets the sentence, too, with whoever goes back to it.
        assert f'href="{platform.url}/back?course={COURSE}&amp;lti_errormsg=' in answer.text, name
    assert stored(database)[:-1] == before[:-1]


@pytest.mark.parametrize(
    "address", ["https://elsewhere.example/back", "javascript:alert(1)", "x", None]
)
def test_nobody_is_sent_back_to_a_host_that_is_not_registered(
    client: TestClient, platform: Platform, assignment: Assignment, address: str | None
) -> None:
    platform.bend = lambda claims: claims.update(
        {f"{CLAIM}roles": [], f"{CLAIM}launch_presentation": {"return_url": address}}
    )
    assert "lti_errormsg" not in launch(client, platform, WANJIRU).text


def enrolled_as(database: Database, assignment: Assignment, email: str) -> SectionRole | None:
    with database.read() as session:
        user = find_user(session, email)
        assert user is not None
        return role_in_section(session, user.id, assignment.section_id)


def test_a_role_that_the_lms_takes_away_is_gone_with_the_next_launch(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    email = "ana@larkmoor.example"
    gradebook = f"/assignments/{assignment.id}/gradebook"
    for roles, role in (
        ((INSTRUCTOR,), SectionRole.INSTRUCTOR),
        ((LEARNER,), SectionRole.STUDENT),
        ((ASSISTANT,), SectionRole.GRADER),
        ((LEARNER, TEST_USER), SectionRole.TESTER),
    ):
        ana = platform.people["x"] = Person("x", "Ana Ruiz", roles, email)
        assert launch(client, platform, ana).status_code == 303
        assert enrolled_as(database, assignment, email) is role
        teaches = role in (SectionRole.INSTRUCTOR, SectionRole.GRADER)
        assert client.get(gradebook).status_code == (200 if teaches else 404)
        assert client.get("/authoring").status_code == (
            200 if role is SectionRole.INSTRUCTOR else 403
        )
    # The course of the LMS is no longer theirs to connect.
    with database.read() as session:
        assert session.scalars(select(LtiContext.opened_by_id)).one() is None


def test_a_role_is_gone_although_the_launch_leads_nowhere(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    """As an observer, or through a link that leads to no exercise yet."""
    platform.add_link("new", "A new link")
    email = "ana@larkmoor.example"
    for roles, role in (((LEARNER,), SectionRole.STUDENT), ((OBSERVER,), None)):
        teacher = platform.people["x"] = Person("x", "Ana Ruiz", (INSTRUCTOR,), email)
        launch(client, platform, teacher)
        assert enrolled_as(database, assignment, email) is SectionRole.INSTRUCTOR
        ana = platform.people["x"] = Person("x", "Ana Ruiz", roles, email)
        assert launch(client, platform, ana, "new").status_code == 200
        assert enrolled_as(database, assignment, email) is role
        with database.read() as session:
            assert session.scalars(select(LtiContext.opened_by_id)).one() is None


def test_a_test_user_works_like_a_student(
    client: TestClient, platform: Platform, assignment: Assignment
) -> None:
    tester = platform.people["x"] = Person("x", "Test Student", (LEARNER, TEST_USER))
    answer = launch(client, platform, tester)
    assert answer.headers["location"] == f"/assignments/{assignment.id}"
    assert client.get(answer.headers["location"]).status_code == 200
    assert client.get("/").status_code == 200
    assert client.get(f"/sections/{assignment.section_id}/standing").status_code == 200


def test_what_is_no_token_is_refused(
    client: TestClient, platform: Platform, database: Database
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    before = stored(database)
    for token in ("", "x", "a.b.c", "x" * 200_000):
        assert post(client, platform, {**form, "id_token": token}).status_code == 401
    assert stored(database) == before


def test_a_launch_is_good_once(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    assert post(client, platform, form).status_code == 303
    before = stored(database)
    answer = post(client, platform, form)
    assert "did not begin here, is more than ten minutes old, or was used" in sentence(answer)
    assert stored(database) == before


def test_a_launch_is_good_for_ten_minutes(
    client: TestClient, platform: Platform, assignment: Assignment, clock: Clock
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    clock.now += timedelta(minutes=10)
    assert "more than ten minutes old" in sentence(post(client, platform, form))


def test_a_launch_without_its_state_is_refused(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    del form["state"]
    before = stored(database)
    for wrong in ({}, {"state": ""}, {"state": "made-up"}):
        answer = post(client, platform, {**form, **wrong})
        assert "did not begin here" in sentence(answer)
        assert "another browser" in sentence(client.get("/lti/enter", params=wrong))
    assert stored(database) == before


def test_a_platform_that_says_no_is_heard(
    client: TestClient, platform: Platform, assignment: Assignment
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    refusal = {"state": form["state"], "error": "login_required"}
    assert "login_required" in sentence(post(client, platform, refusal))


def test_a_new_key_of_the_platform_is_asked_for(
    client: TestClient, platform: Platform, assignment: Assignment, clock: Clock
) -> None:
    assert launch(client, platform, WANJIRU).status_code == 303
    assert launch(client, platform, WANJIRU).status_code == 303
    assert platform.key_requests == 1
    platform.keys = [platform_key(1)]
    # Made-up key ids don't make us ask at once.
    assert "not among those published" in sentence(launch(client, platform, WANJIRU))
    clock.now += timedelta(minutes=1)
    assert launch(client, platform, WANJIRU).status_code == 303
    assert platform.key_requests == 2


def test_a_platform_whose_keys_can_not_be_had(
    client: TestClient,
    lti_server: Server,
    platform: Platform,
    assignment: Assignment,
    database: Database,
) -> None:
    form = posted(client, platform, WANJIRU, "sump")
    before = stored(database)
    lti_server.stop()
    try:
        answer = post(client, platform, form)
    finally:
        lti_server.start()
    assert answer.status_code == 502
    assert "can't be checked now" in sentence(answer)
    assert stored(database) == before


def test_a_login_that_can_not_be_begun(client: TestClient, platform: Platform) -> None:
    wrong = {
        "is not registered here": {"iss": "https://lms.elsewhere.example"},
        "is not registered here with this client id": {"client_id": "another"},
        "does not say who signs in": {"login_hint": ""},
        "leads elsewhere": {"target_link_uri": "https://elsewhere.example/"},
    }
    for expected, change in wrong.items():
        answer = client.post("/lti/login", data={**platform.initiation(WANJIRU, "sump"), **change})
        assert answer.status_code == 400
        assert expected in sentence(answer)
        assert list(client.cookies.keys()) == []


def test_in_a_frame_there_is_only_a_way_out_of_it(client: TestClient, platform: Platform) -> None:
    initiation = platform.initiation(WANJIRU, "sump")
    answer = client.get("/lti/login", params=initiation, headers={"Sec-Fetch-Dest": "iframe"})
    assert answer.status_code == 200
    assert f"frame-ancestors {platform.url}" in answer.headers["Content-Security-Policy"]
    assert "X-Frame-Options" not in answer.headers
    assert 'target="_blank"' in answer.text
    assert "<form" not in answer.text
    assert list(client.cookies.keys()) == []


def test_an_account_with_a_password_is_opened_by_its_owner_only(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    with database.write() as session:
        user = make_user(session)
    someone = Person("s-30", "Whoever", email=user.email)
    platform.people[someone.subject] = someone
    answer = launch(client, platform, someone)
    assert answer.headers["location"].startswith("/sign-in?next=%2Flti%2Fenter")
    assert COOKIE not in client.cookies
    form = {"email": user.email, "password": PASSWORD, "next": _next(client, answer)}
    signed_in = client.post("/sign-in", data=form)
    entered = client.get(signed_in.headers["location"])
    assert entered.headers["location"] == f"/assignments/{assignment.id}"
    # From now on the platform's word is enough.
    assert launch(client, platform, someone).headers["location"] == entered.headers["location"]


def _next(client: TestClient, answer: Any) -> str:
    return str(
        client.get(answer.headers["location"]).text.split('name="next" value="')[1].split('"')[0]
    )


def test_an_account_from_the_roster_is_opened(
    client: TestClient,
    client_for: ClientFor,
    platform: Platform,
    assignment: Assignment,
    database: Database,
) -> None:
    with database.write() as session:
        user = make_user(session)
        user.email, user.password_hash = WANJIRU.email, None
    assert launch(client, platform, WANJIRU).status_code == 303
    with database.read() as session:
        assert session.scalars(select(LtiPerson.user_id)).all() == [user.id]
    # A second person of the platform with the same address has to prove it.
    platform.people["s-40"] = Person("s-40", "Double", email=WANJIRU.email)
    answer = launch(client_for(None), platform, platform.people["s-40"])
    assert answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.DEPARTMENT])
def test_the_administration_is_never_opened_from_outside(
    role: Role, client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    with database.write() as session:
        user = make_user(session, role)
        user.email, user.password_hash = WANJIRU.email, None
    before = stored(database)
    answer = launch(client, platform, WANJIRU)
    assert "is not opened from outside" in sentence(answer)
    assert stored(database) == (*before[:-1], 1)


def test_a_course_is_connected_by_its_instructor(
    client: TestClient, platform: Platform, teacher: User, database: Database
) -> None:
    with database.write() as session:
        teacher = session.merge(teacher)
        teacher.email, teacher.password_hash = INGRID.email, None
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        assignment = make_assignment(session, section, exercise="wash-sump")
    before = stored(database)
    assert "not connected with a section here yet" in sentence(launch(client, platform, WANJIRU))
    assert stored(database) == (*before[:-1], 1)
    # An instructor's account has to be shown to be theirs; here they are signed in.
    with database.write() as session:
        session.add(LtiPerson(platform_id=1, subject=INGRID.subject, user_id=teacher.id))
    answer = launch(client, platform, INGRID)
    path, _, then = answer.headers["location"].partition("?then=")
    assert path == "/lti/contexts/1"
    page = client.get(answer.headers["location"])
    assert section.title in page.text
    refused = client.post(path, data={"section": "999", "then": "/"})
    assert refused.status_code == 422
    connected = client.post(path, data={"section": str(section.id), "then": "/lti/links/1"})
    assert connected.headers["location"] == "/lti/links/1"
    assert then == "%2Flti%2Flinks%2F1"
    assert "does not lead to an exercise yet" in sentence(launch(client, platform, WANJIRU))
    launch(client, platform, INGRID)
    assert "Apple wash sump" in client.get("/lti/links/1").text
    assert client.post("/lti/links/1", data={"assignment": "999"}).status_code == 422
    bound = client.post("/lti/links/1", data={"assignment": str(assignment.id)})
    assert bound.headers["location"] == f"/assignments/{assignment.id}/gradebook"
    answer = launch(client, platform, WANJIRU)
    assert answer.headers["location"] == f"/assignments/{assignment.id}"


def test_the_administrator_connects_a_course_for_a_new_instructor(
    client: TestClient, client_for: ClientFor, platform: Platform, database: Database
) -> None:
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
        section = make_section(session)
    answer = launch(client, platform, INGRID)
    assert (
        "You are not the instructor of any section here yet"
        in client.get(answer.headers["location"]).text
    )
    desk = client_for(administrator)
    assert "Control logic, fall" in desk.get("/platforms").text
    desk.post("/lti/contexts/1", data={"section": str(section.id), "then": "/platforms"})
    assert launch(client, platform, INGRID).headers["location"] == "/lti/links/1"
    with database.read() as session:
        user = find_user(session, INGRID.email)
        assert user is not None
        assert user.role is Role.INSTRUCTOR
        assert session.get_one(Enrolment, (section.id, user.id)).role is SectionRole.INSTRUCTOR


def test_a_student_finds_a_closed_door_before_it_opens(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    with database.write() as session:
        session.get_one(Assignment, assignment.id).opens_at = NOON + timedelta(days=1)
    assert launch(client, platform, WANJIRU).headers["location"] == "/"


def test_two_client_ids_of_one_issuer(
    client: TestClient, platform: Platform, assignment: Assignment, database: Database
) -> None:
    platform.client_id = "second"
    register(database, platform)
    initiation = platform.initiation(WANJIRU, "sump")
    del initiation["client_id"]
    answer = client.get("/lti/login", params=initiation)
    assert "has to send one" in sentence(answer)
    with database.read() as session:
        assert len(session.scalars(select(Deployment)).all()) == 2
