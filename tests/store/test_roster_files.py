"""Forty rosters as registrars' systems and spreadsheets write them, good and bad; all invented."""

import pytest

from server.store.courses import SectionRole
from server.store.roster_file import RosterFault, RosterLine, decode_roster, read_roster

AMARA = ("amara.okonjo@larkmoor.example", "Amara Okonjo", "Okonjo, Amara")
BJORN = ("bjorn.nunez@larkmoor.example", "Björn Núñez", "Núñez, Björn")
BOTH = [(*AMARA, ""), (*BJORN, "")]
NUMBERED = [(*AMARA, "L1001"), (*BJORN, "0042")]

ONE_COLUMN = f"Email,Name\n{AMARA[0]},{AMARA[1]}\n{BJORN[0]},{BJORN[1]}\n"
TWO_COLUMNS = (
    "First Name,Last Name,Student ID,Email\n"
    "Amara,Okonjo,L1001,amara.okonjo@larkmoor.example\n"
    "Björn,Núñez,0042,bjorn.nunez@larkmoor.example\n"
)


def headed(head: str, sep: str = ",") -> str:
    """Two columns for the name, a number, an address; under these names."""
    return head + "\n" + TWO_COLUMNS.split("\n", 1)[1].replace(",", sep)


GOOD: dict[str, tuple[bytes, list[tuple[str, str, str, str]]]] = {
    "UTF-8": (ONE_COLUMN.encode(), BOTH),
    "UTF-8 with a mark": (ONE_COLUMN.encode("utf-8-sig"), BOTH),
    "UTF-16 with a mark": (ONE_COLUMN.encode("utf-16"), BOTH),
    "UTF-16, big end first, with a mark": (b"\xfe\xff" + ONE_COLUMN.encode("utf-16-be"), BOTH),
    "UTF-16 without a mark": (ONE_COLUMN.encode("utf-16-le"), BOTH),
    "UTF-16, big end first": (ONE_COLUMN.encode("utf-16-be"), BOTH),
    "Windows-1252": (ONE_COLUMN.encode("cp1252"), BOTH),
    "lines of Windows": (ONE_COLUMN.replace("\n", "\r\n").encode(), BOTH),
    "lines of old Macs": (ONE_COLUMN.replace("\n", "\r").encode(), BOTH),
    "semicolons": (ONE_COLUMN.replace(",", ";").encode(), BOTH),
    "tabs, as a spreadsheet saves Unicode text": (
        ONE_COLUMN.replace(",", "\t").encode("utf-16"),
        BOTH,
    ),
    "bars": (ONE_COLUMN.replace(",", "|").encode(), BOTH),
    "semicolons in Windows-1252": (TWO_COLUMNS.replace(",", ";").encode("cp1252"), NUMBERED),
    "two columns": (TWO_COLUMNS.encode(), NUMBERED),
    "surname and forename": (headed("Forename,Surname,ID,Mail").encode(), NUMBERED),
    "given and family": (
        headed("GIVEN_NAME,FAMILY_NAME,STUDENT_NO,E_MAIL_ADDRESS").encode(),
        NUMBERED,
    ),
    "legal names": (
        headed("Legal First Name,Legal Last Name,Campus ID,College Email").encode(),
        NUMBERED,
    ),
    "no spaces": (headed("FirstName,LastName,StudentID,E-mail").encode(), NUMBERED),
    "dots and colons": (headed("First name:,Last name:,Student no.,E-Mail:").encode(), NUMBERED),
    "quoted": (
        b'"Email","Name"\n"amara.okonjo@larkmoor.example","Amara Okonjo"\n',
        [(*AMARA, "")],
    ),
    "last name first, in one column": (
        b'Name,Email\n"Okonjo, Amara",amara.okonjo@larkmoor.example\n',
        [(*AMARA, "")],
    ),
    "a suffix is no first name": (
        b'Name,Email\n"Amara Okonjo, Jr.",a@b.example\n',
        [("a@b.example", "Amara Okonjo, Jr.", "Amara Okonjo, Jr.", "")],
    ),
    "a title above": (
        ("AUT 131 section 01\nPrinted on 24 August\n\n" + TWO_COLUMNS).encode(),
        NUMBERED,
    ),
    "the separator said": (("sep=;\n" + ONE_COLUMN.replace(",", ";")).encode(), BOTH),
    "columns that nobody needs": (
        b"Row,Name,Major,Email,Phone\n1,Amara Okonjo,AUT,amara.okonjo@larkmoor.example,5\n",
        [(*AMARA, "")],
    ),
    "blank lines and spaces": (
        b"\n Email , Name \n\n amara.okonjo@larkmoor.example ,  Amara   Okonjo \n,,\n",
        [(*AMARA, "")],
    ),
    "a line break in a cell": (
        b'Email,Name,Note\namara.okonjo@larkmoor.example,Amara Okonjo,"sits\nin front"\n',
        [(*AMARA, "")],
    ),
    "capital letters in the address": (
        b"EMAIL,NAME\nAmara.Okonjo@Larkmoor.Example,Amara Okonjo\n",
        [(*AMARA, "")],
    ),
    "short lines": (b"Email,Name,Role\namara.okonjo@larkmoor.example,Amara Okonjo", [(*AMARA, "")]),
    "one name alone": (
        b"First,Last,Email\nSukarno,,s@b.example\n",
        [("s@b.example", "Sukarno", "Sukarno", "")],
    ),
}

