"""Hidden means hidden: marks planted in hidden scenarios reach a student in no response.

The exercise is a copy whose hidden scenarios carry marks in their names and an odd level as a
value. Each program fails in a hidden scenario, or only there, under each feedback policy; every
answer along the way is searched, headers too.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from server.marking.files.catalogue import Catalogue
from server.store.courses import Feedback
from server.store.database import Database
from tests.factories import EXERCISES
from tests.web.lab import HTMX, OVERFILLS, RIGHT, ClientFor, Desk, open_lab

MARKS = {
    "stop while filling": "quincemark stop while filling",
    "full from the beginning": "medlarmark full from the beginning",
    "1200 mm": "1187 mm",
}
# Digits within a random token are no mark.
FORBIDDEN = re.compile(r"quincemark|medlarmark|\b1187(?:mm)?\b|\b1\.187|stop while|full from the")

PROGRAMS = (
    RIGHT,
    OVERFILLS,
    # Right in the open scenario: stop is never read.
    ("// [R1]\nfill_pump := (start_pb OR fill_pump) AND NOT sump_high;", RIGHT[1]),
    # Nothing is ever exercised, and a calculation fails.
    ("IF start_pb THEN n := n / 0; END_IF;",),
    ("lamp := TRUE;", "fill_pump := TRUE;"),
)


class Seen:
    """Searches every answer that its client gets."""

    def __init__(self, client: TestClient) -> None:
        self.answers = 0
        client.event_hooks = {"response": [self.search]}

    def search(self, answer: Response) -> None:
        answer.read()
        self.answers += 1
        text = answer.text + "\n".join(f"{k}: {v}" for k, v in answer.headers.items())
        found = FORBIDDEN.search(text)
        assert found is None, f"{answer.url} says {found and found[0]!r}"


@pytest.fixture
def exercises(tmp_path: Path) -> Path:
    """A copy of the exercise with marks in its hidden scenarios."""
    text = (EXERCISES / "wash-sump" / "exercise.yaml").read_text()
    for plain, marked in MARKS.items():
        assert plain in text
        text = text.replace(plain, marked)
    folder = tmp_path / "wash-sump"
    folder.mkdir()
    (folder / "exercise.yaml").write_text(text)
    return tmp_path


def links(page: str) -> Iterator[str]:
    """Addresses on this server that a page leads to."""
    yield from re.findall(r'(?:href|src|action|hx-get)="(/[^"#]*)', page)


def crawl(client: TestClient) -> set[str]:
    """Get everything that can be reached from the home page."""
    seen: set[str] = set()
    waiting = ["/"]
    while waiting:
        address = waiting.pop()
        if address in seen:
            continue
        seen.add(address)
        answer = client.get(address)
        if "text/html" in answer.headers.get("content-type", ""):
            waiting += [each for each in links(answer.text) if not each.startswith("/sign-out")]
    return seen


def mistakes(desk: Desk, submission: str) -> None:
    """Ask for what is not there, not possible or not readable."""
    for address in ("/submissions/99999", "/assignments/99999", f"{desk.address}/gradebook"):
        assert desk.client.get(address).status_code == 404
    desk.client.get(f"{desk.address}/gradebook.csv")
    desk.client.delete(desk.address)
    desk.client.put(submission, content=b"{}")
    desk.client.get(submission, headers={"Accept": "application/json"})
    desk.client.post(f"{desk.address}/submissions", data={"revision": "x"}, headers=HTMX)
    desk.client.post(f"{desk.address}/program", data={"action": "{" * 100, "revision": "0"})
    desk.client.post(f"{desk.address}/program/preview", data={"text": "("}, headers=HTMX)
    desk.client.post(f"{desk.address}/program", content=b"x" * 2_000_000)


@pytest.mark.parametrize("feedback", Feedback)
def test_no_mark_reaches_a_student(
    database: Database, client_for: ClientFor, exercises: Path, feedback: Feedback
) -> None:
    exercise = Catalogue(exercises).find("wash-sump")
    assert exercise is not None
    hidden = [scenario.name for scenario in exercise.scenarios if not scenario.open]
    assert hidden
    assert all(FORBIDDEN.search(name) for name in hidden)
    lab = open_lab(database, client_for, feedback=feedback)
    desk = lab.desk(lab.student)
    seen = Seen(desk.client)
    for rungs in PROGRAMS:
        desk.build(rungs)
        if "n / 0" in rungs[0]:
            desk.do("declare", variable={"symbol": "n", "type": "INT"})
        submitted = desk.submit()
        desk.verdict(submitted)
        mistakes(desk, submitted.headers["HX-Redirect"])
        desk.step("undo")
        desk.step("redo")
    reached = crawl(desk.client)
    assert {f"/submissions/{n}" for n in range(1, len(PROGRAMS) + 1)} <= reached
    assert seen.answers > 100


def test_the_instructor_sees_the_scenario(
    database: Database, client_for: ClientFor, exercises: Path
) -> None:
    """The marks are where the test above looks for them."""
    lab = open_lab(database, client_for)
    desk = lab.desk(lab.student)
    desk.build(PROGRAMS[2])
    submitted = desk.submit()
    assert "quincemark" in lab.desk(lab.instructor).verdict(submitted)
