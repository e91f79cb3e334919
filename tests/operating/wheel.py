"""Builds the wheel, installs it by the pinned packages elsewhere, and serves with it.

    uv run python -m tests.operating.wheel

Takes a minute and the package registry, so it is started by hand. The steps are those of
`.build/Containerfile`; nothing of the repository is reachable from where the server runs.
"""

import os
import signal
import socket
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.request import urlopen

from server.paths import PACKAGE

ROOT = PACKAGE.parent
PAGES = ("/sign-in", "/help/operating", "/help/authoring", "/static/vendor/htmx/htmx.min.js")


def main() -> None:
    """Print each step; raise CalledProcessError or HTTPError at the first that fails."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rungmark = install(folder)
        elsewhere = folder / "elsewhere"
        elsewhere.mkdir()
        run(rungmark, "--version", folder=elsewhere)
        run(rungmark, "check", "apple-wash-sump", folder=elsewhere)
        run(rungmark, "account", "add", "ada@larkmoor.example", "--data", "data", folder=elsewhere)
        serve(rungmark, elsewhere)
    print("The wheel runs outside the repository.")


def install(folder: Path) -> Path:
    """Return the command of the wheel, in an environment that has the pinned packages alone."""
    run("uv", "build", "--quiet", "--wheel", "--out-dir", folder / "wheels", folder=ROOT)
    (wheel,) = (folder / "wheels").glob("*.whl")
    python = folder / "venv/bin/python"
    run("uv", "venv", "--quiet", "--python", sys.executable, folder / "venv", folder=folder)
    pip = ("uv", "pip", "install", "--quiet", "--python", python)
    run(*pip, "--require-hashes", "-r", ROOT / ".build/constraints.txt", folder=folder)
    run(*pip, "--no-deps", wheel, folder=folder)
    return folder / "venv/bin/rungmark"


def serve(rungmark: Path, folder: Path) -> None:
    """Serve until each of PAGES is answered; stop with SIGINT."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    command = [str(rungmark), "serve", "--port", str(port), "--data", "data"]
    with subprocess.Popen(
        command, cwd=folder, env=environment(), stdout=subprocess.PIPE, text=True
    ) as server:
        try:
            assert server.stdout is not None
            for line in server.stdout:
                print(line, end="")
                if line.startswith("Rungmark is at"):
                    break
            for page in PAGES:
                with urlopen(f"http://127.0.0.1:{port}{page}", timeout=60) as answer:
                    print(page, answer.status, len(answer.read()), "bytes")
        finally:
            server.send_signal(signal.SIGINT)
    assert server.returncode == 0


def run(*words: str | Path, folder: Path) -> None:
    print("$", *words, flush=True)
    subprocess.run(words, cwd=folder, env=environment(), check=True)


def environment() -> dict[str, str]:
    """Return the environment without what leads back to this repository."""
    return {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL_ENV"))}


if __name__ == "__main__":
    main()
