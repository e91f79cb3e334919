"""A supervised lab over HTTP: its door, what stays closed meanwhile, and what a cheat would try."""

import json
from datetime import timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.websockets import WebSocketDisconnect

from server.jobs.sitting_closer import close_sittings
from server.marking.verdict import Status
from server.store.courses import Assignment, Enrolment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from server.store.submissions import attempts_of
from server.web import open_sockets
from tests.factories import NOON, Clock, make_assignment, make_marked, make_section, make_user
from tests.web.lab import HTMX, RIGHT, ClientFor, Desk, Lab, open_lab

MINUTE = timedelta(minutes=1)
CODE = "LAB234"
WINDOW: dict[str, Any] = {
    "opens_at": NOON,
    "due_at": NOON + 60 * MINUTE,
    "closes_at": NOON + 60 * MINUTE,
    "sitting_minutes": 40,
    "pass_code": CODE,
}

CARRIES = (
    ("GET", "versions"),
    ("POST", "versions"),
    ("GET", "comparison"),
    ("GET", "program.st"),
    ("GET", "program.xml"),
    ("GET", "program.st?state=step-0"),
    ("POST", "program/file"),
    ("POST", "program/take-in"),
    ("POST", "program/bring-back"),
    ("GET", "print"),
)
"""By these a program would come in or go out."""

WORKS = (
    ("GET", ""),
    ("POST", "program"),
    ("POST", "program/undo"),
    ("POST", "program/redo"),
    ("POST", "program/preview"),
    ("POST", "submissions"),
    ("GET", "sitting/time"),
    ("POST", "sitting/end"),
)


@pytest.fixture
def lab(database: Database, client_for: ClientFor) -> Lab:
    return open_lab(database, client_for, **WINDOW)


def enter(desk: Desk, code: str = CODE, seat: str = "7") -> int:
    fields = {"code": code, "seat": seat}
    return desk.client.post(f"{desk.address}/sitting", data=fields).status_code


def seated(lab: Lab, user: User) -> Desk:
    desk = lab.desk(user)
    assert enter(desk) == 303
    return desk


def build(desk: Desk) -> None:
    """Put in the right rungs as a sitting takes them: one after another."""
    desk.page()
    for number, rung in enumerate(RIGHT):
        answer = desk.do("paste rungs", at=number, text=rung)
        assert answer.status_code == 200, answer.text


def door(desk: Desk) -> str:
    answer = desk.client.get(f"{desk.address}/sitting")
    assert answer.status_code == 200
    return answer.text


