"""An instructor releases the hidden runs of a requirement to the section, and hides them again."""

import pytest
from sqlalchemy import select

from server.ladder.json_form import to_json
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.marking import mark
from server.marking.verdict_form import to_json as verdict_to_json
from server.paths import EXERCISES
from server.store.attempts import Submission
from server.store.audit_chain import Action, AuditEvent
from server.store.database import Database
from server.store.submissions import store_verdict
from server.web.trial.commands import CommandHandler, CommandRefused
from server.web.trial.runs import Runs
from server.web.workplace import Workplace
from tests.factories import NOON, make_submission
from tests.web.lab import Lab

FOLDER = EXERCISES / "settling-tank"


@pytest.fixture
def attempt(lab: Lab, database: Database) -> Submission:
    """A second attempt that breaks R4 where the server finds no run of its own."""
    exercise = load_exercise(FOLDER)
    [wrong] = [
        each.program
        for each in load_programs(FOLDER, exercise)
        if each.file.name == "wrong-low-switch-in-parallel.st"
    ]
    verdict = mark(exercise, wrong)
    with database.write() as session:
        program = to_json(wrong)
        found = make_submission(session, lab.assignment, lab.student, program=program, attempt=2)
        assert store_verdict(session, found.id, verdict, verdict_to_json(verdict), NOON)
    return found


def release(lab: Lab, attempt: Submission, **fields: str) -> int:
    address = f"/assignments/{lab.assignment.id}/released-runs"
    values = {"submission": str(attempt.id), "requirement": "R4", **fields}
    client = lab.client_for(lab.instructor)
    return client.post(address, data=values, follow_redirects=False).status_code


def test_a_release_shows_the_hidden_run_where_none_is_found(
    lab: Lab, database: Database, attempt: Submission
) -> None:
    here = Workplace(lab.assignment, load_exercise(FOLDER))
    handler = CommandHandler(here, lab.student.id, database, Runs(lambda _: None), lambda: NOON)
    assert handler.demonstration(attempt.id, "R4")[1] is None
    assert release(lab, attempt) == 303
    _, found = handler.demonstration(attempt.id, "R4")
    assert found is not None
    assert found.run.events, "the actions of the hidden scenario"
    classmate = CommandHandler(here, lab.classmate.id, database, Runs(lambda _: None), lambda: NOON)
    with pytest.raises(CommandRefused):
        classmate.demonstration(attempt.id, "R4")
    assert release(lab, attempt, hide="true") == 303
    assert handler.demonstration(attempt.id, "R4")[1] is None
    with database.read() as session:
        lines = session.execute(select(AuditEvent.action, AuditEvent.detail)).all()
    assert (Action.RELEASED_RUN, "R4") in lines
    assert (Action.HID_RUN, "R4") in lines


def test_only_an_instructor_is_offered_the_release(lab: Lab, attempt: Submission) -> None:
    address = f"/submissions/{attempt.id}"
    assert "Release the runs of R4" in lab.client_for(lab.instructor).get(address).text
    release(lab, attempt)
    assert "Hide the runs of R4" in lab.client_for(lab.instructor).get(address).text
    assert "the runs of R4" not in lab.client_for(lab.student).get(address).text
    assert release(lab, attempt, requirement="R99") == 422
