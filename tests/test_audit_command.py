"""`rungmark audit`: whole or not by its exit status, and a range of the log as CSV."""

import csv
import io
import shutil
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from server.cli import main
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.database import Database
from tests.factories import NOON, make_section, make_user


@pytest.fixture
def log(database: Database, tmp_path: Path) -> list[str]:
    """A log of three days; the command's words."""
    with database.write() as session:
        actor, section = make_user(session, name="=Nguyễn"), make_section(session)
    for day in range(3):
        with database.write() as session:
            when = NOON + timedelta(days=day)
            note(session, when, actor.id, Action.MADE_LINK, section.id, person_id=actor.id)
    database.close()
    data = tmp_path / "data"
    data.mkdir()
    shutil.copy(tmp_path / "rungmark.db", data)
    return ["audit", "--data", str(data)]


def test_a_range_is_printed_and_the_log_told_whole(
    log: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*log, "--from", "2026-10-06", "--to", "2026-10-06"]) == 0
    printed = capsys.readouterr()
    head, line = csv.reader(io.StringIO(printed.out))
    assert head[:4] == ["Line", "When (UTC)", "Who", "What"]
    assert line[:5] == ["2", "2026-10-06 12:00:00", "'=Nguyễn", "made password link", "'=Nguyễn"]
    assert "The log is whole: 3 lines." in printed.err


def test_what_an_earlier_check_printed_must_still_be_there(
    log: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(log) == 0
    known = capsys.readouterr().err.split()[-1]
    assert main([*log, "--expect", known]) == 0
    # Somebody who may write the database can make the chain anew, but not the hash that was kept.
    assert main([*log, "--expect", f"3:{'0' * 64}"]) == 1
    assert "Line 3 is not the one that was there" in capsys.readouterr().err
    database = Database(f"sqlite:///{tmp_path}/data/rungmark.db")
    with database.write() as session:
        session.execute(text("UPDATE audit_events SET detail = 'no' WHERE number = 1"))
    database.close()
    assert main(log) == 1
    assert "The detail of line 1 was changed." in capsys.readouterr().err
