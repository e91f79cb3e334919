"""The folder of compiled kernels, named by the engine version.

A cached jitted caller does not notice an edit in another file, so the folder of numba's cache is
named by the hash of them all. The package imports this module before any function is decorated.

What lies there is loaded as code. So it is a folder of this user's that nobody else can write,
below folders in which nobody else can exchange it.
"""

import atexit
import logging
import os
import shutil
import stat
import sys
import tempfile
from pathlib import Path

from server.scan.engine_version import ENGINE_VERSION

log = logging.getLogger(__name__)


def cache_folder() -> Path:
    """Return the folder of compiled kernels for this engine version; made when it is missing.

    RUNGMARK_CACHE names its parent; otherwise the user's cache folder, or a folder of the user's in
    the temporary one where that can't be used. If others could write in all of them, it is one for
    this process only.
    """
    named = os.environ.get("RUNGMARK_CACHE")
    home = os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    mode = "-checked" if os.environ.get("NUMBA_BOUNDSCHECK") == "1" else ""
    name = f"engine-{ENGINE_VERSION}{mode}"
    for parent in (named, home):
        if parent and (folder := _own(Path(parent).expanduser() / "rungmark", name)):
            return folder
    # Others write here, too: the name tells whose it is, and it is refused if it is not.
    if folder := _own(Path(tempfile.gettempdir()) / f"rungmark-{_user()}", name):
        return folder
    log.warning(
        "There is no folder for compiled kernels that only this user can write, so they are "
        "compiled at every start. Name one in RUNGMARK_CACHE."
    )
    passing = tempfile.mkdtemp(prefix="rungmark-")
    atexit.register(shutil.rmtree, passing, ignore_errors=True)
    return Path(passing)


def has_kernels() -> bool:
    """Return whether the kernel is compiled already, as a former process left it."""
    return any(Path(os.environ["NUMBA_CACHE_DIR"]).rglob("kernel.execute-*.nbi"))


def _own(parent: Path, name: str) -> Path | None:
    """``parent / name``, both made for this user alone; None if others could put code there."""
    try:
        parent = parent.absolute()
        parent.parent.mkdir(parents=True, exist_ok=True)
        # Links among the folders above are followed; where they end up is what has to be safe.
        parent = parent.parent.resolve() / parent.name
        if not all(_is_kept(each) for each in parent.parents):
            return None
        for folder in (parent, parent / name):
            folder.mkdir(mode=0o700, exist_ok=True)
            if not _is_own(folder):
                return None
            folder.chmod(0o700)
    except OSError:
        return None
    return parent / name if os.access(parent / name, os.W_OK) else None


def _is_own(folder: Path) -> bool:
    """Return whether it is a folder, and no link to one, that belongs to this user."""
    found = folder.lstat()
    return stat.S_ISDIR(found.st_mode) and found.st_uid == _user()


def _is_kept(folder: Path) -> bool:
    """Return whether nobody else can exchange what this user has in the folder."""
    found = folder.stat()
    shared = found.st_mode & (stat.S_IWGRP | stat.S_IWOTH) and not found.st_mode & stat.S_ISVTX
    return found.st_uid in (0, _user()) and not shared


def _user() -> int:
    # On Windows folders have other rights, and every user has a temporary folder of their own.
    return os.geteuid() if hasattr(os, "geteuid") else 0


os.environ["NUMBA_CACHE_DIR"] = str(cache_folder())
if "numba" in sys.modules:
    setattr(sys.modules["numba.core.config"], "CACHE_DIR", os.environ["NUMBA_CACHE_DIR"])  # noqa: B010
