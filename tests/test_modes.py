"""Compiled code in other modes: with its indices checked, and without compilation.

It stays inside its memory, and computes the same bytes. Both digests run the kernel: the second one
finds it compiled.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.plant import digest as plant
from tests.scan import digest as scan

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("mode", ["NUMBA_BOUNDSCHECK", "NUMBA_DISABLE_JIT"])
def test_a_checked_run_gives_the_same_bytes(mode: str) -> None:
    assert output_of(plant.__name__, mode) == [plant.digest()]
    assert output_of(scan.__name__, mode) == [scan.digest(), "True"]


def output_of(module: str, mode: str) -> list[str]:
    """Words that ``python -m module`` prints in this mode."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", module],
        cwd=ROOT,
        env={**os.environ, mode: "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()
