"""The kernel stays inside its memory, and computes the same bytes without compilation."""

import pytest

from tests.modes import MODES, output_of
from tests.scan.digest import digest


@pytest.mark.parametrize("mode", MODES)
def test_a_checked_run_gives_the_same_bytes(mode: str) -> None:
    assert output_of("tests.scan.digest", mode) == [digest(), "True"]
