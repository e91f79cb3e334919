"""An upgrade counts the standings of what was handed in before."""

from sqlalchemy import select, text

from server.store.database import Database
from server.store.migration import migrate
from server.store.standings import CountingAttempt
from tests.store.earlier import REVISIONS, add_first_rows

# (assignment, student, attempt, day of October at noon, points of R1 and R2; None: in the queue)
# Student 3 passes at the second of three attempts; 4 has one that waits; 5 hands in nothing.
# Both assignments are due when October 9 begins.
TRIED: tuple[tuple[int, int, int, int, tuple[float, float] | None], ...] = (
    *((1, 3, 1, 6, (1.0, 0.0)), (1, 3, 2, 7, (1.0, 1.0)), (1, 3, 3, 8, (0.0, 1.0))),
    *((1, 4, 1, 10, (0.0, 0.0)), (1, 4, 2, 11, None)),
    *((2, 3, 1, 6, (1.0, 1.0)), (2, 3, 2, 8, (0.0, 1.0)), (2, 4, 1, 7, (1.0, 0.0))),
)


def add_attempts(database: Database) -> None:
    """More work as the first version stored it: a second assignment at which the last counts."""

    def noon(day: int, second: int = 0) -> str:
        zone = ".000000" if database.is_sqlite else "+00:00"
        return f"2026-10-{day:02} 12:00:{second:02}{zone}"

    with database.engine.begin() as connection:
        for user in (3, 4, 5):
            connection.execute(
                text(
                    "INSERT INTO users (id, email, name, listed_as, role) VALUES "
                    f"({user}, 'u{user}@larkmoor.example', 'U', 'U', 'student')"
                )
            )
            connection.execute(text(f"INSERT INTO enrolments VALUES (1, {user}, 'student')"))
        connection.execute(
            text(
                "INSERT INTO assignments (id, section_id, exercise, title, opens_at, due_at, "
                "counting, feedback, feedback_from_attempt, feedback_after_due) SELECT 2, "
                "section_id, 'case-lift', 'Case lift', opens_at, due_at, 'last', feedback, "
                "feedback_from_attempt, feedback_after_due FROM assignments"
            )
        )
        for id, (assignment, user, attempt, day, points) in enumerate(TRIED, 2):
            state = "queued" if points is None else "marked"
            connection.execute(
                text(
                    "INSERT INTO submissions (id, assignment_id, user_id, attempt, program, "
                    f"submitted_at, state) VALUES ({id}, {assignment}, {user}, {attempt}, '{{}}', "
                    f"'{noon(day)}', '{state}')"
                )
            )
            if points is None:
                continue
            connection.execute(
                text(
                    "INSERT INTO verdicts (submission_id, exercise_version, suite_hash, "
                    "engine_version, score, max_score, document, marked_at) VALUES "
                    f"({id}, 1, 's', 'e', {sum(points)}, 2.0, '{{}}', '{noon(day, 1)}')"
                )
            )
            for place, score in enumerate(points):
                status = "met" if score else "not met"
                connection.execute(
                    text(
                        "INSERT INTO requirement_results (submission_id, requirement, position, "
                        f"status, known_by, score, max_score) VALUES ({id}, 'R{place + 1}', "
                        f"{place}, '{status}', '', {score}, 1.0)"
                    )
                )


def standings(database: Database) -> dict[tuple[int, int], dict[str, object]]:
    with database.read() as session:
        return {
            (row.assignment_id, row.user_id): {
                column.key: getattr(row, column.key) for column in CountingAttempt.__table__.columns
            }
            for row in session.scalars(select(CountingAttempt))
        }


def test_standings_are_counted_anew_after_an_upgrade(empty: Database) -> None:
    migrate(empty, REVISIONS[0])
    add_first_rows(empty)
    add_attempts(empty)
    migrate(empty, "0007")
    with empty.engine.begin() as connection:
        # Students 3 and 4 become partners before the last migrations.
        connection.execute(text("UPDATE assignments SET in_pairs = true WHERE id = 2"))
        connection.execute(text("INSERT INTO partners VALUES (2, 3, 4), (2, 4, 3)"))
    migrate(empty)
    counted = standings(empty)
    passed = {place: row["passed_after"] for place, row in counted.items()}
    assert passed == {(1, 1): None, (1, 3): 2, (1, 4): None, (2, 3): 1, (2, 4): 1}
    assert counted[1, 3]["attempt"] == 2
    # At noon on October 10, due when October 9 began: late by calendar days.
    assert (counted[1, 4]["queued"], counted[1, 4]["days_late"]) == (1, 1)
    assert counted[2, 3]["attempt"] == 2
    assert counted[2, 4]["submission_id"] == counted[2, 3]["submission_id"]


def test_a_start_without_an_upgrade_counts_nothing(empty: Database) -> None:
    migrate(empty, REVISIONS[0])
    add_first_rows(empty)
    add_attempts(empty)
    migrate(empty)
    with empty.engine.begin() as connection:
        connection.execute(text("UPDATE standings SET attempts = 7"))
    migrate(empty)
    assert {row["attempts"] for row in standings(empty).values()} == {7}