def test_from_the_door_to_the_verdict(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    answer = desk.client.get(desk.address)
    assert answer.headers["location"] == f"{desk.address}/sitting"
    assert "Begin your sitting" in door(desk)
    assert enter(desk) == 303
    page = desk.page()
    assert 'data-seconds="2400"' in page
    assert "Versions and files" not in page
    assert "your time ends at" in page
    build(desk)
    assert "every requirement is met" in desk.verdict(desk.submit()).lower()
    assert desk.client.get(f"{desk.address}/sitting/time").json() == {"seconds": 2400}


@pytest.mark.parametrize("when", ["before", "after the time", "after the window", "elsewhere"])
def test_nothing_is_done_without_a_sitting(lab: Lab, clock: Clock, when: str) -> None:
    desk = lab.desk(lab.student)
    if when != "before":
        assert enter(desk) == 303
    if when == "elsewhere":
        desk = lab.desk(lab.student)  # another browser
    clock.now = NOON + {"after the time": 40, "after the window": 60}.get(when, 1) * MINUTE
    fields = {"action": json.dumps({"action": "add rung", "at": 0}), "revision": "0"}
    for method, path in WORKS:
        address = f"{desk.address}/{path}".rstrip("/")
        answer = desk.client.request(method, address, data=fields if method == "POST" else None)
        assert answer.status_code == (303 if method == "GET" else 403), path
        if method == "GET":
            assert answer.headers["location"] == f"{desk.address}/sitting"


def test_no_program_comes_in_or_goes_out(lab: Lab) -> None:
    desk, teacher = seated(lab, lab.student), lab.desk(lab.instructor)
    build(desk)
    for method, path in CARRIES:
        answer = desk.client.request(method, f"{desk.address}/{path}", headers=HTMX)
        assert answer.status_code == 403, path
        assert "no program comes in or goes out" in answer.text
        # Who teaches the section has them.
        if method == "GET":
            assert teacher.client.get(f"{teacher.address}/{path}").status_code in (200, 404)


def test_a_whole_program_is_not_pasted(lab: Lab) -> None:
    desk = seated(lab, lab.student)
    desk.page()
    whole = {"action": "paste rungs", "at": 0, "text": "\n".join(RIGHT)}
    apart = [{"action": "paste rungs", "at": each, "text": RIGHT[each]} for each in (0, 1)]
    for action in (whole, {"action": "together", "actions": apart}):
        answer = desk.send(action)
        assert answer.status_code == 422
        assert "one rung is taken at a time" in answer.text
    # A mistake in the text is told as ever.
    assert desk.do("paste rungs", at=0, text="x :=").status_code == 422


def test_a_teacher_who_is_a_student_of_the_section_pastes_no_program(
    lab: Lab, database: Database, client_for: ClientFor
) -> None:
    with database.write() as session:
        colleague = make_user(session, Role.INSTRUCTOR)
        session.add(
            Enrolment(
                section_id=lab.assignment.section_id, user_id=colleague.id, role=SectionRole.STUDENT
            )
        )
    desk = seated(lab, colleague)
    desk.page()
    assert desk.do("paste rungs", at=0, text="\n".join(RIGHT)).status_code == 422


def test_other_work_is_closed_until_the_sitting_is_over(
    lab: Lab, database: Database, clock: Clock
) -> None:
    with database.write() as session:
        section = session.get_one(Assignment, lab.assignment.id).section
        homework = make_assignment(session, section)
        earlier = make_marked(session, homework, lab.student, R1=Status.MET)
    desk = seated(lab, lab.student)
    closed = (
        f"/assignments/{homework.id}",
        f"/assignments/{homework.id}/versions",
        f"/assignments/{homework.id}/program.st",
        f"/submissions/{earlier.id}",
        f"/submissions/{earlier.id}/comparison",
        f"/submissions/{earlier.id}/print",
        "/my-data.json",
    )
    for path in closed:
        answer = desk.client.get(path)
        assert answer.headers.get("location") == f"{desk.address}/sitting", path
    clock.now = NOON + 40 * MINUTE
    assert desk.client.get(f"/submissions/{earlier.id}").headers.get("location") is None


def test_who_leaves_the_section_during_a_sitting_has_other_work_open(
    lab: Lab, database: Database
) -> None:
    with database.write() as session:
        elsewhere = make_section(session, (lab.student, SectionRole.STUDENT))
        homework = make_assignment(session, elsewhere, exercise=lab.assignment.exercise)
    desk = seated(lab, lab.student)
    for address in (f"/assignments/{homework.id}", "/my-data.json"):
        assert desk.client.get(address).status_code == 303
    with database.write() as session:
        place = lab.assignment.section_id, lab.student.id
        session.get_one(Enrolment, place).role = SectionRole.WITHDRAWN
    for address in (f"/assignments/{homework.id}", "/my-data.json"):
        assert desk.client.get(address).status_code == 200


def test_attempts_are_shown_in_the_browser_of_the_sitting_only(
    lab: Lab, database: Database, clock: Clock
) -> None:
    desk, phone = seated(lab, lab.student), lab.desk(lab.student)
    with database.write() as session:
        lab_now = session.get_one(Assignment, lab.assignment.id)
        attempt = make_marked(session, lab_now, lab.student, R1=Status.MET)
    for path in ("", "/print", "/comparison"):
        address = f"/submissions/{attempt.id}{path}"
        assert phone.client.get(address).headers["location"] == f"{desk.address}/sitting"
    assert desk.client.get(f"/submissions/{attempt.id}").status_code == 200
    clock.now = NOON + 40 * MINUTE
    assert phone.client.get(f"/submissions/{attempt.id}").status_code == 200


def test_a_code_opens_its_own_lab_and_for_its_own_students_only(
    lab: Lab, database: Database, client_for: ClientFor
) -> None:
    other = open_lab(database, client_for, **{**WINDOW, "pass_code": "OTHER2"})
    desk = lab.desk(lab.student)
    assert enter(desk, "OTHER2") == 422
    stranger = Desk(client_for(other.student), lab.assignment)
    assert enter(stranger) == 404
    assert enter(lab.desk(lab.instructor)) == 404
    assert enter(desk, " lab 234 ") == 303


def test_codes_are_not_tried_out(lab: Lab, clock: Clock) -> None:
    desk = lab.desk(lab.student)
    answers = [enter(desk, f"AAAA{number:02}") for number in range(8)]
    assert answers[:5] == [422] * 5
    assert answers[-1] == 429
    assert enter(desk) == 429
    clock.now += MINUTE
    assert enter(desk) == 303


@pytest.mark.parametrize("at", [-1, 60])
def test_outside_the_window_the_code_begins_nothing(lab: Lab, clock: Clock, at: int) -> None:
    clock.now = NOON + at * MINUTE
    desk = lab.desk(lab.student)
    assert enter(desk) == 422
    assert desk.client.get(desk.address).status_code == 303
    assert 'name="code"' not in door(desk)


def test_a_lost_connection_costs_time_and_nothing_else(lab: Lab, clock: Clock) -> None:
    desk = seated(lab, lab.student)
    build(desk)
    clock.now = NOON + 10 * MINUTE
    # The machine broke down: the code again, at another seat.
    again = lab.desk(lab.student)
    assert "Continue in this browser" in door(again)
    assert enter(again, seat="12") == 303
    page = again.page()
    assert page.count('class="rung-row"') == 2
    assert 'data-seconds="1800"' in page
    # The first browser is shut out.
    assert desk.client.get(f"{desk.address}/sitting/time").status_code == 303
    assert desk.submit().status_code == 403


def test_what_is_stored_is_submitted_when_the_time_is_up(
    lab: Lab, app: FastAPI, database: Database, clock: Clock
) -> None:
    desk, idle = seated(lab, lab.student), seated(lab, lab.classmate)
    build(desk)
    idle.page()
    clock.now = NOON + 41 * MINUTE
    close_sittings(database, app.state.worker, clock.now)
    with database.read() as session:
        (attempt,) = attempts_of(session, lab.assignment, lab.student.id)
        assert attempt.submitted_at == NOON + 40 * MINUTE
        assert attempts_of(session, lab.assignment, lab.classmate.id) == []
    assert f"/submissions/{attempt.id}" in door(desk)
    assert "Nothing was submitted" in door(idle)
    assert enter(desk) == 422


def test_an_end_that_was_asked_for(lab: Lab, database: Database) -> None:
    desk = seated(lab, lab.student)
    build(desk)
    assert desk.client.post(f"{desk.address}/sitting/end").status_code == 303
    assert "Your sitting is over" in door(desk)
    assert desk.submit().status_code == 403
    with database.read() as session:
        assert len(attempts_of(session, lab.assignment, lab.student.id)) == 1


def test_the_socket_of_a_run_closes_with_the_sitting(
    lab: Lab, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"/assignments/{lab.assignment.id}/trial/socket"
    monkeypatch.setattr(open_sockets, "LOOKED_AT_EVERY", 0.05)
    desk = lab.desk(lab.student)
    with desk.client:
        with pytest.raises(WebSocketDisconnect), desk.client.websocket_connect(address):
            pass
        assert enter(desk) == 303
        with desk.client.websocket_connect(address) as socket:
            socket.receive_text()
            clock.now = NOON + 40 * MINUTE
            with pytest.raises(WebSocketDisconnect) as closed:
                while True:
                    socket.receive_text()
        assert closed.value.reason == "Your sitting is over, so this run was closed here."


def test_the_run_of_another_exercise_closes_when_a_sitting_begins(
    lab: Lab, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(open_sockets, "LOOKED_AT_EVERY", 0.05)
    with database.write() as session:
        elsewhere = make_section(session, (lab.student, SectionRole.STUDENT))
        homework = make_assignment(session, elsewhere, exercise=lab.assignment.exercise)
    desk = lab.desk(lab.student)
    address = f"/assignments/{homework.id}/trial/socket"
    with desk.client, desk.client.websocket_connect(address) as socket:
        socket.receive_text()
        assert enter(desk) == 303
        with pytest.raises(WebSocketDisconnect) as closed:
            for _ in range(500):
                socket.receive_text()
        assert closed.value.reason.startswith("You are in a supervised lab now")


def test_the_lab_hour_shows_who_sits_where(
    lab: Lab, database: Database, clock: Clock, client_for: ClientFor
) -> None:
    one, two = seated(lab, lab.student), seated(lab, lab.classmate)
    teacher = client_for(lab.instructor)
    section = f"/sections/{lab.assignment.section_id}/lab"
    page = teacher.get(section).text
    assert CODE in page
    assert page.count("</span>twice") == 2
    clock.now += MINUTE
    one.client.get(f"{one.address}/sitting/time")
    rows = teacher.get(f"{section}/now").text.split("<tr>")
    states = {name: row for row in rows for name in (lab.student.name, lab.classmate.name)
              if f'<th scope="row">{name}<' in row and "more minutes" in row}  # fmt: skip
    assert "connected" in states[lab.student.name]
    assert "39 minutes" in states[lab.student.name]
    assert "no connection" in states[lab.classmate.name]
    # A new code, and five minutes for who had no connection.
    assert teacher.post(f"{two.address}/pass-code").status_code == 303
    assert CODE not in teacher.get(section).text
    minutes = f"{two.address}/sittings/{lab.classmate.id}/minutes"
    assert teacher.post(minutes).status_code == 303
    assert two.client.get(f"{two.address}/sitting/time").json() == {"seconds": 44 * 60}
    assert two.client.post(minutes).status_code == 404
    assert two.client.post(f"{two.address}/pass-code").status_code == 404
    with database.write() as session:
        place = lab.assignment.section_id, lab.instructor.id
        session.get_one(Enrolment, place).role = SectionRole.GRADER
    assert teacher.post(minutes).status_code == 404
    assert teacher.post(f"{two.address}/pass-code").status_code == 303


def test_a_homework_has_no_door(lab: Lab, database: Database, client_for: ClientFor) -> None:
    homework = open_lab(database, client_for)
    desk, teacher = homework.desk(homework.student), homework.desk(homework.instructor)
    assert enter(desk) == 404
    assert desk.client.get(f"{desk.address}/sitting").status_code == 404
    assert desk.client.get(f"{desk.address}/sitting/time").status_code == 404
    assert desk.client.post(f"{desk.address}/sitting/end").status_code == 404
    assert teacher.client.post(f"{teacher.address}/pass-code").status_code == 404
    minutes = f"{teacher.address}/sittings/{homework.student.id}/minutes"
    assert teacher.client.post(minutes).status_code == 404


def test_a_lab_is_set_by_its_minutes(lab: Lab, client_for: ClientFor, database: Database) -> None:
    teacher = client_for(lab.instructor)
    settings = f"/assignments/{lab.assignment.id}/settings"
    fields = {
        "opens": "2026-10-05T12:00",
        "due": "2026-10-05T13:00",
        "sitting": "25",
        "attempts": "2",
    }
    for wrong in ("0", "601", "x", "1.5"):
        answer = teacher.post(settings, data=fields | {"sitting": wrong})
        assert answer.status_code == 422
        assert "1 to 600 minutes" in answer.text
    assert teacher.post(settings, data=fields | {"in_pairs": "true"}).status_code == 422
    assert teacher.post(settings, data=fields).status_code == 303
    with database.read() as session:
        stored = session.get_one(Assignment, lab.assignment.id)
        assert (stored.sitting_minutes, stored.closes_at) == (25, stored.due_at)
