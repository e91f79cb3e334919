"""The kernel stays inside its memory, and computes the same bytes without compilation."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.scan.digest import digest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("mode", ["NUMBA_BOUNDSCHECK", "NUMBA_DISABLE_JIT"])
def test_a_checked_run_gives_the_same_bytes(mode: str) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "tests.scan.digest"],
        cwd=ROOT,
        env={**os.environ, mode: "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == [digest(), "True"]