BAD: dict[str, tuple[bytes, list[str]]] = {
    "empty": (b"", ["The roster is empty."]),
    "a spreadsheet": (b"PK\x03\x04\x14\x00", ["This is a spreadsheet."]),
    "an old spreadsheet": (b"\xd0\xcf\x11\xe0\xa1\xb1", ["This is a spreadsheet."]),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x81", ["This is not a text file."]),
    "half of UTF-16": (b"\xff\xfeE\x00m", ["This is not a text file."]),
    "no address": (b"First name,Last name\nAmara,Okonjo\n", ["Line 1: The columns Email and Name"]),
    "half a name": (b"Email,First name\na@b.example,A\n", ["Line 1: The columns Email and Name"]),
    "an open quote": (
        b'Email,Name\na@b.example,"' + b"x" * 200_000,
        ["Line 2: This can't be read as CSV"],
    ),
    "every fault at once": (
        b"Email,Name,Role,Student number\nnobody,A B,,\na@b.example,,,\nb@b.example,B,boss,\n"
        b"c@b.example,C,TA,\nC@b.example,C,,\nd@b.example,D,," + b"7" * 41,
        [
            "Line 2: nobody is not an email address.",
            "Line 3: The name is missing",
            "Line 4: boss is not a role here.",
            "Line 6: c@b.example stands in line 5 already.",
            "Line 7: The student number is longer",
        ],
    ),
    "lines counted as an editor counts them": (
        b'Title\n\nEmail,Name\na@b.example,"A\nB"\nnobody,C\n',
        ["Line 6: nobody is not an email address."],
    ),
}


def read(content: bytes) -> tuple[list[RosterLine], list[RosterFault]]:
    text = decode_roster(content)
    return ([], [text]) if isinstance(text, RosterFault) else read_roster(text)


@pytest.mark.parametrize("name", GOOD)
def test_a_good_roster_is_read(name: str) -> None:
    content, people = GOOD[name]
    lines, faults = read(content)
    assert faults == []
    assert [(each.email, each.name, each.listed_as, each.number) for each in lines] == people


@pytest.mark.parametrize("name", BAD)
def test_all_that_is_wrong_is_told_at_once(name: str) -> None:
    content, expected = BAD[name]
    _, faults = read(content)
    assert len(faults) == len(expected)
    for fault, beginning in zip(faults, expected, strict=True):
        assert str(fault).startswith(beginning)


def test_there_are_forty_and_a_helper_is_a_grader() -> None:
    assert len(GOOD) + len(BAD) == 40
    lines, _ = read(b"Email,Name,Role\na@b.example,A,Teaching Assistant\n")
    assert lines[0].role is SectionRole.GRADER
