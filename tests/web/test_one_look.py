"""One expensive look at a time for each visitor."""

from fastapi import FastAPI
from fastapi.routing import APIRoute

from server.store.database import Database
from server.web.app import routes
from server.web.one_look import BUSY, OneLook
from tests.factories import make_submission
from tests.web.lab import Lab

EXPENSIVE = {
    "compare_attempts",
    "compare_states",
    "compare_version",
    "diagnosis",
    "faulty_places",
    "import_exercise",
    "similarity",
    "print_program",
    "print_submission",
}


def test_every_expensive_look_is_held_to_it() -> None:
    found = {r.name for r in routes() if isinstance(r, APIRoute) and OneLook in r.dependencies}
    assert found == EXPENSIVE


def test_a_second_look_is_refused_until_the_first_is_there(
    lab: Lab, app: FastAPI, database: Database
) -> None:
    with database.write() as session:
        submission = make_submission(session, lab.assignment, lab.student)
    teacher, student = lab.client_for(lab.instructor), lab.client_for(lab.student)
    likeness = f"/assignments/{lab.assignment.id}/likeness"
    printed = f"/submissions/{submission.id}/print"
    with app.state.looks.one(lab.instructor.id) as only:
        assert only
        for address in (likeness, printed):
            refused = teacher.get(address)
            assert refused.status_code == 429
            assert BUSY in refused.text
        # Other people, and other pages, need not wait.
        assert student.get(printed).status_code == 200
        assert teacher.get("/").status_code == 200
    for address in (likeness, printed, likeness):
        assert teacher.get(address).status_code == 200
    # A look that ends in an error has ended, too.
    assert teacher.get("/submissions/999/print").status_code == 404
    assert teacher.get(printed).status_code == 200
