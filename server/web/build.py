"""Which versions run: of the program, its engine and Python."""

import platform
from importlib.metadata import version

from server.scan.engine_version import ENGINE_VERSION


def versions() -> dict[str, str]:
    """Return the versions by what they are of."""
    return {
        "version": version("rungmark"),
        "engine": ENGINE_VERSION,
        "python": platform.python_version(),
    }
