"""Erasing a person: nothing of anybody else's is changed, and every page answers afterwards."""

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from server.marking.verdict import Status
from server.store.assignment_policy import pair_up
from server.store.attempts import Submission
from server.store.author_sandbox import sandbox_assignment
from server.store.authored import LifeState, authored_named, begin, newest_version, publish
from server.store.corrections import comment
from server.store.courses import SANDBOX_COURSE, Course, Section, SectionRole, find_assignment
from server.store.database import Database
from server.store.people import Role, User
from server.store.roster import enrol
from server.store.standings import CountingAttempt
from tests.factories import EXERCISES, NOON, make_assignment, make_marked, make_user
from tests.web.lab import ClientFor, Lab, open_lab


@pytest.fixture
def head(client_for: ClientFor, database: Database) -> TestClient:
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
    return client_for(administrator)


def erase(head: TestClient, user: User, **fields: str) -> str:
    """Erase a person; return the page that refuses it, empty if they are erased."""
    answer = head.post(f"/people/{user.id}/erase", data={"email": user.email, **fields})
    return answer.text if answer.status_code == 422 else ""


def standing(database: Database, lab: Lab, user: User) -> tuple[object, ...]:
    with database.read() as session:
        row = session.get_one(CountingAttempt, (lab.assignment.id, user.id))
        return (
            row.attempts,
            row.queued,
            row.submission_id,
            row.points,
            row.max_score,
            row.days_late,
            row.results,
            row.passed_after,
        )


def test_a_partner_keeps_the_common_work_without_the_erased_name(
    client_for: ClientFor, database: Database, head: TestClient
) -> None:
    lab = open_lab(database, client_for, in_pairs=True, attempts=4)
    gone, stays = lab.student, lab.classmate
    with database.write() as session:
        assignment = find_assignment(session, lab.assignment.id)
        assert assignment is not None
        session.get_one(User, gone.id).name = "Gone Forever"
        session.get_one(User, gone.id).listed_as = "Forever, Gone"
        pair_up(session, assignment, gone.id, stays.id, by_id=stays.id, now=NOON)
        own = make_marked(session, assignment, stays, R1=Status.NOT_MET, R2=Status.NOT_MET)
        best = make_marked(session, assignment, gone, 1, R1=Status.MET, R2=Status.MET)
        last = make_marked(session, assignment, gone, 2, R1=Status.MET, R2=Status.NOT_MET)
        comment(session, best, 0, "A fine seal-in.", by_id=lab.instructor.id, now=NOON)
    before = standing(database, lab, stays)
    assert before[0] == 3
    assert erase(head, gone) == ""
    assert standing(database, lab, stays) == before
    with database.read() as session:
        rows = session.execute(
            select(Submission.id, Submission.user_id, Submission.attempt).order_by(Submission.id)
        ).all()
    assert rows == [(own.id, stays.id, 1), (best.id, stays.id, 2), (last.id, stays.id, 3)]
    student, teacher = client_for(stays), client_for(lab.instructor)
    assert "A fine seal-in." in student.get(f"/submissions/{best.id}").text
    assert student.get(f"/submissions/{best.id}/compare").status_code != 500
    section, work = lab.assignment.section_id, f"/assignments/{lab.assignment.id}"
    for client, address in (
        (student, "/"),
        (student, work),
        (student, f"/sections/{section}/standing"),
        *((student, f"/submissions/{each.id}") for each in (own, best, last)),
        (teacher, "/"),
        (teacher, f"/submissions/{best.id}"),
        (teacher, f"{work}/gradebook"),
        (teacher, f"{work}/gradebook.csv"),
        (teacher, f"{work}/likeness"),
        (teacher, f"{work}/settings"),
        (teacher, f"{work}/students/{stays.id}"),
        (teacher, f"/sections/{section}/gradebook"),
        (teacher, f"/sections/{section}/students/{stays.id}"),
        (teacher, f"/sections/{section}/roster"),
        (teacher, f"/sections/{section}/lab"),
        (teacher, f"/sections/{section}/log"),
        (teacher, f"/sections/{section}/assignments"),
    ):
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert "Forever" not in answer.text, address


