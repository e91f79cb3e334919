"""How long an edit takes from key press to picture: median and 95th percentile.

    uv run python -m tests.browser.latency

It builds programs of 10 and of 300 rungs in a database of its own, opens them in Chromium, and
presses one key again and again: each press draws the contact in the middle of the program anew.
Then it puts rungs in there, each of which moves all below. The plant runs meanwhile, and each
accepted edit goes into its run. The time runs from the key event to the
frame that shows the change, in the browser; the server's share is processor time, which a busy
machine stretches less.
"""

import shutil
import socket
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median, quantiles
from threading import Thread
from time import process_time

import uvicorn
from playwright.sync_api import Page, expect, sync_playwright

from server.ladder.json_form import to_json
from server.ladder.program import Program, Variable
from server.ladder.text_form import parse_rungs
from server.settings import Settings
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.programs import save_program
from server.web.access import COOKIE
from server.web.app import create_app
from tests.factories import EXERCISES, make_assignment, make_section, make_user, sign_in

PRESSES = {"change a contact": ("x", 60), "insert a rung": ("l", 25)}
"""What is measured: the key, and how often it is pressed."""
WARMING = 5
PAUSE_MS = 250

WATCH = """() => {
  window.times = [];
  document.querySelector(".rungs-frame").addEventListener("keydown", () => {
    const pressed = performance.now();
    const seen = new MutationObserver(() => {
      seen.disconnect();
      requestAnimationFrame(() => {
        const painted = new MessageChannel();
        painted.port1.onmessage = () => window.times.push(performance.now() - pressed);
        painted.port2.postMessage(0);
      });
    });
    seen.observe(document.getElementById("rungs"), {
      subtree: true, childList: true, attributes: true, attributeFilter: ["data-text"],
    });
  }, true);
}"""


def program_of(rungs: int) -> Program:
    """Rungs with a nested branch each, and a bit of their own."""
    text = "\n".join(
        f"// [R1] Rung {i} of many.\n"
        f"b{i} := (start_pb OR b{i} OR (lamp AND NOT b{i // 2})) AND stop_pb AND NOT sump_high;"
        for i in range(rungs)
    )
    points = {"start_pb": "%IX0.0", "stop_pb": "%IX0.1", "sump_high": "%IX0.2", "lamp": "%QX0.1"}
    variables = (
        *(Variable(symbol, "BOOL", address) for symbol, address in points.items()),
        *(Variable(f"b{i}", "BOOL") for i in range(rungs)),
    )
    return Program("many_rungs", variables, parse_rungs(text))


def measured(page: Page, rungs: int, key: str, presses: int) -> tuple[list[float], float]:
    """Milliseconds of each press, and those that the server's processor took, on average."""
    page.locator(f"#rung-{rungs // 2} [data-path='1']").click()
    for number in range(WARMING + presses):
        if number == WARMING:
            page.evaluate("window.times = []")
            begun = process_time()
        page.keyboard.press(key)
        page.wait_for_timeout(PAUSE_MS)
    times: list[float] = page.evaluate("window.times")
    return times, (process_time() - begun) / presses * 1000


def main() -> None:
    now = datetime.now(UTC)
    folder = Path(tempfile.mkdtemp(prefix="rungmark-latency-"))
    database = Database(f"sqlite:///{folder / 'rungmark.db'}")
    migrate(database)
    listening = socket.create_server(("127.0.0.1", 0))
    site = f"http://127.0.0.1:{listening.getsockname()[1]}"
    settings = Settings(database_url=database.place, public_urls=(site,), exercises=EXERCISES)
    server = uvicorn.Server(uvicorn.Config(create_app(settings, database), log_level="warning"))
    serving = Thread(target=server.run, daemon=True, kwargs={"sockets": [listening]})
    serving.start()
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        for rungs in (10, 300):
            with database.write() as session:
                student = make_user(session)
                section = make_section(session, (student, SectionRole.STUDENT))
                opened = now - timedelta(days=1)
                assignment = make_assignment(
                    session,
                    section,
                    exercise="wash-sump",
                    opens_at=opened,
                    due_at=now + timedelta(days=1),
                )
                document = to_json(program_of(rungs))
                save_program(
                    session, assignment, student.id, document, revision=0, start={}, now=now
                )
                token = sign_in(session, student, now)
            context = chromium.new_context(base_url=site)
            context.add_cookies([{"name": COOKIE, "value": token, "url": site}])
            page = context.new_page()
            page.goto(f"/assignments/{assignment.id}")
            page.locator("html.editing").wait_for(state="attached")  # the scripts are there
            page.locator("#go").click()
            expect(page.locator("#standing")).to_have_text("running", timeout=30_000)
            page.evaluate(WATCH)
            for what, (key, presses) in PRESSES.items():
                times, processor = measured(page, rungs, key, presses)
                print(
                    f"{rungs:4} rungs, {what}: median {median(times):.0f} ms, "
                    f"p95 {quantiles(times, n=20)[-1]:.0f} ms over {len(times)} edits; "
                    f"server {processor:.0f} ms of processor time each"
                )
            context.close()
        chromium.close()
    server.should_exit = True
    serving.join()
    database.close()
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()
