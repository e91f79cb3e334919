"""Made-up requests to every address, as every kind of person: no answer may be a server's mistake.

    uv run python -m tests.load.api_fuzz --minutes 15
    uv run python -m tests.load.api_fuzz --minutes 5 --postgresql --seed 7

The requests are made by schemathesis from the OpenAPI description of the application, which it does
not publish; ids and some words are taken from a course, so that they lead further than the door.
Under `/api/` they carry a token of the person with all scopes that their role can have. A
server of its own on this machine answers them, one after another, on the demo course in a temporary
database. Exit status 1, with the request, when an answer is 500 or above, or none comes.
"""

import argparse
import os
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from random import Random
from threading import Thread
from time import monotonic
from typing import Any

import requests
import schemathesis
import uvicorn
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.core.result import Ok
from schemathesis.openapi import format as string_format
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.commands.serving import listen
from server.demo import course as demo
from server.jobs.queue import prepare_queue
from server.logs import begin_log
from server.marking.files.catalogue import Catalogue
from server.paths import EXERCISES
from server.settings import Settings
from server.store.api_tokens import TokenScope, make_token, tokens_of
from server.store.authored import begin
from server.store.courses import Enrolment, Section, SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.people import Role, User
from server.web.access import COOKIE
from server.web.api.tokens import SCOPES
from server.web.app import create_app
from server.web.submissions import waiting
from tests.factories import make_user, sign_in
from tests.load.plausible import FORMATS, ids, with_plausible
from tests.postgresql import postgresql

LONGEST_ANSWER = 60.0
EXAMPLES = 4


@dataclass
class Found:
    """What was answered, to tokens by the role of their owner, and what met a mistake of ours."""

    statuses: Counter[int] = field(default_factory=Counter)
    by_token: Counter[tuple[str, int]] = field(default_factory=Counter)
    mistakes: dict[str, str] = field(default_factory=dict)

    def report(self) -> str:
        told = ", ".join(f"{status}: {number}" for status, number in sorted(self.statuses.items()))
        lines = [f"{self.statuses.total()} requests; answers {told}"]
        lines += [
            f"by token of {who}: {number} answers {status}"
            for (who, status), number in sorted(self.by_token.items())
        ]
        return "\n".join([*lines, *self.mistakes.values()])


People = dict[str, Callable[[], User | None]]


