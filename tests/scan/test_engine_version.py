"""The engine version follows every compiled source and names the cache folder."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from server.scan import cache_folder, engine_version

SERVER = Path(engine_version.__file__).resolve().parent.parent


def version_of(root: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-c", "import server.scan.engine_version as e; print(e.ENGINE_VERSION)"],
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A root with the compiled sources and what importing the engine version needs."""
    for name in (
        "__init__.py",
        "scan/__init__.py",
        "scan/cache_folder.py",
        *engine_version.COMPILED_SOURCES,
    ):
        target = tmp_path / "server" / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(SERVER / name, target)
    return tmp_path


def test_an_edit_of_a_compiled_source_is_another_engine_version(copy: Path) -> None:
    assert version_of(copy) == engine_version.ENGINE_VERSION
    kernel = copy / "server" / "scan" / "kernel.py"
    kernel.write_text(kernel.read_text() + "\n# edited\n")
    edited = version_of(copy)
    assert edited != engine_version.ENGINE_VERSION
    lanes = copy / "server" / "scan" / "lanes.py"
    lanes.write_text(lanes.read_text() + "\n# edited\n")
    assert version_of(copy) not in (edited, engine_version.ENGINE_VERSION)


def test_every_file_with_compiled_code_is_part_of_the_version() -> None:
    """Remedy: add the file to COMPILED_SOURCES."""
    jitted = {
        path.relative_to(SERVER).as_posix()
        for path in SERVER.rglob("*.py")
        if any(name in path.read_text() for name in ("from numba import", "server.scan.jit"))
    }
    assert jitted <= set(engine_version.COMPILED_SOURCES)


def test_the_cache_folder_is_named_by_the_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNGMARK_CACHE", str(tmp_path))
    monkeypatch.delenv("NUMBA_BOUNDSCHECK", raising=False)
    folder = cache_folder.cache_folder()
    assert folder == tmp_path / "rungmark" / f"engine-{engine_version.ENGINE_VERSION}"
    assert folder.is_dir()
    monkeypatch.setenv("NUMBA_BOUNDSCHECK", "1")
    assert cache_folder.cache_folder().name == f"{folder.name}-checked"


def test_another_folder_is_taken_where_the_named_one_cannot_be_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("in the way")
    monkeypatch.setenv("RUNGMARK_CACHE", str(blocked))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    assert cache_folder.cache_folder().is_relative_to(tmp_path / "home")


def test_numba_keeps_its_files_there() -> None:
    assert os.environ["NUMBA_CACHE_DIR"] == str(cache_folder.cache_folder())


@pytest.mark.parametrize("how", ["open", "open above", "a link"])
def test_a_folder_in_which_others_could_put_code_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    named = tmp_path / "shared"
    folder = named / "rungmark"
    folder.mkdir(parents=True)
    if how == "open":
        # It is this user's, so it is closed and then used.
        folder.chmod(0o777)
    elif how == "open above":
        named.chmod(0o777)
    else:
        folder.rmdir()
        (tmp_path / "elsewhere").mkdir()
        folder.symlink_to(tmp_path / "elsewhere")
    monkeypatch.setenv("RUNGMARK_CACHE", str(named))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    found = cache_folder.cache_folder()
    assert found.is_relative_to(named if how == "open" else tmp_path / "home")
    assert {each.stat().st_mode & 0o777 for each in (found, found.parent)} == {0o700}


def test_where_every_folder_is_anothers_the_process_has_one_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("RUNGMARK_CACHE", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    # As another user, to whom none of what is made here belongs.
    monkeypatch.setattr(os, "geteuid", lambda: 12345)
    found = cache_folder.cache_folder()
    assert found.parent == tmp_path
    assert found.name.startswith("rungmark-")
    assert found.stat().st_mode & 0o777 == 0o700
    assert list(found.iterdir()) == []
