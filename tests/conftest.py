"""What holds for every test: its place in the order, and that CI takes no skip for a missing tool.

Also what store, web and browser share: a migrated database for each test, copied from one that is
migrated once, and a clock that stands still.
"""

import gc
import os
import shutil
from collections.abc import Generator, Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from server.jobs.queue import prepare_queue
from server.store import database as store_database
from server.store import people
from server.store.database import Database
from server.store.migration import migrate
from tests.factories import NOON, Clock
from tests.postgresql import PostgreSQL, postgresql
from tests.web.lti_platform import Server

# The same examples in every run, and no judgement by the clock.
settings.register_profile("rungmark", derandomize=True, deadline=None)
settings.load_profile("rungmark")

TESTS = Path(__file__).parent

LONGEST = (
    "faults/test_killed.py",
    "exercises/test_shipped.py",
    "test_job_queue.py",
    "marking/test_authoring_core.py",
    "faults/test_full_disk.py",
    "test_serve.py",
    "web/test_leaks.py",
    "plant/test_soundness.py",
    "faults/test_several_processes.py",
    "test_modes.py",
    "test_work_process.py",
    "web/trial/test_trial_killed.py",
    "scan/test_kernel.py",
    "web/trial/test_trial.py",
    "web/test_api_fuzz.py",
    "marking/test_same_bytes.py",
    "marking/test_cause.py",
    "marking/test_search.py",
    "browser/test_authoring.py",
    "browser/test_lab.py",
    "browser/test_hands.py",
    "browser/test_lti.py",
    "browser/test_lab_hour.py",
)
"""Files that take long, the longest first: a file is one process's, and none is left to the end."""

# Hardly anything of what tests import is ever given up; see pytest_collection_finish.
gc.disable()

# No power fails in a test; servers in processes of their own keep what they accept all the same.
store_database.SYNCHRONOUS = "OFF"

STRONG = people.PASSWORDS
# Nobody guesses at what a test stores, and each sign-in would take a tenth of a second.
people.PASSWORDS = PasswordHash((Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1),))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # Playwright's sync interface leaves an event loop running, which breaks asyncio.run() in any
    # test after it.
    def place(item: pytest.Item) -> tuple[bool, int]:
        file = item.path.relative_to(TESTS).as_posix()
        rank = LONGEST.index(file) if file in LONGEST else len(LONGEST)
        return file.startswith("browser/"), rank

    items.sort(key=place)


def pytest_collection_finish() -> None:
    """Begin to collect garbage, and never go through what is loaded by now."""
    gc.enable()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    expected = hasattr(report, "wasxfail") or item.get_closest_marker("needs_rtamt")
    if report.skipped and os.environ.get("CI") == "true" and not expected:
        report.outcome = "failed"
        report.longrepr = f"{report.longrepr}\nNo test is skipped in CI; install what it needs."
    return report


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("migrated") / "rungmark.db"
    database = Database(f"sqlite:///{file}")
    migrate(database)
    database.close()
    return file


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--postgresql", action="store_true", help="give tests their database on PostgreSQL"
    )


@pytest.fixture
def database(
    request: pytest.FixtureRequest, migrated_file: Path, tmp_path: Path
) -> Iterator[Database]:
    if request.config.getoption("--postgresql"):
        server: PostgreSQL = request.getfixturevalue("postgres")
        with server.database() as database:
            prepare_queue(database)
            yield database
        return
    file = tmp_path / "rungmark.db"
    shutil.copyfile(migrated_file, file)
    database = Database(f"sqlite:///{file}")
    yield database
    database.close()


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgreSQL]:
    with postgresql() as server:
        yield server


@pytest.fixture(scope="session")
def lti_server() -> Iterator[Server]:
    """Serves the learning-management system that a test puts there."""
    server = Server()
    server.start()
    yield server
    server.stop()


@pytest.fixture
def clock() -> Clock:
    return Clock(NOON)
