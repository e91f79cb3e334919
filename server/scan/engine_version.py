"""The engine version: a hash of every compiled source."""

import hashlib
from importlib.metadata import version
from pathlib import Path

_SERVER = Path(__file__).resolve().parent.parent

COMPILED_SOURCES: tuple[str, ...] = (
    "scan/engine_version.py",
    "scan/instructions.py",
    "scan/jit.py",
    "scan/lanes.py",
    "scan/arithmetic.py",
    "scan/kernel.py",
    "plant/physics.py",
    "plant/loop.py",
    "marking/causes/rehearsal.py",
    "marking/proofs/random_timeline.py",
    "marking/proofs/search.py",
)
"""Files with jitted code or constants that it reads, below ``server``."""


def _engine_version() -> str:
    digest = hashlib.sha256(version("numba").encode())
    for name in COMPILED_SOURCES:
        path = _SERVER / name
        if path.exists():
            digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


ENGINE_VERSION = _engine_version()
