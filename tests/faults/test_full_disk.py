"""A disk on which nothing more can be written: what is told, and that nothing is half stored."""

import os
import subprocess
import sys
from pathlib import Path

from sqlalchemy import text

from server.store.database import Database
from tests.faults.class_at_work import handing_in, make_class, submissions, verdicts
from tests.faults.processes import IN_BOUNDS, serving, until

TOLD = (
    "The server&#39;s disk can&#39;t be written; it may be full. Nothing was stored. "
    "Tell whoever runs the server, then try again."
)


def size_of(database: Database) -> int:
    with database.read() as session:
        size: int = (
            session.connection()
            .exec_driver_sql(
                "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size"
            )
            .scalar_one()
        )
    return size


def test_a_class_hands_in_while_the_disk_gets_full(database: Database, tmp_path: Path) -> None:
    """Some are accepted and the others told; once there is room again, all of it is marked."""
    students = make_class(database, 12)
    database.close()
    # The log of writes has room for some of them.
    with serving(database, tmp_path, full_at=size_of(database) // 2) as (process, address):
        with handing_in(students, address) as answers:
            pass
        assert answers.accepted
        assert answers.refused
        assert all(TOLD in each for each in answers.refused), answers.refused
        # It still shows what it has.
        with students[0].client(address) as client:
            assert client.get("/").status_code == 200
        assert process.poll() is None
    assert sorted(answers.accepted) == submissions(database)
    with database.read() as session:
        assert session.scalar(text("PRAGMA integrity_check")) == "ok"
    with serving(database, tmp_path) as (_, address):
        with handing_in(students, address) as again:
            pass
        assert len(again.accepted) == len(students) - len(answers.accepted)
        until(lambda: len(verdicts(database)) == len(students), "all verdicts")
    assert submissions(database) == verdicts(database)


def test_a_backup_on_a_disk_that_gets_full(database: Database, tmp_path: Path) -> None:
    make_class(database, 4)
    target = tmp_path / "course.backup"
    before = sorted(path.name for path in tmp_path.iterdir())
    words = ["backup", str(target), "--data", str(tmp_path)]
    full = subprocess.run(
        [sys.executable, "-c", IN_BOUNDS, str(size_of(database) // 2), *words],
        env=os.environ | {"RUNGMARK_DATABASE_URL": database.place},
        capture_output=True,
        text=True,
        check=False,
    )
    assert full.returncode == 2
    assert full.stdout == ""
    assert full.stderr.startswith(f"rungmark backup: The backup {target} can't be written: ")
    assert len(full.stderr.splitlines()) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == before
