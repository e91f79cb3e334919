"""Holds the systemd units of the operating guide against `systemd-analyze verify`.

    uv run python -m tests.operating.units

It needs systemd on the machine, so it is started by hand.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path
from textwrap import dedent

from server.paths import TEMPLATES


def units() -> dict[str, str]:
    """Return the units by their file names, as the guide has them."""
    guide = (TEMPLATES / "help" / "operating.md").read_text("utf-8")
    found = re.findall(
        r"`/etc/systemd/system/([\w-]+\.service)`:\n\n((?:    .*\n|\n)+)", guide, re.MULTILINE
    )
    return {name: dedent(text) for name, text in found}


def main() -> int:
    """Print what systemd says of the units; return its exit status."""
    with tempfile.TemporaryDirectory() as name:
        files = []
        for unit, text in units().items():
            file = Path(name) / unit
            # The command is not installed here; any program stands for it.
            file.write_text(text.replace("/opt/rungmark/bin/rungmark", sys.executable))
            files.append(file)
        print(*(file.name for file in files))
        return subprocess.run(["systemd-analyze", "verify", *files], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
