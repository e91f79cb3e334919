"""Compiled code in other modes: with its indices checked, and without compilation."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

MODES = ("NUMBA_BOUNDSCHECK", "NUMBA_DISABLE_JIT")


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