class Fuzzer:
    """Sends made-up requests to one running application."""

    def __init__(self, app: FastAPI, people: People, seed: int) -> None:
        self.address: str = app.state.settings.public_urls[0]
        self.database: Database = app.state.database
        self.people = people
        self.seed = seed
        self.found = Found()
        for name, strategy in FORMATS.items():
            string_format(f"plausible-{name}", strategy)
        with warnings.catch_warnings():
            # A function that answers GET and POST is described twice under one name.
            warnings.simplefilter("ignore", UserWarning)
            self.description = app.openapi()

    def operations(self, user: User | None) -> list[Any]:
        """Each address and method, with the ids of what is in the database now for somebody."""
        with self.database.read() as session:
            described = with_plausible(self.description, ids(session, user))
        schema = schemathesis.openapi.from_dict(described)
        return [each.ok() for each in schema.get_all_operations() if isinstance(each, Ok)]

    def try_out(self, operation: Any, user: User | None, examples: int, *, rightly: bool) -> None:
        """Some requests to one address by one person, by the description or against it."""
        cookies, headers = {}, {"Origin": self.address}
        if user is not None:
            with self.database.write() as session:
                if operation.path.startswith("/api/"):
                    headers["Authorization"] = f"Bearer {_new_token(session, user)}"
                else:
                    cookies[COOKIE] = sign_in(session, user, datetime.now(UTC))
        self.seed += 1
        refused, statuses = {401, 403}, set[int]()

        @seed(self.seed)
        @settings(
            max_examples=examples,
            database=None,
            deadline=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(
            case=operation.as_strategy(
                GenerationMode.POSITIVE if rightly else GenerationMode.NEGATIVE
            )
        )
        def send(case: Any) -> None:
            # Who may not enter is asked for no more.
            if refused.isdisjoint(statuses):
                statuses.add(self._send(case, user, cookies, headers))

        # There is nothing wrong that could be sent to an address without fields.
        with suppress(Unsatisfiable):
            send()

    def _send(
        self, case: Any, user: User | None, cookies: dict[str, str], headers: dict[str, str]
    ) -> int:
        place = f"{case.operation.method.upper()} {case.operation.path}"
        who = user.role.value if user else "nobody"
        try:
            answer = case.call(
                base_url=self.address,
                headers=headers,
                cookies=cookies,
                allow_redirects=False,
                timeout=LONGEST_ANSWER,
            )
        except requests.RequestException as none:
            self.found.mistakes[place] = f"no answer: {type(none).__name__} as {who}: {place}"
            return 0
        self.found.statuses[answer.status_code] += 1
        if "Authorization" in headers:
            self.found.by_token[who, answer.status_code] += 1
        if answer.status_code >= 500:
            request = f"{answer.request.method} {answer.request.url} {answer.request.body!r:.500}"
            self.found.mistakes[place] = f"{answer.status_code} as {who}: {request}"
        return int(answer.status_code)


def _new_token(session: Session, user: User) -> str:
    """Return a token for all that scripts of this role can read, in place of the last one."""
    for each in tokens_of(session, user.id):
        session.delete(each)
    session.flush()
    now = datetime.now(UTC)
    scopes = SCOPES.get(user.role, tuple(TokenScope))
    token = make_token(session, user.id, "made up", scopes, now + timedelta(days=1), now)
    assert token is not None
    return token


def people_of(database: Database, random: Random) -> People:
    """Somebody of each role in the database, another one each time where there are several."""

    def one(*conditions: Any) -> User:
        """Somebody who is still there: an administrator may have erased the last one."""
        query = select(User).outerjoin(Enrolment, Enrolment.user_id == User.id)
        with database.read() as session:
            found = session.scalars(query.where(*conditions).order_by(User.id)).unique().all()
        return random.choice(found)

    people: People = {role.value: partial(one, User.role == role) for role in Role}
    grader = partial(one, Enrolment.role == SectionRole.GRADER)
    return {"nobody": lambda: None, "grader": grader, **people}


def fill(session: Session) -> None:
    """The demo course, with a grader and an exercise under way."""
    now = datetime.now(UTC)
    demo.load_demo(session, Catalogue(EXERCISES).shipped(), now)
    grader, instructor = (
        make_user(session),
        session.scalars(select(User).where(User.role == Role.INSTRUCTOR)).first(),
    )
    assert instructor is not None
    for section in session.scalars(select(Section.id)):
        session.add(Enrolment(section_id=section, user_id=grader.id, role=SectionRole.GRADER))
    folder = EXERCISES / "apple-wash-sump"
    text = (folder / "exercise.yaml").read_text()
    programs = {path.name: path.read_text() for path in (folder / "programs").iterdir()}
    begin(session, instructor.id, "wash-sump-anew", "Wash sump anew", text, programs, now)


@contextmanager
def serving(database: Database, exercises: Path) -> Iterator[FastAPI]:
    """The application on a port of this machine, with a log of mistakes on standard error."""
    with listen("127.0.0.1", 0) as listening:
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        app = create_app(Settings(database.place, (address,), exercises), database)
        server = uvicorn.Server(uvicorn.Config(app, log_config=None, access_log=False))
        thread = Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            yield app
        finally:
            app.state.worker.verdicts.close()
            server.should_exit = True
            thread.join()


def rounds(fuzzer: Fuzzer, minutes: float, random: Random) -> Found:
    """Every address as every person, again and again until the time is up."""
    end = monotonic() + 60 * minutes
    for number in count():
        for someone in fuzzer.people.values():
            user = someone()
            operations = fuzzer.operations(user)
            random.shuffle(operations)
            for operation in operations:
                if monotonic() > end:
                    return fuzzer.found
                fuzzer.try_out(operation, user, EXAMPLES, rightly=number % 3 < 2)
        print(f"round {number + 1}: {fuzzer.found.statuses.total()} requests so far", flush=True)
    raise AssertionError


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--minutes", type=float, default=15)
    parser.add_argument("--seed", type=int, default=131)
    parser.add_argument("--postgresql", action="store_true", help="SQLite else")
    arguments = parser.parse_args()
    os.nice(10)
    begin_log("error")
    # Nothing is marked here on PostgreSQL, and nobody needs to wait for it.
    waiting.HOLD_SECONDS = 0.1
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="rungmark-fuzz-"))
        url = f"sqlite:///{folder}/rungmark.db"
        if arguments.postgresql:
            url = stack.enter_context(postgresql()).url("migrated")
        database = stack.enter_context(closing(Database(url)))
        migrate(database)
        if arguments.postgresql:
            prepare_queue(database)
        with database.write() as session:
            fill(session)
        random = Random(arguments.seed)
        app = stack.enter_context(serving(database, EXERCISES))
        fuzzer = Fuzzer(app, people_of(database, random), arguments.seed * 1_000_000)
        found = rounds(fuzzer, arguments.minutes, random)
    print(found.report())
    return int(bool(found.mistakes))


if __name__ == "__main__":
    sys.exit(main())
