"""The timing chart: told in words and drawn from the same lanes, whatever their names."""

import re
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from server.marking.presentation.timing_chart import chart_rows, draw_chart, moment
from server.marking.verdict import Evidence, Lane

LATE = Evidence(
    scenario="full at the start",
    open=True,
    at_ms=5050,
    from_ms=3000,
    to_ms=8000,
    lanes=(
        Lane("sump_high", (3000, 5000), (0.0, 1.0)),
        Lane("sump.level", (3000, 4000, 5000), (0.9, 0.95, 1.0), "m"),
    ),
    asked_ms=5000,
    allowed_ms=50,
)


def paths(chart: str, name: str) -> list[str]:
    return re.findall(rf'<path class="{name}" d="([^"]+)"', chart)


def test_times_count_from_the_failure() -> None:
    assert moment(0) == "0.00 s"
    assert moment(-520) == "−0.52 s"
    assert moment(1000) == "+1.00 s"


def test_the_table_has_every_change() -> None:
    switch, level = chart_rows(LATE)
    assert (switch.first, switch.changes) == ("OFF", ("ON at −0.05 s",))
    assert level.first == "0.9 m"
    assert level.changes == ("0.95 m at −1.05 s", "1 m at −0.05 s")


def test_the_allowed_band_ends_at_the_failure() -> None:
    chart = draw_chart(LATE, "R3")
    band = re.search(r'<rect x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)"', chart)
    failure = re.search(r'<g class="failure"><path d="M([0-9.]+) ', chart)
    assert band is not None
    assert failure is not None
    assert float(band[1]) + float(band[2]) == float(failure[1])
    assert "0.05 s allowed" in chart
    assert "Asked for at −0.05 s; 0.05 s is allowed." in chart


def test_a_bit_is_drawn_as_steps_and_a_quantity_as_a_curve() -> None:
    steps, curve = paths(draw_chart(LATE, "R3"), "trace")
    assert re.fullmatch(r"M[0-9.]+ [0-9.]+H[0-9.]+V[0-9.]+H[0-9.]+", steps)
    assert curve.count("L") == 2


def test_without_an_obligation_there_is_no_band() -> None:
    plain = Evidence("a", True, 100, 0, 200, (Lane("lamp", (0,), (1.0,)),))
    assert "allowed" not in draw_chart(plain, "R1")


def test_no_scenario_is_named() -> None:
    assert "full at the start" not in draw_chart(LATE, "R3")


@given(
    name=st.text(min_size=1, max_size=40),
    times=st.lists(st.integers(0, 10_000), min_size=1, max_size=8, unique=True).map(sorted),
    unit=st.sampled_from(("", "m", "mm/s")),
)
def test_any_lane_gives_well_formed_svg(name: str, times: list[int], unit: str) -> None:
    legible = "".join(c for c in name if c.isprintable())
    lane = Lane(legible, tuple(times), tuple(float(t % 3) for t in times), unit)
    evidence = Evidence("x", False, times[-1], times[0], times[-1] + 1, (lane,), times[0], 500)
    chart = draw_chart(evidence, "R1 around its first failure")
    root = ElementTree.fromstring(chart)
    assert root.attrib["role"] == "img"
    assert len(chart_rows(evidence)[0].changes) == len(times) - 1
