"""What the pages of one set exercise share: the assignment, its exercise, the working program."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, HTTPException
from starlette.requests import HTTPConnection

from server.ladder.json_form import to_json
from server.marking.exercise import Exercise
from server.marking.files.catalogue import Catalogue, start_program
from server.store.courses import Assignment, find_assignment, seed_of
from server.store.database import Document
from server.web.access import VisitorHere
from server.web.dependencies import CatalogueHere, Reading, release_connection

UNREADABLE = (
    "This exercise can't be read on the server. Tell the instructor; what you have saved is kept."
)


@dataclass(frozen=True, slots=True)
class Workplace:
    """An assignment with its exercise; ``start`` is the program that a student begins with."""

    assignment: Assignment
    exercise: Exercise

    @property
    def start(self) -> Document:
        return to_json(start_program(self.exercise))


def exercise_of(catalogue: Catalogue, assignment: Assignment, seed: str) -> Exercise:
    """Return the exercise with the numbers of a seed, or the error page: it can't be read."""
    exercise = catalogue.find(assignment.exercise, seed)
    if exercise is None:
        raise HTTPException(500, UNREADABLE)
    return exercise


def workplace(
    connection: HTTPConnection,
    assignment_id: int,
    visitor: VisitorHere,
    session: Reading,
    catalogue: CatalogueHere,
) -> Workplace:
    """Return the visitor's own, or that of the student whom the address names."""
    user_id = int(connection.path_params.get("student_id", visitor.id))
    assignment = find_assignment(session, assignment_id)
    assert assignment is not None, "the access rule has found it"
    seed = seed_of(session, assignment, user_id)
    release_connection(session)
    return Workplace(assignment, exercise_of(catalogue, assignment, seed))


WorkplaceHere = Annotated[Workplace, Depends(workplace)]
