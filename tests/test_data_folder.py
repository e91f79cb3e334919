"""The data folder: who may read it, and that one server has it."""

import os
import stat
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from server.cli import main
from server.data_folder import held_alone, make_folder
from server.store.database import Database, DatabaseTrouble
from server.store.migration import migrate


@pytest.fixture(autouse=True)
def open_umask() -> Iterator[None]:
    """The umask of somebody who has not thought of it."""
    before = os.umask(0)
    yield
    os.umask(before)


def modes(folder: Path) -> dict[str, str]:
    return {each.name: oct(stat.S_IMODE(each.stat().st_mode)) for each in folder.iterdir()}


def test_a_second_server_on_the_same_data_is_refused(tmp_path: Path) -> None:
    with closing(Database(f"sqlite:///{tmp_path}/rungmark.db")) as database:
        with held_alone(database):
            second = closing(Database(database.place))
            with second as same, pytest.raises(DatabaseTrouble) as refused, held_alone(same):
                pass
            assert str(refused.value) == (
                f"Another Rungmark server uses the database sqlite:///{tmp_path}/rungmark.db. "
                "Stop it, or name another folder with --data."
            )
        with held_alone(database):
            pass


def test_all_files_are_readable_by_this_user_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    make_folder(data)
    assert stat.S_IMODE(data.stat().st_mode) == 0o700
    # What an earlier version left open is closed.
    data.chmod(0o755)
    make_folder(data)
    assert stat.S_IMODE(data.stat().st_mode) == 0o700
    with closing(Database(f"sqlite:///{data}/rungmark.db")) as database:
        migrate(database)
        assert modes(data)["rungmark.db"] == "0o644"
        with held_alone(database), database.write():
            assert set(modes(data).values()) == {"0o600"}
    monkeypatch.chdir(tmp_path)
    assert main(["backup", "kept.db", "--data", str(data)]) == 0
    os.umask(0)
    assert main(["restore", "kept.db", "--data", "other"]) == 0
    assert "Restored" in capsys.readouterr().out
    assert modes(tmp_path) == {"data": "0o700", "other": "0o700", "kept.db": "0o600"}
    assert set(modes(tmp_path / "other").values()) == {"0o600"}


def test_nothing_is_restored_below_a_running_server(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(Database(f"sqlite:///{tmp_path}/rungmark.db")) as database:
        migrate(database)
        backup = str(tmp_path / "kept.db")
        assert main(["backup", backup, "--data", str(tmp_path)]) == 0
        with held_alone(database):
            assert main(["restore", backup, "--over", "--data", str(tmp_path)]) == 2
            assert "Another Rungmark server uses the database" in capsys.readouterr().err


def test_a_folder_of_everybody_is_not_closed(tmp_path: Path) -> None:
    tmp_path.chmod(0o1777)
    make_folder(tmp_path)
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o1777
