"""Copies, backups and what is restored: the same rows, the same verdicts, the same gradebook."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from server.marking.verdict import Status
from server.store import transfer
from server.store.courses import Assignment, SectionRole
from server.store.database import Database, DatabaseTrouble
from server.store.gradebook import Standing, standings_in
from server.store.migration import ALL_TABLES, migrate
from server.store.transfer import Content, back_up, contents, copy, restore
from tests.factories import make_assignment, make_marked, make_section, make_submission, make_user
from tests.postgresql import PostgreSQL
from tests.store.earlier import add_first_rows


@pytest.fixture
def assignment(database: Database) -> Assignment:
    """Two marked attempts and one that waits; texts with signs from afar."""
    with database.write() as session:
        first, second = make_user(session, name="Željko Ø’Hara 水"), make_user(session)
        section = make_section(session, (first, SectionRole.STUDENT), (second, SectionRole.STUDENT))
        assignment = make_assignment(session, section)
        make_marked(session, assignment, first, R1=Status.MET, R2=Status.NOT_MET)
        make_marked(session, assignment, second, R1=Status.MET, R2=Status.MET)
        make_submission(session, assignment, second, 2, program={"rungs": [0.1, 1e300, "\x00é"]})
    return assignment


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty database without tables."""
    if request.param == "postgresql":
        server: PostgreSQL = request.getfixturevalue("postgres")
        with server.database("template0") as database:
            yield database
        return
    with closing(Database(f"sqlite:///{tmp_path / 'target.db'}")) as database:
        yield database


def held(database: Database) -> dict[str, Content]:
    with database.read() as session:
        return contents(session.connection())


def gradebook(database: Database, assignment: Assignment) -> dict[int, Standing]:
    with database.read() as session:
        return standings_in(session, session.get_one(Assignment, assignment.id))


def test_a_copy_is_the_same_and_goes_on(
    database: Database, target: Database, assignment: Assignment
) -> None:
    found = copy(database, target)
    assert found == held(target) == held(database)
    assert found["submissions"].rows == 3
    assert gradebook(target, assignment) == gradebook(database, assignment)
    with target.write() as session:
        # New ids go on after those that were copied.
        make_user(session)


def test_a_database_that_holds_something_is_not_written_over(
    database: Database, target: Database, assignment: Assignment
) -> None:
    copy(database, target)
    before = held(target)
    with database.write() as session:
        make_user(session)
    with pytest.raises(DatabaseTrouble, match="holds something already"):
        copy(database, target)
    assert held(target) == before
    assert copy(database, target, over=True) == held(target) == held(database)


def test_a_copy_that_is_not_the_same_is_taken_back(
    database: Database, target: Database, assignment: Assignment, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(transfer, "contents", lambda _connection: {
        table.name: Content(0, "") for table in ALL_TABLES.sorted_tables
    })  # fmt: skip
    with pytest.raises(DatabaseTrouble, match="is not what"):
        copy(database, target)
    monkeypatch.undo()
    assert all(content.rows == 0 for content in held(target).values())


def test_after_a_wipe_a_backup_brings_the_same_gradebook(
    database: Database, target: Database, assignment: Assignment, tmp_path: Path
) -> None:
    file = tmp_path / "course.backup"
    before, marks = held(database), gradebook(database, assignment)
    assert back_up(database, file) == before
    database.close()
    assert restore(file, target) == before
    assert gradebook(target, assignment) == marks
    assert sorted(path.name for path in tmp_path.glob("course*")) == ["course.backup"]


def test_a_backup_is_not_written_over(
    database: Database, assignment: Assignment, tmp_path: Path
) -> None:
    file = tmp_path / "course.backup"
    back_up(database, file)
    with pytest.raises(DatabaseTrouble, match="exists already"):
        back_up(database, file)


def test_a_file_that_is_no_backup_is_told(target: Database, tmp_path: Path) -> None:
    file = tmp_path / "course.backup"
    with pytest.raises(DatabaseTrouble, match="There is no backup"):
        restore(file, target)
    file.write_text("a lab report, not a backup\n" * 100)
    with pytest.raises(DatabaseTrouble, match="can't be read: file is not a database"):
        restore(file, target)


def test_a_backup_into_a_folder_that_is_missing(
    database: Database, assignment: Assignment, tmp_path: Path
) -> None:
    missing = tmp_path / "missing" / "course.backup"
    with pytest.raises(DatabaseTrouble, match="can't be"):
        back_up(database, missing)
    assert not missing.parent.exists()


def test_a_backup_of_an_earlier_version_is_brought_up_to_date(
    target: Database, tmp_path: Path
) -> None:
    file = tmp_path / "first.backup"
    with closing(Database(f"sqlite:///{file}")) as old:
        migrate(old, "0001")
        add_first_rows(old)
    kept = file.read_bytes()
    found = restore(file, target)
    assert found["users"].rows == 2
    assert found["submissions"].rows == 1
    assert file.read_bytes() == kept
