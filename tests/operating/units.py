"""Holds the systemd units of the operating guide against `systemd-analyze verify`.

    uv run python -m tests.operating.units

It needs systemd on the machine, so it is started by hand.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.operating.guide import blocks


def main() -> int:
    """Print what systemd says of the units; return its exit status."""
    with tempfile.TemporaryDirectory() as name:
        files = []
        for block in blocks():
            if block.file.startswith("/etc/systemd/"):
                file = Path(name) / Path(block.file).name
                # What isn't installed here: any program and any file stand for it.
                text = block.text.replace("/opt/rungmark/bin/rungmark", sys.executable)
                file.write_text(text.replace("/etc/rungmark.env", "/etc/hostname"))
                files.append(file)
        print(*(file.name for file in files))
        return subprocess.run(["systemd-analyze", "verify", *files], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
