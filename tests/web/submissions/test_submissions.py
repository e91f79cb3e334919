"""Handing in and the verdict: what is taken, what is refused, and who sees how much of it."""

from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import QueuePool
from sqlalchemy.orm import Session

from server.jobs.worker import Worker
from server.store.attempts import Submission, SubmissionState
from server.store.courses import Assignment, Feedback
from server.store.database import Database
from server.store.submissions import find_submission, leave_unmarked
from tests.factories import NOON, Clock, make_submission, mark_what_waits
from tests.web.lab import OVERFILLS, RIGHT, ClientFor, Lab, open_lab


def test_a_right_program_meets_every_requirement(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    page = desk.verdict(desk.submit())
    assert "Every requirement is met." in page
    assert "6 of 6" in page
    assert "<title>6 of 6 points in attempt 1: " in page
    assert "not-met" not in page


def test_a_wrong_program_fails_the_right_requirement_with_its_sentence(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(OVERFILLS)
    page = desk.verdict(desk.submit())
    assert "4 of 5 requirements are met." in page
    assert page.count('class="status not-met"') == 1
    assert "R2b not met: the fill pump ran on after the sump was full." in page
    assert "Where in the program?" in page
    assert page.index('id="R2b"') < page.index('id="R1"'), "failures come first"


def test_the_chart_is_shown_from_the_attempt_that_the_exercise_says(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(OVERFILLS)
    assert "timing-chart" not in desk.verdict(desk.submit())
    desk.build((*OVERFILLS, "// [R3] Once more.\nfilling := start_pb;"))
    page = desk.verdict(desk.submit())
    assert "timing-chart" in page
    assert "Scenario: fill until full" in page


@pytest.mark.parametrize("feedback", Feedback)
def test_the_section_releases_no_more_than_it_says(
    database: Database, client_for: ClientFor, feedback: Feedback
) -> None:
    lab = open_lab(database, client_for, feedback=feedback)
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    desk.submit()
    desk.build(OVERFILLS)
    submitted = desk.submit()
    page = desk.verdict(submitted)
    assert ("R2b not met:" in page) == (feedback is not Feedback.VERDICT)
    places = f"{submitted.headers['HX-Redirect']}/places"
    assert (places in page) == (feedback is not Feedback.VERDICT)
    assert desk.client.get(places).status_code == (403 if feedback is Feedback.VERDICT else 200)
    assert ("timing-chart" in page) == (feedback is Feedback.CHART)
    assert ("rung 1 conducted" in page) == (feedback is Feedback.CHART)
    instructor = lab.desk(lab.instructor).verdict(submitted)
    assert "timing-chart" in instructor
    assert "Scenario: " in instructor


def test_an_empty_program_is_not_taken(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.page()
    answer = desk.submit()
    assert answer.status_code == 422
    assert "There is no rung to mark yet." in answer.text


def test_a_program_that_cannot_run_uses_no_attempt(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(("lamp := nowhere;",))
    answer = desk.submit()
    assert answer.status_code == 422
    assert "no attempt was used" in answer.text
    assert "nowhere" in answer.text
    assert "Attempt 1" not in desk.page()


def test_an_older_window_submits_nothing(lab: Lab) -> None:
    older, desk = lab.desk(lab.student), lab.desk(lab.student)
    older.page()
    desk.build(RIGHT)
    answer = older.submit()
    assert answer.status_code == 409
    assert "Attempt 1" not in desk.page()


def test_a_second_click_uses_no_attempt(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    desk.submit()
    answer = desk.submit()
    assert answer.status_code == 409
    assert "the same as in your last attempt" in answer.text


def test_before_opening_and_after_closing(
    database: Database, client_for: ClientFor, clock: Clock
) -> None:
    lab = open_lab(database, client_for, closes_at=NOON + timedelta(days=8))
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    clock.now = NOON + timedelta(days=9)
    again = lab.desk(lab.student)
    again.page()
    answer = again.submit()
    assert answer.status_code == 409
    assert "closed" in answer.text


def test_late_is_said(lab: Lab, clock: Clock) -> None:
    clock.now = NOON + timedelta(days=7, minutes=1)
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    assert 'class="status late"' in desk.verdict(desk.submit())


def test_without_htmx_the_form_leads_to_the_verdict(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    values = {"revision": str(desk.revision)}
    answer = desk.client.post(f"{desk.address}/submissions", data=values)
    assert answer.status_code == 303
    assert desk.client.get(answer.headers["location"]).status_code == 200


def test_while_it_is_marked_the_page_says_so(lab: Lab, database: Database) -> None:
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    with database.write() as session:
        program = {"version": 1, "name": "wash_sump"}
        waiting = make_submission(session, lab.assignment, lab.student, program=program)
    page = desk.client.get(f"/submissions/{waiting.id}").text
    assert "is being marked" in page
    assert f'hx-get="/submissions/{waiting.id}/progress"' in page


def test_one_that_could_not_be_marked_in_time_is_told_to_both(lab: Lab, database: Database) -> None:
    with database.write() as session:
        assignment = session.get_one(Assignment, lab.assignment.id)
        assignment.attempts = 2
        left = make_submission(session, assignment, lab.student)
        assert leave_unmarked(session, left.id)
    desk = lab.desk(lab.student)
    for client in (desk.client, lab.client_for(lab.instructor)):
        assert "too large to be run in time" in client.get(f"/submissions/{left.id}").text
        progress = client.get(f"/submissions/{left.id}/progress")
        assert "HX-Refresh" in progress.headers
    assert "2 attempts are allowed; 0 are used" in desk.page()
    of_student = f"/assignments/{lab.assignment.id}/students/{lab.student.id}"
    for page in (desk.page(), lab.client_for(lab.instructor).get(of_student).text):
        assert "not marked" in page
        assert "being marked" not in page


def test_what_was_left_is_marked_at_the_next_start(
    lab: Lab, database: Database, app: FastAPI, clock: Clock
) -> None:
    with database.write() as session:
        program = {"version": 1, "name": "wash_sump"}
        first = make_submission(session, lab.assignment, lab.student, program=program)
        second = make_submission(session, lab.assignment, lab.classmate, program=program)
    worker = Worker(database, app.state.catalogue, clock)
    mark_what_waits(worker, database)
    with database.read() as session:
        for each in (first, second):
            found = find_submission(session, each.id)
            assert found is not None
            assert found.state is SubmissionState.MARKED


def test_one_program_that_cannot_be_marked_stops_no_other(
    lab: Lab, database: Database, app: FastAPI, clock: Clock
) -> None:
    with database.write() as session:
        broken = make_submission(session, lab.assignment, lab.student, program={"version": 99})
        program = {"version": 1, "name": "wash_sump"}
        good = make_submission(session, lab.assignment, lab.classmate, program=program)
    worker = Worker(database, app.state.catalogue, clock)
    mark_what_waits(worker, database)
    assert worker.has_failed(broken.id)
    assert not worker.has_failed(good.id)
    with database.read() as session:
        states = [find_submission(session, each.id) for each in (broken, good)]
    assert [each.state for each in states if each] == [
        SubmissionState.QUEUED,
        SubmissionState.MARKED,
    ]


def test_a_verdict_is_the_authors_and_their_instructors(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(OVERFILLS)
    address = desk.submit().headers["HX-Redirect"]
    assert lab.client_for(lab.classmate).get(address).status_code == 404
    assert lab.client_for(lab.classmate).get(f"{address}/progress").status_code == 404
    assert lab.client_for(lab.instructor).get(address).status_code == 200


def test_who_asks_is_told_where_in_the_program_the_causes_lead(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(OVERFILLS)
    address = desk.submit().headers["HX-Redirect"]
    place = f'R2b: the causes lead to <a href="{address}#rung-1">rung 1, beside '
    for user in (lab.student, lab.instructor):
        assert place in lab.client_for(user).get(f"{address}/places").text
    htmx = {"HX-Request": "true"}
    assert place in desk.client.get(f"{address}/places", headers=htmx).text
    assert lab.client_for(lab.classmate).get(f"{address}/places").status_code == 404


def test_teaching_staff_are_told_how_far_a_program_is_from_right(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(OVERFILLS)
    submitted = desk.submit()
    number = submitted.headers["HX-Redirect"].rpartition("/")[2]
    assert "How far from right?" not in desk.verdict(submitted)
    instructor = lab.desk(lab.instructor)
    assert "How far from right?" in instructor.verdict(submitted)
    answer = instructor.client.get(f"/submissions/{number}/diagnosis")
    assert "One edit from right: " in answer.text
    assert desk.client.get(f"/submissions/{number}/diagnosis").status_code == 404


def test_a_request_that_waits_for_a_thread_holds_no_connection(
    database: Database, client_for: ClientFor, lab: Lab, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As many as there are connections would wait for a thread, and those for a connection."""
    with database.write() as session:
        submission = make_submission(session, lab.assignment, lab.student)
    pool = database.engine.pool
    assert isinstance(pool, QueuePool)
    held = []

    def look(session: Session, submission_id: int) -> Submission | None:
        held.append(pool.checkedout())
        return find_submission(session, submission_id)

    # What the route's function calls first.
    monkeypatch.setattr("server.web.submissions.verdict._submission", look)
    assert client_for(lab.student).get(f"/submissions/{submission.id}").status_code == 200
    assert held == [0]
