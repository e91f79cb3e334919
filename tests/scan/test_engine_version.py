"""The engine version follows every compiled source and names the cache folder."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from server.scan import engine_version

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
    for name in ("__init__.py", "scan/__init__.py", *engine_version.COMPILED_SOURCES):
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
    folder = engine_version.cache_folder()
    assert folder == tmp_path / "rungmark" / f"engine-{engine_version.ENGINE_VERSION}"
    assert folder.is_dir()
    monkeypatch.setenv("NUMBA_BOUNDSCHECK", "1")
    assert engine_version.cache_folder().name == f"{folder.name}-checked"


def test_another_folder_is_taken_where_the_named_one_cannot_be_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("in the way")
    monkeypatch.setenv("RUNGMARK_CACHE", str(blocked))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    assert engine_version.cache_folder().is_relative_to(tmp_path / "home")


def test_numba_keeps_its_files_there() -> None:
    assert os.environ["NUMBA_CACHE_DIR"] == str(engine_version.cache_folder())
