"""The sheet for paper: who and what it is of, and where each thing is read and written."""

import re
from html import unescape

import pytest

from server.ladder.text_form import parse_rung
from tests.web.lab import RIGHT, Desk, Lab

MORE = (
    *RIGHT,
    "ready := start_pb AND NOT sump_high;",
    "IF ready AND delay(PT := T#5s) THEN lamp := TRUE; n := n + 1; END_IF;",
    "lamp := delay.Q AND ready;",
    "lamp := ready;",
)


@pytest.fixture
def desk(lab: Lab) -> Desk:
    desk = lab.desk(lab.student)
    desk.build(MORE)
    for symbol, kind in (("ready", "BOOL"), ("n", "INT"), ("delay", "TON")):
        declared = desk.do("declare", variable={"symbol": symbol, "type": kind})
        assert declared.status_code == 200, declared.text
    return desk


def printed(desk: Desk, **query: str) -> str:
    answer = desk.client.get(f"{desk.address}/print", params=query)
    assert answer.status_code == 200
    return unescape(answer.text)


def row(page: str, symbol: str) -> list[str]:
    """The cells of the row of a symbol, without their tags."""
    found = re.search(rf"<tr><th scope=\"row\"><code>{symbol}</code>.*?</tr>", page)
    assert found is not None, symbol
    return [re.sub("<.*?>", "", cell) for cell in re.findall("<t[dh].*?</t[dh]>", found[0])]


def test_the_title_block(desk: Desk, lab: Lab) -> None:
    page = printed(desk)
    cells = dict(re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", page))
    assert cells["Exercise"] == lab.assignment.title
    assert cells["Student"] == lab.student.name
    assert cells["Section"].startswith("01, Fall")
    assert cells["State"].startswith("Revision 4, Mon 5 Oct 2026")
    assert cells["Printed"].startswith("Mon 5 Oct 2026")
    assert "risk assessment" in page


def test_points_and_variables_say_where_they_are_read_and_written(desk: Desk) -> None:
    page = printed(desk)
    assert row(page, "start_pb")[-2:] == ["1, 3", "–"]
    assert row(page, "sump_high")[-2:] == ["1–3", "–"]
    assert row(page, "fill_pump")[-2:] == ["1", "1"]
    assert row(page, "ready")[-2:] == ["4–6", "3"]
    assert row(page, "delay")[-2:] == ["5", "4"]
    points, _, variables = page.partition("</span>Variables</h2>")
    assert "<code>ready</code>" not in points
    assert "<code>fill_pump</code>" not in variables.partition("</table>")[0]


def test_each_coil_says_where_its_symbol_is_read(desk: Desk) -> None:
    told = re.findall(r'<ul class="references">(.*?)</ul>', printed(desk))
    assert [re.findall("<li>(.*?)</li>", words) for words in told] == [
        ["fill_pump: read in 1"],
        ["lamp: read in no rung; driven in 4–6, too"],
        ["ready: read in 4–6"],
        ["lamp: read in no rung; driven in 2, 5, 6, too", "n: read in 4", "delay: read in 5"],
        ["lamp: read in no rung; driven in 2, 4, 6, too"],
        ["lamp: read in no rung; driven in 2, 4, 5, too"],
    ]


def test_a_submission_is_printed_for_its_student_and_who_teaches(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    address = desk.submit().headers["HX-Redirect"]
    for user in (lab.student, lab.instructor):
        page = unescape(lab.client_for(user).get(f"{address}/print").text)
        assert lab.student.name in page
        assert "Attempt 1, Mon 5 Oct 2026" in page
        assert "The lamp follows the switch." in page
    assert lab.client_for(lab.classmate).get(f"{address}/print").status_code == 404


def test_a_program_without_rungs(lab: Lab) -> None:
    page = printed(lab.desk(lab.student))
    assert "There is no rung yet." in page
    assert "Revision 0" in page


def test_requirements_and_comments_stand_at_their_rung(desk: Desk) -> None:
    page = printed(desk)
    for rung in map(parse_rung, RIGHT):
        serves = "".join(f'<span class="serves">{each}</span>' for each in rung.serves)
        beside = rf"{serves}</p>\s*<div class=\"printed-body\">\s*<p [^>]*>{rung.comment}<"
        assert re.search(beside, page)
