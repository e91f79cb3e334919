"""A real server on loopback and a real Chromium, for journeys through the pages."""

import os
import shutil
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Thread
from time import sleep

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from fastapi import FastAPI
from playwright.sync_api import Browser, Page, expect, sync_playwright

from server.settings import Settings
from server.store.database import Database
from server.store.people import User
from server.web.access import COOKIE
from server.web.app import create_app
from tests.factories import EXERCISES, Clock, sign_in
from tests.postgresql import marked_beside

# Nothing here is judged by its speed, and a busy machine is slow.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)

WIDTHS = (1280, 400)
THEMES = ("light", "dark")
LOOKS = tuple(zip(WIDTHS, THEMES, strict=True))
"""Each width and each theme once: what depends on both is rare, and each look takes seconds."""


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if os.environ.get("RUNGMARK_TEST_BROWSER") == "firefox":
        firefox = shutil.which("firefox-esr")
        os.environ["NODE_OPTIONS"] = f"--require={Path(__file__).parent / 'firefox_driver.cjs'}"
        with sync_playwright() as playwright:
            browser = playwright.firefox.launch(channel="moz-firefox", executable_path=firefox)
            yield browser
            browser.close()
        return
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no Chromium here: install the package chromium")
    # Chromium's sandbox does not start for root.
    arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=arguments)
        yield browser
        browser.close()


@pytest.fixture
def exercises_folder() -> Path:
    """Where the server finds its exercises; a test may have others."""
    return EXERCISES


@pytest.fixture
def listening() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        yield listening


@pytest.fixture
def app(
    database: Database, clock: Clock, exercises_folder: Path, listening: socket.socket
) -> FastAPI:
    settings = Settings(
        database_url=database.place,
        public_urls=(f"http://127.0.0.1:{listening.getsockname()[1]}",),
        exercises=exercises_folder,
    )
    return create_app(settings, database, clock)


@pytest.fixture
def site(app: FastAPI, listening: socket.socket) -> Iterator[str]:
    """The address of a running server on this test's database."""
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
    thread = Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    while thread.is_alive() and not server.started:
        sleep(0.01)
    # What a test stores from now on is not what a start finds unmarked.
    address: str = app.state.settings.public_urls[0]
    with marked_beside(app):
        if not app.state.database.is_sqlite:
            for sender in app.state.senders:
                sender.start()
        yield address
    server.should_exit = True
    thread.join()


OpenPage = Callable[..., Page]


@pytest.fixture
def expected_errors() -> list[str]:
    """Parts of console messages that a test brings about on purpose."""
    return []


@pytest.fixture
def open_page(
    browser: Browser,
    site: str,
    database: Database,
    clock: Clock,
    expected_errors: list[str],
) -> Iterator[OpenPage]:
    """Opens a page of the site, signed in as a user or not; fails on any console error.

    ``open_page("/", user, width=400, theme="dark")``
    """
    contexts = []
    errors: list[str] = []

    def open_page(
        path: str,
        user: User | None = None,
        width: int = 1280,
        theme: str = "light",
        touch: bool = False,
    ) -> Page:
        context = browser.new_context(
            base_url=site,
            viewport={"width": width, "height": 900},
            color_scheme="dark" if theme == "dark" else "light",
            accept_downloads=True,
            has_touch=touch,
        )
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on(
            "console",
            lambda message: errors.append(message.text) if message.type == "error" else None,
        )
        if user is not None:
            with database.write() as session:
                token = sign_in(session, user, clock())
            context.add_cookies([{"name": COOKIE, "value": token, "url": site}])
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [e for e in errors if not any(part in e for part in expected_errors)] == []


def assert_accessible(page: Page) -> None:
    """No finding of axe, and nothing that makes the page scroll sideways."""
    page.wait_for_load_state("load")  # its colours are there
    findings = Axe().run(page)
    assert findings.violations_count == 0, findings.generate_report()
    overflow = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert overflow <= 0, f"the page is {overflow} px too wide"
