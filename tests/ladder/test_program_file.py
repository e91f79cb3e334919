"""Program files: text or XML by what they hold, and the place of whatever can't be read."""

import pytest

from server.ladder.messages import ProgramError
from server.ladder.program_file import read_program_file
from server.ladder.text_form import parse_program
from server.ladder.xml_writer import write_xml
from tests.ladder.broken_texts import BROKEN, GOOD

PROGRAM = parse_program(GOOD)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("lab.st", GOOD.encode()),
        ("lab", GOOD.encode()),
        ("lab.st", b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()),
        ("lab.xml", write_xml(PROGRAM)),
        ("lab.txt", b"\n " + write_xml(PROGRAM).partition(b"?>")[2]),
        ("LAB.XML", write_xml(PROGRAM).decode().replace("utf-8", "utf-16").encode("utf-16")),
    ],
)
def test_a_file_is_read_as_what_it_is(name: str, data: bytes) -> None:
    carried = read_program_file(name, data)
    assert carried.program == PROGRAM
    assert carried.notes == ()


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_text_is_refused_with_its_place(name: str) -> None:
    data, place, said = BROKEN[name]
    with pytest.raises(ProgramError) as refusal:
        read_program_file("lab.st", data)
    first = str(refusal.value.messages[0])
    assert place in first
    assert said in first
