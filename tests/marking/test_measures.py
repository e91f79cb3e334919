"""Measures with units, to the units that the core computes in."""

import re

import pytest

from server.plant.measures import (
    AREA,
    DURATION,
    FLOW,
    LENGTH,
    SPEED,
    VOLUME,
    Dimension,
    parse_measure,
    parse_milliseconds,
)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("300 mm", LENGTH, 0.3),
        ("1.2m", LENGTH, 1.2),
        ("-5 cm", LENGTH, -0.05),
        ("0.8 m²", AREA, 0.8),
        ("0.8 m2", AREA, 0.8),
        ("250 l", VOLUME, 0.25),
        ("2 m3", VOLUME, 2.0),
        ("0.5 l/s", FLOW, 0.0005),
        ("30 l/min", FLOW, 0.0005),
        ("1.8 m³/h", FLOW, 0.0005),
        ("200 mm/s", SPEED, 0.2),
    ],
)
def test_units_are_converted(text: str, dimension: Dimension, value: float) -> None:
    assert parse_measure(text, dimension) == pytest.approx(value, rel=1e-15)
    assert re.search(dimension.json_schema["pattern"], text.replace("m2", "m²").replace("m3", "m³"))


@pytest.mark.parametrize(
    ("text", "ms"), [("100 ms", 100), ("2 s", 2000), ("1.5 min", 90_000), ("0 ms", 0)]
)
def test_durations_are_whole_milliseconds(text: str, ms: int) -> None:
    assert parse_milliseconds(text) == ms


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        (100, "The duration 100 has no unit. Write it with its unit, like '100 ms'."),
        ("100", "'100' is no duration. Write it with its unit, like '100 ms'."),
        ("soon", "'soon' is no duration. Write it with its unit, like '100 ms'."),
        ("2 mm", "'mm' is no unit of a duration. The units are ms, s, min, h."),
        ("-2 s", "The duration '-2 s' is negative. Write it without '-'."),
        ("0.1 ms", "'0.1 ms' is no whole number of milliseconds."),
        (None, "This is no duration. Write it with its unit, like '100 ms'."),
        (True, "This is no duration. Write it with its unit, like '100 ms'."),
    ],
)
def test_what_is_no_duration_is_told_with_the_mend(value: object, sentence: str) -> None:
    with pytest.raises(ValueError, match=re.escape(sentence)):
        parse_milliseconds(value)


def test_every_dimension_reads_its_own_example() -> None:
    for dimension in (DURATION, LENGTH, AREA, VOLUME, FLOW, SPEED):
        assert parse_measure(dimension.example, dimension) > 0
