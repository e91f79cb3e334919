"""Item analysis of right-or-wrong requirements and of lab sets: numbers in, numbers out.

Rows are students, columns are items; a score is 0 to 1. Formulas: difficulty p, the mean;
discrimination D, p of the upper 27 % less p of the lower 27 % (Kelley 1939); corrected item-total
correlation, Pearson between an item and the total without it; KR-20 and Cronbach's alpha with
population variances throughout, for with an n-1 total variance KR-20 comes out too high.
"""

from collections.abc import Sequence
from math import fsum, sqrt
from statistics import fmean

Matrix = Sequence[Sequence[float]]

UPPER = 0.27
SMALL = 30
"""Below so many students figures are read with caution (common practice, no source)."""

ENOUGH = 30
"""Students that a reliability needs at least: with fewer, alpha is biased (H. Yurdugül, Hacettepe
University Journal of Education 35 (2008), 397-405: 30, if the items have much in common)."""


def difficulty(rows: Matrix) -> list[float]:
    """Return the mean of each item: how easy it is."""
    return [fmean(column) for column in zip(*rows, strict=True)]


def discrimination(rows: Matrix) -> list[float]:
    """D of each item. Students with equal totals keep their order, which is part of the answer."""
    ordered = sorted(rows, key=sum, reverse=True)
    group = max(1, round(UPPER * len(ordered)))
    upper, lower = difficulty(ordered[:group]), difficulty(ordered[-group:])
    return [high - low for high, low in zip(upper, lower, strict=True)]


def corrected_item_total(rows: Matrix) -> list[float | None]:
    """Pearson of each item with the total of the others; None where one of them is constant."""
    totals = [sum(row) for row in rows]
    return [
        pearson(column, [total - own for total, own in zip(totals, column, strict=True)])
        for column in zip(*rows, strict=True)
    ]


def alpha(rows: Matrix) -> float | None:
    """Cronbach's alpha, which for right-or-wrong items is KR-20.

    None for fewer than two items or students, or when all totals are equal.
    """
    if len(rows) < 2 or len(rows[0]) < 2:
        return None
    total = variance([sum(row) for row in rows])
    if total <= 1e-18:
        return None
    items = sum(variance(column) for column in zip(*rows, strict=True))
    number = float(len(rows[0]))
    return number / (number - 1) * (1 - items / total)


def variance(values: Sequence[float]) -> float:
    """Return the population variance.

    The library's own works with fractions, which takes far longer.
    """
    mean = fmean(values)
    return fsum((value - mean) ** 2 for value in values) / len(values)


def pearson(first: Sequence[float], second: Sequence[float]) -> float | None:
    """Return the correlation, None if either side does not vary."""
    mean_1, mean_2 = fmean(first), fmean(second)
    away_1 = [value - mean_1 for value in first]
    away_2 = [value - mean_2 for value in second]
    spread = sum(a * a for a in away_1) * sum(b * b for b in away_2)
    if spread <= 1e-18:
        return None
    return sum(a * b for a, b in zip(away_1, away_2, strict=True)) / sqrt(spread)


def band(d: float) -> str:
    """Ebel's word for a discrimination: .40, .30 and .20 are its limits."""
    if d < 0:
        return "negative: look at the requirement"
    for limit, word in ((0.4, "very good"), (0.3, "reasonably good"), (0.2, "marginal")):
        if d >= limit - 1e-9:
            return word
    return "poor"
