"""Databases as earlier versions of the program left them."""

from alembic.script import ScriptDirectory
from sqlalchemy import text

from server.paths import MIGRATIONS
from server.store.database import Database

REVISIONS = [script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions()][::-1]
"""From the first to the newest; numbers are names and give no order."""

# Rows in the tables of the first version, as it wrote them.
FIRST_ROWS = (
    "INSERT INTO users (id, email, name, listed_as, role) VALUES "
    "(1, 'a@larkmoor.example', 'A', 'A', 'student'), "
    "(2, 'b@larkmoor.example', 'B', 'B', 'instructor')",
    "INSERT INTO courses (id, code, title) VALUES (1, 'AUT 131', 'Control logic laboratory')",
    "INSERT INTO terms (id, name, begins, ends) VALUES (1, 'Fall', '2026-08-24', '2026-12-18')",
    "INSERT INTO sections (id, course_id, term_id, number) VALUES (1, 1, 1, '01')",
    "INSERT INTO enrolments (section_id, user_id, role) VALUES "
    "(1, 1, 'student'), (1, 2, 'instructor')",
    "INSERT INTO assignments (id, section_id, exercise, title, opens_at, due_at, counting, "
    "feedback, feedback_from_attempt, feedback_after_due) VALUES (1, 1, 'apple-wash-sump', "
    "'Apple wash sump', '2026-10-01 00:00:00+00:00', '2026-10-09 00:00:00+00:00', 'best', "
    "'chart', 1, true)",
    "INSERT INTO submissions (id, assignment_id, user_id, attempt, program, submitted_at, state) "
    "VALUES (1, 1, 1, 1, '{}', '2026-10-05 12:00:00+00:00', 'marked')",
    "INSERT INTO verdicts (submission_id, exercise_version, suite_hash, engine_version, score, "
    "max_score, document, marked_at) VALUES (1, 1, 'suite', 'engine', 1.0, 2.0, '{}', "
    "'2026-10-05 12:00:01+00:00')",
    "INSERT INTO requirement_results (submission_id, requirement, position, status, known_by, "
    "score, max_score) VALUES (1, 'R1', 0, 'met', '3 scenarios', 1.0, 1.0), "
    "(1, 'R2', 1, 'not met', '', 0.0, 1.0)",
)


def add_first_rows(database: Database) -> None:
    with database.engine.begin() as connection:
        for statement in FIRST_ROWS:
            # SQLite keeps no time zone.
            zone = ".000000" if database.is_sqlite else "+00:00"
            connection.execute(text(statement.replace("+00:00", zone)))
