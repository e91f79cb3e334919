"""Help in place: an element is explained, its symbols' uses and its rung's requirements listed."""

import re
from html import unescape

import pytest

from server.ladder.element_help import HELP
from tests.web.lab import HTMX, RIGHT, Desk, Lab

HOLDS = (*RIGHT, "// [R3] Too.\nlamp_delayed := sump_high AND sump_high AND delay(PT := T#2s);")


@pytest.fixture
def desk(lab: Lab) -> Desk:
    desk = lab.desk(lab.student)
    for symbol, kind in (("lamp_delayed", "BOOL"), ("delay", "TON")):
        desk.page()
        desk.do("declare", variable={"symbol": symbol, "type": kind})
    desk.build(HOLDS)
    return desk


def about(desk: Desk, **asked: str | int) -> str:
    params = {name: str(value) for name, value in asked.items()}
    answer = desk.client.get(f"{desk.address}/program/about", params=params, headers=HTMX)
    assert answer.status_code == 200
    return unescape(answer.text)


def links(page: str, words: str) -> list[tuple[str, str]]:
    """Rung and place of each link behind these words."""
    line = re.search(f"<dt[^>]*>{words}</dt><dd>(.*?)</dd>", page)
    return re.findall(r'data-rung="(\d+)" data-at="([^"]*)"', line[1]) if line else []


def test_an_element_is_explained_with_its_symbols_uses(desk: Desk) -> None:
    page = about(desk, rung=0, at="path 2")
    assert "Normally closed contact" in page
    assert "Conducts while its BOOL is OFF." in page
    assert 'class="timing-chart' in page
    assert '<p class="under">%IX0.2 · ' in page
    assert "at rest" not in page, "that depends on the plant"
    assert links(page, "Read in") == [("0", "path 2"), ("1", "path 0"), ("2", "path 0")]
    assert "2 places" in page
    assert links(page, "Written in") == []


def test_blocks_outputs_and_symbols(desk: Desk) -> None:
    page = about(desk, rung=2, at="path 2")
    assert "TON, on-delay timer" in page
    assert links(page, "Called in") == [("2", "path 2")]
    page = about(desk, rung=0, at="output 0")
    assert "<h3>Coil</h3>" in page
    assert links(page, "Written in") == [("0", "output 0")]
    assert links(page, "Read in") == [("0", "path 0.1.0")]
    assert "at rest ON" in about(desk, symbol="stop_pb")
    page = about(desk, symbol="start_pb")
    assert "timing-chart" not in page
    assert links(page, "Read in") == [("0", "path 0.0.0")]
    assert "No rung uses it." in about(desk, symbol="nowhere")


def test_a_rung_tells_the_requirements_it_serves(desk: Desk) -> None:
    page = about(desk, rung=1)
    assert "Requirements of rung 2" in page
    assert links(page, "R3") == [("2", "")]
    desk.do("set serves", rung=1, serves=[])
    assert "It names no requirement." in about(desk, rung=1)


@pytest.mark.parametrize("at", ["path 9", "output 7", "nonsense", ""])
def test_a_place_that_is_not_there_is_no_trouble(desk: Desk, at: str) -> None:
    assert "timing-chart" not in about(desk, rung=0, at=at)
    assert "Nothing is selected." in about(desk, rung=99, at=at)


def test_every_element_is_on_one_page(desk: Desk) -> None:
    page = desk.client.get("/elements").text
    assert page.count('class="timing-chart') == len(HELP)
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
