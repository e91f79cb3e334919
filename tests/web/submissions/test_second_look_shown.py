"""The second look on a verdict's page: for teaching staff, and for nobody else."""

from dataclasses import replace

from sqlalchemy.orm import Session

from server.marking.verdict import Difference, Evidence, Lane, Status
from server.marking.verdict_form import to_json
from server.store.database import Database
from server.store.submissions import store_verdict
from tests.factories import NOON, make_submission, make_verdict
from tests.web.lab import Lab

SENTENCE = "fill_pump was on for more than 0.15 s, from 1.81 s on."


def stored(lab: Lab, session: Session) -> int:
    """A submission whose verdict has a second look."""
    submission = make_submission(session, lab.assignment, lab.student)
    seen = Evidence("a scenario", False, 1810, 0, 4000, (Lane("fill_pump", (0, 500), (0.0, 1.0)),))
    difference = Difference("fill_pump", SENTENCE, 1810, "a scenario", ("at once: Start",), seen)
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