def test_who_is_no_pair_any_more_leaves_nothing(
    lab: Lab, client_for: ClientFor, database: Database, head: TestClient
) -> None:
    """The exercise is no longer done in pairs: what each has handed in is their own."""
    with database.write() as session:
        assignment = find_assignment(session, lab.assignment.id)
        assert assignment is not None
        pair_up(
            session, assignment, lab.student.id, lab.classmate.id, by_id=lab.instructor.id, now=NOON
        )
        make_marked(session, assignment, lab.student, R1=Status.MET)
        make_marked(session, assignment, lab.classmate, R1=Status.NOT_MET)
    before = standing(database, lab, lab.classmate)
    assert erase(head, lab.student) == ""
    assert standing(database, lab, lab.classmate) == before
    with database.read() as session:
        assert [each.user_id for each in session.scalars(select(Submission))] == [lab.classmate.id]


def test_the_only_instructor_is_replaced_first(
    lab: Lab, client_for: ClientFor, database: Database, head: TestClient
) -> None:
    refused = erase(head, lab.instructor)
    assert "only instructor of" in refused
    assert "Add another instructor" in refused
    with database.write() as session:
        section = session.get_one(Section, lab.assignment.section_id)
        second = make_user(session, Role.INSTRUCTOR)
        enrol(session, section, second, SectionRole.INSTRUCTOR)
    assert erase(head, lab.instructor) == ""
    assert client_for(second).get(f"/sections/{section.id}/gradebook").status_code == 200


def write_exercise(database: Database, author: User, slug: str, *, published: bool) -> None:
    text = (EXERCISES / "wash-sump" / "exercise.yaml").read_text().replace("wash-sump", slug)
    with database.write() as session:
        exercise = begin(session, author.id, slug, "Their sump", text, {}, NOON)
        assert exercise is not None
        if published:
            publish(session, exercise, 1, NOON, reason="", open_findings=0)


@pytest.mark.parametrize("named", [True, False])
def test_exercises_go_to_the_successor_and_stay_set(
    lab: Lab, client_for: ClientFor, database: Database, head: TestClient, named: bool
) -> None:
    with database.write() as session:
        author, successor = make_user(session, Role.INSTRUCTOR), make_user(session, Role.INSTRUCTOR)
    write_exercise(database, author, "their-sump", published=True)
    write_exercise(database, author, "old-sump", published=True)
    write_exercise(database, author, "their-draft", published=False)
    with database.write() as session:
        old = authored_named(session, "old-sump")
        assert old is not None
        old.state = LifeState.RETIRED
        sandbox_assignment(session, author.id, "their-draft", "Draft", NOON)
        section = session.get_one(Section, lab.assignment.section_id)
        set_one = make_assignment(session, section, exercise="their-sump")
        set_two = make_assignment(session, section, exercise="old-sump")
    assert "is not the email of another instructor" in erase(
        head, author, successor=lab.student.email
    )
    assert "is not the email of another instructor" in erase(head, author, successor=author.email)
    assert erase(head, author, successor=successor.email if named else "") == ""
    with database.read() as session:
        for slug in ("their-sump", "old-sump"):
            exercise = authored_named(session, slug)
            assert exercise is not None
            assert exercise.owner_id == (successor.id if named else None)
            assert newest_version(session, slug) is not None
        assert (authored_named(session, "their-draft") is not None) == named
        benches = select(Section.id).join(Course).where(Course.code == SANDBOX_COURSE)
        assert session.scalars(benches).all() == []
    for assignment in (set_one, set_two):
        for user, place in (
            (lab.student, ""),
            (lab.instructor, "/gradebook"),
            (lab.instructor, "/settings"),
        ):
            answer = client_for(user).get(f"/assignments/{assignment.id}{place}")
            assert answer.status_code == 200, place
    assert client_for(successor).get("/authoring").status_code == 200
    listed = client_for(lab.instructor).get("/authoring").text
    assert "Their sump" in listed
