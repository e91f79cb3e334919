"""Lanes to words and back."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.scan.lanes import LANES, plane_of, transpose
from tests.scan.lane_run import lane_bits

WORDS = st.lists(st.integers(0, 2**64 - 1), min_size=64, max_size=64)


@given(WORDS)
def test_transpose_exchanges_rows_and_columns(words: list[int]) -> None:
    turned = np.array(words, np.uint64)
    transpose(turned)
    for i in range(64):
        assert int(turned[i]) == sum(((words[j] >> i) & 1) << j for j in range(64))


@given(WORDS)
def test_transposing_twice_changes_nothing(words: list[int]) -> None:
    turned = np.array(words, np.uint64)
    transpose(turned)
    transpose(turned)
    assert turned.tolist() == words


@given(st.integers(0, 2**64 - 1))
def test_a_plane_is_its_64_lanes_lane_0_first(word: int) -> None:
    lanes = lane_bits(np.uint64(word))
    assert lanes.tolist() == [bool((word >> lane) & 1) for lane in range(LANES)]
    assert plane_of(lanes) == word


def test_missing_lanes_are_false() -> None:
    assert plane_of(np.array([True, False, True])) == 0b101
