"""What the pages of one set exercise share: the assignment, its exercise, the working program."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, HTTPException

from server.ladder.json_form import to_json
from server.marking.exercise import Exercise
from server.marking.files.catalogue import Catalogue, start_program
from server.store.courses import Assignment, find_assignment
from server.store.database import Document
from server.web.dependencies import CatalogueHere, DatabaseHere

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


def exercise_of(catalogue: Catalogue, assignment: Assignment) -> Exercise:
    """The exercise, or the error page that says that it can't be read."""
    exercise = catalogue.find(assignment.exercise)
    if exercise is None:
        raise HTTPException(500, UNREADABLE)
    return exercise


def workplace(assignment_id: int, database: DatabaseHere, catalogue: CatalogueHere) -> Workplace:
    with database.read() as session:
        assignment = find_assignment(session, assignment_id)
    assert assignment is not None, "the access rule has found it"
    return Workplace(assignment, exercise_of(catalogue, assignment))


WorkplaceHere = Annotated[Workplace, Depends(workplace)]
