"""Which attempt counts, and what each requirement got."""

from datetime import timedelta

import pytest
from sqlalchemy import Engine, event

from server.marking.verdict import Status
from server.store import gradebook
from server.store.courses import Assignment, Counting, SectionRole
from server.store.database import Database
from server.store.gradebook import AssignmentProgress, Standing
from server.store.standings import points_left
from tests.factories import NOON, make_assignment, make_marked, make_section, make_submission
from tests.factories import make_user as make_person

MET, NOT_MET = Status.MET, Status.NOT_MET


@pytest.mark.parametrize(("counting", "attempt"), [(Counting.BEST, 2), (Counting.LAST, 4)])
def test_the_attempt_that_counts(database: Database, counting: Counting, attempt: int) -> None:
    """Of equally good attempts the first counts; one that waits for its verdict never does."""
    with database.write() as session:
        student = make_person(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, counting=counting)
        make_marked(session, assignment, student, 1, R1=MET, R2=NOT_MET)
        make_marked(session, assignment, student, 2, R1=MET, R2=MET)
        make_marked(session, assignment, student, 3, R1=MET, R2=MET)
        make_marked(session, assignment, student, 4, R1=NOT_MET, R2=NOT_MET)
        make_submission(session, assignment, student, 5)
        standing = gradebook.standings_of(session, student.id, [assignment.id])[assignment.id]
        assert (standing.attempt, standing.attempts, standing.queued) == (attempt, 5, 1)
        assert standing.complete == (counting is Counting.BEST)


@pytest.mark.parametrize(
    ("late", "per_day", "left"), [(0, 0.1, 8.0), (3, 0.25, 2.0), (4, 0.25, 0.0), (30, 0.25, 0.0)]
)
def test_a_late_attempt_keeps_no_less_than_zero_points(
    late: int, per_day: float, left: float
) -> None:
    assert points_left(8.0, late, per_day) == left


def test_one_row_per_student_and_one_cell_per_requirement(database: Database) -> None:
    with database.write() as session:
        ada, ben, cem = (make_person(session, name=name) for name in ("Ada", "ben", "Cem"))
        teacher = make_person(session, name="Teacher")
        section = make_section(
            session,
            (cem, SectionRole.STUDENT),
            (ben, SectionRole.STUDENT),
            (ada, SectionRole.STUDENT),
            (teacher, SectionRole.INSTRUCTOR),
        )
        assignment = make_assignment(session, section)
        late = NOON + timedelta(days=8)
        make_marked(session, assignment, ben, submitted_at=late, R1=MET, R2a=NOT_MET, R2b=MET)
        make_submission(session, assignment, cem)
        make_marked(session, assignment, teacher, R1=MET, R2a=MET, R2b=MET)
        book = gradebook.gradebook(session, assignment)
        assert [row.student.name for row in book.rows] == ["Ada", "ben", "Cem"]
        assert book.requirements == ("R1", "R2a", "R2b")
        nothing, marked, waiting = book.rows
        assert nothing.standing == Standing()
        assert marked.standing.results == {"R1": MET, "R2a": NOT_MET, "R2b": MET}
        assert (marked.standing.score, marked.standing.late) == (2, True)
        assert (waiting.standing.attempts, waiting.standing.queued) == (1, 1)
        assert waiting.standing.score is None
        assert (book.counted, book.met_by("R1"), book.met_by("R2a")) == (1, 1, 0)
        assert gradebook.progress_of(session, [assignment.id]) == {
            assignment.id: AssignmentProgress(begun=0, submitted=2, complete=0, queued=1)
        }


def fill(database: Database, students: int) -> Assignment:
    with database.write() as session:
        people = [make_person(session) for _ in range(students)]
        section = make_section(session, *((each, SectionRole.STUDENT) for each in people))
        assignment = make_assignment(session, section)
        for each in people:
            make_marked(session, assignment, each, R1=MET, R2=MET)
    return assignment


def test_the_number_of_queries_does_not_grow_with_the_section(database: Database) -> None:
    counts = []
    for students in (2, 20):
        assignment = fill(database, students)
        statements: list[str] = []

        def note(_c: object, _cur: object, statement: str, *_: object) -> None:
            statements.append(statement.split(maxsplit=1)[0])  # noqa: B023

        event.listen(Engine, "before_cursor_execute", note)
        try:
            with database.read() as session:
                gradebook.gradebook(session, assignment)
        finally:
            event.remove(Engine, "before_cursor_execute", note)
        counts.append(statements.count("SELECT"))
    assert counts == [5, 5]
