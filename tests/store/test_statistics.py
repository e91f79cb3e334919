"""Item analysis against published worked examples.

A: K. L. Wuensch, East Carolina University, core.ecu.edu/wuenschk/StatHelp/KR20.txt (data, p, pq and
total variance 5.84 are his; correlations were computed from his data with numpy).
B: LSAT section 6, R. D. Bock and M. Lieberman, Psychometrika 35 (1970), as in bock.table of R's
psych.
The same figures are compared with pingouin, a general statistics library.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.store.statistics import (
    alpha,
    band,
    corrected_item_total,
    difficulty,
    discrimination,
    pearson,
)

A = [
    [float(mark) for mark in marks]
    for marks in (
        *("1111110110", "1011011101", "1111011001", "0010001000", "0000010010"),
        *("1110111111", "1101110111", "1111111101", "0101111101", "1101101110"),
    )
]
COUNTS = (
    *(3, 6, 2, 11, 1, 1, 3, 4, 1, 8, 0, 16, 0, 3, 2, 15),
    *(10, 29, 14, 81, 3, 28, 15, 80, 16, 56, 21, 173, 11, 61, 28, 298),
)
B = [
    [float(bit) for bit in f"{pattern:05b}"]
    for pattern, count in enumerate(COUNTS)
    for _ in range(count)
]


def test_example_a() -> None:
    assert difficulty(A) == pytest.approx([0.7, 0.7, 0.6, 0.7, 0.6, 0.8, 0.7, 0.7, 0.5, 0.6])
    assert alpha(A) == pytest.approx(0.69635, abs=5e-6)
    assert corrected_item_total(A) == pytest.approx(
        [0.7059, 0.7059, 0, 0.4736, 0.5839, 0.2861, -0.0274, 0.7059, -0.1236, 0.4759], abs=5e-5
    )
    third = 2 / 3
    assert discrimination(A) == pytest.approx(
        [third, third, third, 1 / 3, third, third, 0, third, 0, third]
    )


def test_example_b() -> None:
    assert len(B) == 1000
    assert difficulty(B) == pytest.approx([0.924, 0.709, 0.553, 0.763, 0.870])
    assert alpha(B) == pytest.approx(0.2950, abs=5e-5)
    assert corrected_item_total(B) == pytest.approx(
        [0.1128, 0.1532, 0.1728, 0.1444, 0.1216], abs=5e-5
    )


@given(
    st.integers(2, 6).flatmap(
        lambda items: st.lists(
            st.lists(st.sampled_from([0.0, 0.5, 1.0]), min_size=items, max_size=items),
            min_size=2,
            max_size=30,
        )
    )
)
def test_any_scores_against_numpy(rows: list[list[float]]) -> None:
    table = np.array(rows)
    total = table.sum(axis=1)
    number = table.shape[1]
    if total.var() > 1e-12:
        expected = number / (number - 1) * (1 - table.var(axis=0).sum() / total.var())
        assert alpha(rows) == pytest.approx(expected)
    else:
        assert alpha(rows) is None
    for item, found in enumerate(corrected_item_total(rows)):
        rest = total - table[:, item]
        if found is None:
            assert min(table[:, item].std(), rest.std()) < 1e-6
        else:
            assert found == pytest.approx(np.corrcoef(table[:, item], rest)[0, 1])


@pytest.mark.parametrize("name", ["A", "B", "shares"])
def test_reliability_and_correlations_against_pingouin(name: str) -> None:
    """The library's alpha takes n-1 variances throughout, which gives the same ratio."""
    # It loads a second's worth of other libraries, which only this test needs.
    import pingouin  # noqa: PLC0415

    random = np.random.default_rng(6)
    shares = (random.random((23, 4)) + random.random((23, 1))) / 2
    rows = {"A": A, "B": B, "shares": shares.tolist()}[name]
    table = pd.DataFrame(rows)
    assert alpha(rows) == pytest.approx(pingouin.cronbach_alpha(data=table)[0], abs=1e-12)
    for item, found in enumerate(corrected_item_total(rows)):
        rest = table.drop(columns=item).sum(axis=1)
        assert found == pytest.approx(pingouin.corr(table[item], rest)["r"].iloc[0], abs=1e-12)


def test_what_can_not_be_computed_is_none() -> None:
    assert alpha([[1.0, 0.0]]) is None
    assert alpha([[1.0], [0.0]]) is None
    assert pearson([1.0, 1.0], [0.0, 1.0]) is None


@pytest.mark.parametrize(
    ("d", "word"),
    [(0.4, "very good"), (0.39, "reasonably good"), (0.2, "marginal"), (0.19, "poor")],
)
def test_bands(d: float, word: str) -> None:
    """Ebel's limits, as restated on secondary pages."""
    assert band(d) == word
    assert band(-0.1).startswith("negative")
