"""The second look on a verdict's page: for teaching staff, and for nobody else."""

from dataclasses import replace

import pytest
from sqlalchemy.orm import Session

from server.jobs.published import draft_of
from server.marking.files.drafts import read_draft
from server.marking.verdict import Difference, Evidence, Lane, Status
from server.marking.verdict_form import to_json
from server.store.authored import authored_named
from server.store.corrections import decision_on
from server.store.database import Database
from server.store.submissions import find_submission, store_verdict
from tests.factories import NOON, make_submission, make_verdict
from tests.web.lab import Lab

SCENARIO = """\
  - name: Second look at fill_pump
    steps:
      - {after: 1 s, press: [start_pb]}
    run on: 2 s
"""
SENTENCE = "fill_pump was on for more than 0.15 s, from 1.81 s on."


def stored(lab: Lab, session: Session) -> int:
    """A submission whose verdict has a second look."""
    submission = make_submission(session, lab.assignment, lab.student)
    seen = Evidence("a scenario", False, 1810, 0, 4000, (Lane("fill_pump", (0, 500), (0.0, 1.0)),))
    difference = Difference(
        "fill_pump", SENTENCE, 1810, "a scenario", ("at once: Start",), seen, SCENARIO
    )
    verdict = replace(make_verdict(R1=Status.MET), second_look=(difference,))
    assert store_verdict(session, submission.id, verdict, to_json(verdict), NOON)
    return submission.id


def test_the_second_look_is_shown_to_teaching_staff_only(lab: Lab, database: Database) -> None:
    with database.write() as session:
        address = f"/submissions/{stored(lab, session)}"
    shown = lab.client_for(lab.instructor).get(address).text
    assert SENTENCE in shown
    assert "at once: Start" in shown
    assert "Timing chart of the difference in fill_pump" in shown
    hidden = lab.client_for(lab.student).get(address).text
    assert "second-look" not in hidden
    assert SENTENCE not in hidden


@pytest.mark.parametrize(
    ("decision", "place", "decided"),
    [
        ("Also right", "programs", True),
        ("Wrong", "scenarios", False),
        ("Leave it free", "free", True),
    ],
)
def test_a_decision_changes_a_draft_of_the_teachers_own(
    lab: Lab, database: Database, decision: str, place: str, decided: bool
) -> None:
    with database.write() as session:
        number = stored(lab, session)
    teacher = lab.client_for(lab.instructor)
    address = f"/submissions/{number}/second-look/exercise"
    assert "Leave it free on the sheet" in teacher.get(f"/submissions/{number}").text
    answer = teacher.post(address, data={"decision": decision})
    assert answer.status_code == 303
    sheet, anchor = answer.headers["location"].split("#")
    assert anchor == place
    assert teacher.get(sheet).status_code == 200
    with database.read() as session:
        draft = authored_named(session, f"{lab.assignment.exercise}-2")
        assert draft is not None
        assert draft.owner_id == lab.instructor.id
        reading = read_draft(draft_of(draft))
        added = {
            "Also right": "right-seen-1.st" in draft.programs,
            "Wrong": "Second look at fill_pump" in draft.text,
            "Leave it free": "\nfree:\n" in draft.text,
        }
        assert [name for name, there in added.items() if there] == [decision]
        assert bool(reading.faults) is (decision == "Leave it free"), "its condition is asked for"
        submission = find_submission(session, number)
        assert submission is not None
        assert bool(decision_on(session, submission)) is decided
    # The next decision goes to the same copy.
    assert (
        teacher.post(address, data={"decision": decision}).headers["location"]
        == answer.headers["location"]
    )
    with database.read() as session:
        draft = authored_named(session, f"{lab.assignment.exercise}-2")
        assert draft is not None
        assert "right-seen-2.st" not in draft.programs


def test_only_who_teaches_and_writes_exercises_may_change_them(
    lab: Lab, database: Database
) -> None:
    with database.write() as session:
        number = stored(lab, session)
    address = f"/submissions/{number}/second-look/exercise"
    assert lab.client_for(lab.student).post(address, data={"decision": "Wrong"}).status_code in (
        403,
        404,
    )
    beyond = lab.client_for(lab.instructor).post(address, data={"decision": "Wrong", "number": "1"})
    assert beyond.status_code == 404
