"""Programs as files, out and in: looked at first, one step of undo; broken ones change nothing."""

import re
from html import unescape

import pytest
from httpx2 import Response

from server.ladder.json_form import from_json
from server.ladder.text_form import parse_program, print_program
from server.ladder.xml_reader import read_xml
from server.store.database import Database, Document
from server.store.programs import working_copy
from tests.ladder.broken_texts import BROKEN as BROKEN_TEXTS
from tests.ladder.test_xml_form import BROKEN as BROKEN_XML
from tests.web.lab import OVERFILLS, RIGHT, Desk, Lab

MARKUP = "<script>alert(1)</script>"


@pytest.fixture
def desk(lab: Lab) -> Desk:
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    return desk


def stored(database: Database, lab: Lab) -> Document:
    with database.read() as session:
        return working_copy(session, lab.assignment, lab.student.id, {}).program


def upload(desk: Desk, content: bytes, name: str = "lab.st") -> Response:
    files = {"program": (name, content)}
    return desk.client.post(f"{desk.address}/program/file", files=files)


def offered(page: str) -> dict[str, str]:
    """What the form of the page that shows a file would send."""
    text = re.search(r'<textarea name="text"[^>]*>(.*?)</textarea>', page, re.DOTALL)
    revision = re.search(r'name="revision" value="(\d+)"', page)
    assert text is not None
    assert revision is not None
    return {"text": unescape(text[1]), "revision": revision[1], "name": "lab.st"}


def take_in(desk: Desk, shown: Response) -> Response:
    return desk.client.post(f"{desk.address}/program/take-in", data=offered(shown.text))


@pytest.mark.parametrize("ending", ["st", "xml"])
def test_out_and_in_again_is_one_step_of_undo(
    desk: Desk, lab: Lab, database: Database, ending: str
) -> None:
    answer = desk.client.get(f"{desk.address}/program.{ending}")
    assert answer.headers["Content-Disposition"].endswith(f'.{ending}"')
    before = stored(database, lab)
    desk.build(OVERFILLS)
    other = stored(database, lab)
    shown = upload(desk, answer.content, f"lab.{ending}")
    assert shown.status_code == 200
    assert "Nothing was left out." in shown.text
    assert "Rung 1 changed: added normally closed contact sump_high" in unescape(shown.text)
    assert 'class="element contact added"' in shown.text
    assert stored(database, lab) == other
    taken = take_in(desk, shown)
    assert (taken.status_code, taken.headers["location"]) == (303, f"{desk.address}#program")
    assert stored(database, lab) == before
    desk.page()
    desk.step("undo")
    assert stored(database, lab) == other


def test_the_files_hold_the_program(desk: Desk, lab: Lab, database: Database) -> None:
    program = from_json(stored(database, lab))
    text, xml = (desk.client.get(f"{desk.address}/program.{kind}") for kind in ("st", "xml"))
    assert text.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert parse_program(text.text) == program
    assert xml.headers["Content-Type"] == "application/xml"
    assert read_xml(xml.content).program == program


def test_what_is_not_carried_and_what_the_editor_would_say(desk: Desk) -> None:
    xml = desk.client.get(f"{desk.address}/program.xml").text
    xml = xml.replace("<ConnectionPointIn>", '<RelPosition x="1" y="2"/><ConnectionPointIn>', 1)
    shown = unescape(upload(desk, xml.replace("sump_high", "sump_hi").encode(), "a.xml").text)
    assert "Positions are not carried; rungs are laid out anew." in shown
    assert "declaration" in shown
    assert "sump_high" in shown


def test_a_change_in_another_window_is_not_overwritten(
    desk: Desk, lab: Lab, database: Database
) -> None:
    shown = upload(desk, print_program(parse_program("PROGRAM p\nEND_PROGRAM")).encode())
    desk.do("set comment", rung=0, comment="From the other window.")
    before = stored(database, lab)
    answer = take_in(desk, shown)
    assert answer.status_code == 409
    assert "changed in another window" in answer.text
    assert "From the other window." in answer.text
    assert stored(database, lab) == before
    assert take_in(desk, answer).status_code == 303


def test_markup_in_a_file_is_shown_as_text(desk: Desk) -> None:
    text = f"PROGRAM p\n// {MARKUP}\nlamp := start_pb;\nEND_PROGRAM\n"
    for answer in (upload(desk, text.encode()), upload(desk, MARKUP.encode(), f"{MARKUP}.st")):
        assert "<script>alert" not in answer.text


def test_a_file_that_is_not_there(desk: Desk) -> None:
    unnamed = upload(desk, b"", "")
    assert unnamed.status_code == 422
    assert "program" in unnamed.text
    assert desk.client.post(f"{desk.address}/program/file").status_code == 422
    assert "found the end of the text" in unescape(upload(desk, b"", "empty.st").text)


def test_more_than_the_limit_is_not_read(desk: Desk, lab: Lab, database: Database) -> None:
    before = stored(database, lab)
    answer = upload(desk, b"// 10 MB\n" * 1_200_000)
    assert answer.status_code == 413
    assert stored(database, lab) == before


BROKEN = {
    **{f"text: {name}": ("lab.st", row[0], row[2]) for name, row in BROKEN_TEXTS.items()},
    **{f"XML: {name}": ("lab.xml", row[0].encode(), row[1]) for name, row in BROKEN_XML.items()},
}


def test_every_broken_file_is_refused_with_its_place_and_changes_nothing(
    desk: Desk, lab: Lab, database: Database
) -> None:
    assert len(BROKEN_TEXTS) >= 20
    assert len(BROKEN_XML) >= 20
    before, revision = stored(database, lab), desk.revision
    for name, (file, content, said) in BROKEN.items():
        answer = upload(desk, content, file)
        shown = unescape(answer.text)
        refusals = re.findall(r"<li>(Line \d+.*?)</li>", shown)
        assert answer.status_code == 422, name
        assert refusals, name
        assert said in refusals[0] or said in "\n".join(refusals), name
        assert "Your program is as it was." in shown, name
        assert "<script" not in answer.text.partition("<main")[2], name
    assert stored(database, lab) == before
    desk.page()
    assert desk.revision == revision
