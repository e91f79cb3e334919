"""Texts that are heavy to read, or that a parser chokes on, while another person writes.

Authors' texts are kept, each with the revision of the one before, whatever is wrong with them.
"""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from functools import partial
from time import monotonic

import httpx2

from server.store.authored import begin
from server.store.courses import SectionRole
from server.store.people import Role
from server.web.access import COOKIE
from tests.attack.attack import Attack, Outcome, Target
from tests.attack.floods import prepare
from tests.factories import make_section, make_user, sign_in

PATIENCE_SECONDS = 60.0

TAKEN_OR_TOLD = (200, 413, 422)
"""An old revision, 409, would hide what reading a text takes."""

WAIT_BAR = 2.0
"""Seconds that somebody else's edit may take meanwhile."""

XML = b'<?xml version="1.0" encoding="%s"?><Project xmlns="www.iec.ch/public/TC65SC65BWG7TF10"/>'

PROGRAMS = {
    "XML in utf-7": ("a.xml", XML % b"utf-7"),
    "XML in a false encoding": ("a.xml", XML % b"base64"),
    "XML with a million open elements": ("a.xml", b"<a>" * 300_000),
    "bytes that are no text": ("a.st", b"PROGRAM \xff\xfe\x00"),
    "a program of 66,500 elements": (
        "a.st",
        b"PROGRAM p\n"
        + (b"fill_pump := " + b" AND ".join([b"start_pb"] * 180) + b";\n") * 350
        + b"END_PROGRAM\n",
    ),
    "parentheses without end": ("a.st", b"PROGRAM p\nfill_pump := " + b"(" * 300_000),
}

YAMLS = {
    "200 kB of list": "a: [" + ",".join(["1"] * 98_000) + "]",
    "900 kB of list": "a: [" + ",".join(["1"] * 450_000) + "]",
    "9,000 requirements": "requirements:\n" + "- {id: R1, text: a, checks: []}\n" * 3000,
    "brackets without end": "a: " + "[" * 190_000,
    "dashes without end": "- " * 95_000,
    "quotes without end": 'a: "' + "\\x41" * 49_000,
}

ROSTERS = {
    "a cell of 400 kB": "Email,Name\na@larkmoor.example," + "x" * 400_000,
    "a quote without end": 'Email,Name\na@larkmoor.example,"' + "x,\n" * 100_000,
    "300,000 lines": "Email,Name\n" + "a\n" * 300_000,
}


def _client(target: Target, token: str) -> httpx2.Client:
    return httpx2.Client(
        base_url=target.url,
        headers={"Origin": target.url, "Cookie": f"{COOKIE}={token}"},
        timeout=PATIENCE_SECONDS,
    )


class _Texts:
    """Saves texts of one exercise, each on the revision that the one before has left."""

    def __init__(self, author: httpx2.Client, address: str) -> None:
        self._author, self._address = author, address
        self._revision = 1

    def save(self, text: str) -> httpx2.Response:
        values = {"revision": str(self._revision), "text": text}
        answer = self._author.post(self._address, data=values)
        self._revision += answer.status_code == 200
        return answer


def _play(target: Target) -> Outcome:
    """Send every text, and let a student edit all the while."""
    with target.database.write() as session:
        teacher, now = make_user(session, Role.INSTRUCTOR), datetime.now(UTC)
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        draft = begin(session, teacher.id, "heavy", "Heavy", "a: 1\n", {}, now)
        assert draft is not None, "the database is fresh"
        token = sign_in(session, teacher, now)
        sheet, roster = f"/authoring/{draft.id}", f"/sections/{section.id}/roster/preview"
    room = prepare(target, 2)
    here = room.address
    author, reader = _client(target, token), _client(target, room.tokens[0])
    sends: dict[str, Callable[[], httpx2.Response]] = {}
    for title, file in PROGRAMS.items():
        sends[title] = partial(reader.post, f"{here}/program/file", files={"program": file})
    texts = _Texts(author, f"{sheet}/text")
    for title, text in YAMLS.items():
        sends[title] = partial(texts.save, text)
    for title, text in ROSTERS.items():
        sends[title] = partial(author.post, roster, data={"text": text})
    wrong: list[str] = []
    longest, revision = 0.0, 1
    with author, reader, _client(target, room.tokens[1]) as editor, ThreadPoolExecutor(1) as pool:
        # The first edit of a server that has just started waits for what is loaded.
        for title, send in [("nothing", None), *sends.items()]:
            sent = pool.submit(send) if send else None
            while True:
                action = {"action": "set comment", "rung": 0, "comment": f"Try {revision}"}
                begun = monotonic()
                answer = editor.post(
                    f"{here}/program",
                    data={"action": json.dumps(action), "revision": str(revision)},
                )
                longest = max(longest, monotonic() - begun) if sent else 0.0
                if answer.status_code != 200:
                    wrong.append(f"an edit beside {title}: {answer.status_code}")
                revision += 1
                if sent is None or sent.done():
                    break
            if sent is not None and sent.result().status_code not in TAKEN_OR_TOLD:
                wrong.append(f"{title}: {sent.result().status_code}")
    said = "; ".join(wrong) or "a sentence each"
    came = f"{said}; the longest edit beside them took {longest:.2f} s"
    held = not wrong and longest < WAIT_BAR
    return Outcome("texts that are heavy or broken", len(sends), came, held)


ATTACKS = (Attack("heavy and broken texts", _play),)
