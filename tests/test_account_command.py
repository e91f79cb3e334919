"""`rungmark account`: what is done where no administrator can sign in."""

import shutil
from pathlib import Path

import pyotp
import pytest

from server.cli import main
from server.store.database import Database
from server.store.people import Role
from server.store.second_factors import begin_factor, confirm_factor, has_factor
from tests.factories import NOON, make_user


def test_second_factor_is_removed(
    database: Database, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with database.write() as session:
        user = make_user(session, Role.ADMINISTRATOR)
        code = pyotp.TOTP(begin_factor(session, user.id, "")).at(NOON)
        assert confirm_factor(session, user.id, code, NOON, "")
    database.close()
    data = tmp_path / "data"
    data.mkdir()
    shutil.copy(tmp_path / "rungmark.db", data)
    words = ["account", "remove-second-factor", user.email.upper(), "--data", str(data)]
    assert main(words) == 0
    assert f"The second factor of {user.email} is removed" in capsys.readouterr().out
    assert main(words) == 2
    assert "has no second factor" in capsys.readouterr().err
    assert main([*words[:2], "nobody@larkmoor.example", *words[3:]]) == 2
    assert "There is no account" in capsys.readouterr().err
    changed = Database(f"sqlite:///{data}/rungmark.db")
    with changed.read() as session:
        assert not has_factor(session, user.id)
    changed.close()
