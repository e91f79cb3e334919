"""Attacks on what is kept: attempts of a pair, times at the change of the clock, the log."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Barrier

import httpx2
from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from server.ladder.json_form import to_json
from server.ladder.text_form import parse_program
from server.store.assignment_policy import pair_up
from server.store.attempts import Submission
from server.store.audit import note
from server.store.audit_chain import Action, check_chain
from server.store.college import set_time_zone
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from server.store.programs import save_program
from server.web.access import COOKIE
from tests.attack.attack import Attack, Outcome, Target
from tests.factories import make_assignment, make_section, make_user, sign_in

PAIRS = 20

PROGRAM = """PROGRAM p
VAR
  lamp AT %QX0.1 : BOOL;
  sump_high AT %IX0.2 : BOOL;
END_VAR

lamp := sump_high;
END_PROGRAM
"""


def _client(target: Target, user: User) -> httpx2.Client:
    with target.database.write() as session:
        token = sign_in(session, user, datetime.now(UTC))
    return httpx2.Client(
        base_url=target.url,
        cookies={COOKIE: token},
        headers={"Origin": target.url},
        timeout=60,
    )


def _open(database: Database, number: int) -> tuple[Assignment, list[User]]:
    """An exercise for so many students, with one attempt for each pair."""
    now = datetime.now(UTC)
    with database.write() as session:
        students = [make_user(session) for _ in range(number)]
        section = make_section(session, *((each, SectionRole.STUDENT) for each in students))
        assignment = make_assignment(
            session,
            section,
            exercise="wash-sump",
            in_pairs=True,
            attempts=1,
            opens_at=now - timedelta(days=1),
            due_at=now + timedelta(days=7),
        )
        program = to_json(parse_program(PROGRAM))
        for each in students:
            save_program(session, assignment, each.id, program, revision=0, start={}, now=now)
        for one, other in zip(students[::2], students[1::2], strict=True):
            pair_up(session, assignment, one.id, other.id, by_id=one.id, now=now)
    return assignment, students


def a_pair_submits_at_once(target: Target) -> Outcome:
    """Both partners press the button at the same moment."""
    assignment, students = _open(target.database, 2 * PAIRS)
    together = Barrier(2)

    def submit(client: httpx2.Client) -> int:
        together.wait()
        address = f"/assignments/{assignment.id}/submissions"
        return client.post(address, data={"revision": "1"}).status_code

    refused = 0
    with ThreadPoolExecutor(2) as threads:
        for one, other in zip(students[::2], students[1::2], strict=True):
            with _client(target, one) as first, _client(target, other) as second:
                answers = list(threads.map(submit, (first, second)))
            refused += answers.count(409)
    with target.database.read() as session:
        taken = session.scalar(select(func.count()).select_from(Submission)) or 0
    return Outcome(
        tried="both partners submit at the same moment where one attempt is allowed",
        times=PAIRS,
        came=f"{taken} attempts taken, {refused} refused",
        held=taken == PAIRS == refused,
    )


def times_at_the_change_of_the_clock(target: Target) -> Outcome:
    """Due dates that clocks never show, or show twice."""
    with target.database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        set_time_zone(session, "America/Chicago")
    dues = ("2027-03-14T02:00", "2027-03-14T02:59", "2027-11-07T01:00", "2027-11-07T01:59")
    told = 0
    with _client(target, teacher) as client:
        for due in dues:
            form = {"exercise": "wash-sump", "opens": "2026-01-05T08:00", "due": due}
            answer = client.post(f"/sections/{section.id}/assignments", data=form)
            told += answer.status_code == 422 and "Choose another time" in answer.text
    with target.database.read() as session:
        stored = session.scalar(select(func.count()).select_from(Assignment))
    return Outcome(
        tried="a due date at the change of the clock",
        times=len(dues),
        came=f"{told} answered with a sentence, {stored} stored",
        held=told == len(dues) and stored == 0,
    )


TAMPERINGS = (
    "UPDATE audit_events SET action = 'saw student' WHERE number = 4",
    "UPDATE audit_events SET detail = 'nothing' WHERE number = 10",
    "UPDATE audit_events SET detail = '', salt = NULL WHERE number = 5",
    "UPDATE audit_events SET actor = NULL WHERE number = 1",
    "DELETE FROM audit_events WHERE number = 3",
    "DELETE FROM audit_events WHERE number > 7",
)


def tampering_with_the_log(target: Target) -> Outcome:
    """Somebody with the database in hand changes lines of the log; each change is taken back."""
    with target.database.write() as session:
        actor, section = make_user(session), make_section(session)
        for number in range(10):
            detail = f"{number} points"
            now = datetime.now(UTC)
            note(session, now, actor.id, Action.SET_POINTS, section.id, detail=detail)
    told = 0
    for statement in TAMPERINGS:
        with target.database.engine.connect() as connection, connection.begin() as tampering:
            connection.execute(text(statement))
            with Session(connection) as session:
                told += bool(check_chain(session).faults)
            tampering.rollback()
    with target.database.read() as session:
        whole = check_chain(session)
    return Outcome(
        tried="a line of the log is changed, emptied or taken out",
        times=len(TAMPERINGS),
        came=f"{told} told by the check; untouched, the log is whole",
        held=told == len(TAMPERINGS) and not whole.faults,
    )


ATTACKS = (
    Attack("a pair that submits at once", a_pair_submits_at_once, on_postgresql=True),
    Attack("times at the change of the clock", times_at_the_change_of_the_clock),
    Attack("a log that was tampered with", tampering_with_the_log, on_postgresql=True),
)
