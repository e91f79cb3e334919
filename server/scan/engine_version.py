"""The engine version: a hash of every compiled source, and the cache folder that it names.

A cached jitted caller does not notice an edit in another file, so the folder of numba's cache is
named by the hash. The package imports this module before any of its functions is decorated.
"""

import hashlib
import os
import sys
import tempfile
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


def cache_folder() -> Path:
    """The folder of compiled kernels for this engine version; made when it is missing.

    RUNGMARK_CACHE names its parent; otherwise the user's cache folder, or the temporary one where
    that can't be written.
    """
    named = os.environ.get("RUNGMARK_CACHE")
    home = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    mode = "-checked" if os.environ.get("NUMBA_BOUNDSCHECK") == "1" else ""
    for parent in (named, home, tempfile.gettempdir()):
        if not parent:
            continue
        folder = Path(parent).expanduser() / "rungmark" / f"engine-{ENGINE_VERSION}{mode}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return folder
    raise OSError("No folder for compiled kernels can be written. Name one in RUNGMARK_CACHE.")


os.environ["NUMBA_CACHE_DIR"] = str(cache_folder())
if "numba" in sys.modules:
    setattr(sys.modules["numba.core.config"], "CACHE_DIR", os.environ["NUMBA_CACHE_DIR"])  # noqa: B010
