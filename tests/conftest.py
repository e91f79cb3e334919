"""What holds for every test: browser tests run last, and CI takes no skip for a missing tool."""

import os
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples in every run, and no judgement by the clock.
settings.register_profile("rungmark", derandomize=True, deadline=None)
settings.load_profile("rungmark")

TESTS = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # Playwright's sync interface leaves an event loop running, which breaks asyncio.run() in any
    # test after it.
    items.sort(key=lambda item: (TESTS / "browser") in item.path.parents)


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
