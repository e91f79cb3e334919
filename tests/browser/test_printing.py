"""The sheet for paper, printed by Chromium: no rung is cut, pages are numbered, black on white."""

import re
from collections.abc import Iterator
from contextlib import closing, contextmanager

import numpy as np
import pypdfium2
import pytest
from playwright.sync_api import Page

from server.ladder.json_form import to_json
from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from server.store.programs import save_program
from tests.browser.conftest import OpenPage, assert_accessible
from tests.factories import NOON, make_assignment, make_section, make_user

FOOT = r"Apple wash sump · Elif Yıldırım · section 01 · Revision 1, .*"


def line_of(stations: int) -> Program:
    """A rung for each station; rungs are of different heights."""
    declared = "".join(f"    station_{n} : BOOL;\n" for n in range(stations + 1))
    rungs = "".join(
        f"// [R1] This is the comment above the rung of station {n}.\n"
        f"station_{n} := ({' OR '.join([f'station_{n - 1}'] * (n % 4 + 1))}) AND stop_pb;\n\n"
        for n in range(1, stations + 1)
    )
    return parse_program(
        "PROGRAM line\nVAR\n    stop_pb AT %IX0.1 : BOOL;\n"
        f"{declared}END_VAR\n\n{rungs}END_PROGRAM\n"
    )


def placed(database: Database, program: Program) -> tuple[User, Assignment]:
    """A student with this program."""
    with database.write() as session:
        student = make_user(session, name="Elif Yıldırım")
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise="wash-sump")
        save_program(
            session, assignment, student.id, to_json(program), revision=0, start={}, now=NOON
        )
    return student, assignment


@contextmanager
def printed(page: Page, paper: str) -> Iterator[pypdfium2.PdfDocument]:
    with closing(pypdfium2.PdfDocument(page.pdf(format=paper))) as document:
        yield document


def texts_of(document: pypdfium2.PdfDocument) -> list[str]:
    """The text of each page, line by line."""
    return [sheet.get_textpage().get_text_range().replace("\r\n", "\n") for sheet in document]


@pytest.mark.parametrize(("stations", "papers"), [(10, ("A4", "Letter")), (60, ("A4",))])
def test_no_rung_is_cut(
    open_page: OpenPage, database: Database, stations: int, papers: tuple[str, ...]
) -> None:
    student, assignment = placed(database, line_of(stations))
    page = open_page(f"/assignments/{assignment.id}/print", student)
    for paper in papers:
        with printed(page, paper) as document:
            texts = texts_of(document)
            assert len(texts) > 1
            assert_whole(texts, stations)
            for sheet in document:
                assert_printable(sheet.render(scale=1).to_numpy())


def assert_whole(texts: list[str], stations: int) -> None:
    """Each rung has its comment above, its number beside and its reference below on one page."""
    found = []
    for number, text in enumerate(texts, 1):
        assert re.search(rf"{FOOT}Page {number} of {len(texts)}$", text, re.MULTILINE), text
        above = re.findall(r"the rung of station (\d+)\.", text)
        below = re.findall(r"^station_(\d+): read in", text, re.MULTILINE)
        assert above == below
        assert set(above) <= set(re.findall(r"^(\d+)$", text, re.MULTILINE))
        found += above
    assert found == [str(n) for n in range(1, stations + 1)]


def assert_printable(picture: "np.ndarray[tuple[int, ...], np.dtype[np.uint8]]") -> None:
    """Ink without colour, and none in the margins at the top and at the sides (14 mm)."""
    ink = picture[..., :3].astype(int)
    assert np.ptp(ink, axis=2).max() == 0
    assert ink.min() < 100
    for margin in (ink[:36], ink[:, :36], ink[:, -36:]):
        assert margin.min() == 255


def test_a_rung_that_is_wider_and_taller_than_the_page_lies_and_is_made_smaller(
    open_page: OpenPage, database: Database
) -> None:
    series = " AND ".join(["stop_pb"] * 30)
    text = f"y := ({' OR '.join([series, *['stop_pb'] * 40])});"
    program = parse_program(
        f"PROGRAM p\nVAR\n stop_pb AT %IX0.1 : BOOL;\n y : BOOL;\nEND_VAR\n{text}\nEND_PROGRAM\n"
    )
    student, assignment = placed(database, program)
    page = open_page(f"/assignments/{assignment.id}/print", student)
    with printed(page, "A4") as document:
        (number,) = [n for n, text in enumerate(texts_of(document)) if text.count("stop_pb") > 10]
        assert texts_of(document)[number].count("stop_pb") == 70
        width, height = document[number].get_size()
        assert width > height, "it lies on a page of its own"
        for sheet in document:
            assert_printable(sheet.render(scale=1).to_numpy())


@pytest.mark.parametrize("width", [1280, 400])
def test_on_the_screen(open_page: OpenPage, database: Database, width: int) -> None:
    student, assignment = placed(database, line_of(3))
    page = open_page(f"/assignments/{assignment.id}/print", student, width)
    assert page.get_by_role("button", name="Print, or save as PDF").is_visible()
    assert_accessible(page)
