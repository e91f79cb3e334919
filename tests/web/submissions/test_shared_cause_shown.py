"""One cause over several requirements on a verdict's page: told once, and how it counts."""

from dataclasses import replace

from sqlalchemy.orm import Session

from server.marking.marking import LIKE_A_REFERENCE
from server.marking.verdict import SharedCause, Status
from server.marking.verdict_form import to_json
from server.store.courses import Assignment, Feedback
from server.store.database import Database
from server.store.submissions import store_verdict
from tests.factories import NOON, make_submission, make_verdict
from tests.web.lab import Lab

TOLD = "R1, R2 have one cause: one change of the program would mend them all."
CHANGE = "rung 2, contact stop_pb, normally open instead of normally closed"
COUNTED = "2 of 3 points count."


def stored(lab: Lab, session: Session) -> int:
    """Store a submission in which two requirements have one cause."""
    submission = make_submission(session, lab.assignment, lab.student)
    verdict = replace(
        make_verdict(R1=Status.NOT_MET, R2=Status.NOT_MET, R3=Status.MET),
        causes=(SharedCause(("R1", "R2"), CHANGE),),
    )
    assert store_verdict(session, submission.id, verdict, to_json(verdict), NOON)
    return submission.id


def test_a_proof_is_told_once(lab: Lab, database: Database) -> None:
    verdict = make_verdict(R1=Status.MET, R2=Status.MET)
    rows = tuple(replace(each, known_by=LIKE_A_REFERENCE) for each in verdict.requirements)
    verdict = replace(verdict, requirements=rows)
    with database.write() as session:
        submission = make_submission(session, lab.assignment, lab.student)
        assert store_verdict(session, submission.id, verdict, to_json(verdict), NOON)
        address = f"/submissions/{submission.id}"
    seen = lab.client_for(lab.student).get(address).text
    assert seen.count("behaves as a reference program") == 1
    assert seen.count('<span class="under">proved</span>') == 2


def test_a_cause_is_told_once_and_its_change_to_teaching_staff_only(
    lab: Lab, database: Database
) -> None:
    with database.write() as session:
        address = f"/submissions/{stored(lab, session)}"
    shown = lab.client_for(lab.instructor).get(address).text
    assert shown.count(TOLD) == 1
    assert CHANGE in shown
    seen = lab.client_for(lab.student).get(address).text
    places = [seen.index(part) for part in (TOLD, 'id="R1"', 'id="R2"', 'id="R3"')]
    assert places == sorted(places), "what has one cause stands together, before what is met"
    assert seen.count(TOLD) == 1
    assert CHANGE not in seen
    assert COUNTED not in seen
    with database.write() as session:
        assignment = session.get_one(Assignment, lab.assignment.id)
        assignment.cause_once, assignment.feedback = True, Feedback.VERDICT
    assert TOLD not in lab.client_for(lab.student).get(address).text
    assert COUNTED in lab.client_for(lab.instructor).get(address).text
