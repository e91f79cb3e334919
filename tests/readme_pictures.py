"""Makes the README's pictures anew: ``uv run python -m tests.readme_pictures``.

It serves the demo course on a free port from a new folder, works a little in it as a student, and
takes a verdict, a trial run and the rungs of an exercise sheet.
"""

import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, sync_playwright

PICTURES = Path(__file__).parents[1] / ".pictures"
STUDENT, PASSWORD = "amara.okonjo@larkmoor.example", "larkmoor-lab"
SIZE: ViewportSize = {"width": 1280, "height": 800}


def free_port() -> str:
    """A port that nobody listens at just now."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        return str(listening.getsockname()[1])


@contextmanager
def served(folder: str) -> Iterator[str]:
    """The address of the demo course."""
    command = [sys.executable, "-m", "server.cli", "serve", "--demo", "--port", free_port()]
    process = subprocess.Popen(
        [*command, "--data", folder], stdout=subprocess.PIPE, text=True, bufsize=1
    )
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if found := re.search(r"http://127\.0\.0\.1:\d+", line):
                yield found[0]
                return
        raise RuntimeError("the server ended without an address")
    finally:
        process.terminate()
        process.wait(30)


def take(page: Page, name: str, heading: str) -> None:
    """A picture of the window, with a heading of the sheet at its top."""
    page.get_by_role("heading", name=re.compile(f"{heading}$")).first.evaluate(
        "heading => window.scrollTo(0, heading.getBoundingClientRect().top + scrollY - 24)"
    )
    page.wait_for_timeout(300)
    page.screenshot(path=PICTURES / f"{name}.png")


def open_worked_on(page: Page) -> None:
    """Open the first exercise in which the student has an attempt."""
    page.wait_for_selector("a[href^='/assignments/']")
    links = page.locator("a[href^='/assignments/']").all()
    for address in [link.get_attribute("href") or "" for link in links]:
        page.goto(page.url.partition("/assignments/")[0].rstrip("/") + address)
        if page.get_by_role("link", name=re.compile("^Attempt")).count():
            return
    raise RuntimeError("the student of the demo course has no attempt")


def main() -> None:
    """Take the three pictures."""
    PICTURES.mkdir(exist_ok=True)
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
    with (
        tempfile.TemporaryDirectory() as folder,
        served(folder) as address,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=chromium, args=arguments)
        page = browser.new_page(viewport=SIZE)
        page.goto(address)
        page.fill("input[name=email]", STUDENT)
        page.fill("input[type=password]", PASSWORD)
        page.keyboard.press("Enter")
        open_worked_on(page)
        take(page, "rungs", "Program")
        page.get_by_role("link", name=re.compile("^Attempt")).first.click()
        take(page, "verdict", "Requirements")
        page.get_by_role("link", name="Exercise").click()
        page.wait_for_selector("html.editing")
        page.get_by_role("button", name="Run", exact=True).click()
        page.get_by_role("button", name=re.compile("HS-")).first.click()
        page.wait_for_timeout(6000)
        take(page, "trial", "Program")
        browser.close()


if __name__ == "__main__":
    main()
