"""Files of tables: real types in XLSX, and no formula from a name in either kind."""

import csv
import io
import re
import zipfile
from datetime import UTC, date, datetime, timedelta
from xml.etree import ElementTree

import pytest
from openpyxl import load_workbook
from python_calamine import CalamineWorkbook

from server.marking.verdict import Status
from server.store.database import Database
from server.store.people import User
from server.web.spreadsheet import Share, Table, csv_of, download, xlsx_of
from tests.factories import NOON, make_marked
from tests.web.lab import ClientFor, Lab

MOMENT = datetime(2026, 10, 5, 12, 30, tzinfo=UTC)
TABLE = Table(
    "Apple wash sump: results/1",
    ("Student", "Points", "Reached", "Submitted (UTC)", "Late"),
    (("Elif Yıldırım", 12.5, Share(0.9), MOMENT, None), ("Çem", 3, Share(0), None, "late")),
)
DANGEROUS = (
    *("=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1+1"),
    '=HYPERLINK("x")',
)


def test_xlsx_keeps_numbers_shares_and_moments() -> None:
    sheet = load_workbook(io.BytesIO(xlsx_of([TABLE]))).worksheets[0]
    head, first, second = sheet.iter_rows()
    assert [cell.value for cell in head] == list(TABLE.columns)
    assert [cell.value for cell in first] == [
        "Elif Yıldırım",
        12.5,
        0.9,
        datetime(2026, 10, 5, 12, 30),
        None,
    ]
    assert [cell.data_type for cell in first] == ["s", "n", "n", "d", "n"]
    assert first[2].number_format == "0.0%"
    assert first[3].number_format == "yyyy-mm-dd hh:mm"
    assert second[1].value == 3
    assert sheet.title == "Apple wash sump results1"


def test_another_library_reads_the_same_types() -> None:
    days = Table("Days", ("Begins",), ((date(2026, 8, 24),),))
    book = CalamineWorkbook.from_filelike(io.BytesIO(xlsx_of([TABLE, days])))
    assert book.sheet_names == ["Apple wash sump results1", "Days"]
    head, first, second = book.get_sheet_by_index(0).to_python()
    assert head == list(TABLE.columns)
    assert first == ["Elif Yıldırım", 12.5, 0.9, datetime(2026, 10, 5, 12, 30), ""]
    assert second == ["Çem", 3, 0, "", "late"]
    assert book.get_sheet_by_index(1).to_python() == [["Begins"], [date(2026, 8, 24)]]


def test_the_gradebooks_files_have_real_types(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    formula = '=HYPERLINK("http://x.example")'
    with database.write() as session:
        student = session.get_one(User, lab.student.id)
        student.name = student.listed_as = formula
        late = NOON + timedelta(days=8)
        make_marked(session, lab.assignment, student, 1, late, R1=Status.MET, R2=Status.NOT_MET)
    client = client_for(lab.instructor)
    here, section = lab.assignment.id, lab.assignment.section_id
    found: dict[str, object] = {}
    for address in (f"/assignments/{here}/gradebook", f"/sections/{section}/gradebook"):
        answer = client.get(f"{address}.xlsx")
        sheet = CalamineWorkbook.from_filelike(io.BytesIO(answer.content)).get_sheet_by_index(0)
        head, *rows = sheet.to_python()
        found |= {str(name): value for name, value in zip(head, rows[0], strict=True)}
        assert "<f>" not in written_sheet(answer.content)
        text = client.get(f"{address}.csv").content.decode("utf-8-sig")
        csv_head, *lines = csv.reader(io.StringIO(text, newline=""))
        assert csv_head == head
        assert lines[0][0] == f"'{formula}"
    assert found["Student"] == formula
    assert found["Submitted (UTC)"] == late.replace(tzinfo=None)
    assert (found["Attempt"], found["Days late"], found["Points"], found["Out of"]) == (1, 1, 1, 2)
    assert (found["R1"], found["R2"]) == ("met", "not met")
    assert (found["Apple wash sump"], found["Share so far"]) == (1, 0.5)
    numbers = (found["Points"], found["Days late"], found["Share so far"])
    assert {type(each) for each in numbers} <= {int, float}


def written_sheet(content: bytes) -> str:
    """The first sheet as it is written."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.read("xl/worksheets/sheet1.xml").decode()


@pytest.mark.parametrize("name", DANGEROUS)
def test_a_name_is_no_formula(name: str) -> None:
    table = Table("Names", ("Student", "Points"), ((name, 1.5),))
    _, row = csv.reader(io.StringIO(csv_of(table).decode("utf-8-sig"), newline=""))
    assert row == [f"'{name}", "1.5"]
    written = ElementTree.fromstring(written_sheet(xlsx_of([table])))
    # ECMA-376 part 1, 18.3.1.40: a formula is an element f.
    assert not [e for e in written.iter() if e.tag.endswith("}f")]


def test_control_characters_do_not_break_the_file() -> None:
    table = Table("Names", ("Student",), (("Ada\x00\x07 B",),))
    assert load_workbook(io.BytesIO(xlsx_of([table]))).worksheets[0]["A2"].value == "Ada B"


def test_the_file_name_has_no_special_characters() -> None:
    answer = download(TABLE, 'AUT 131-01-Ü"x', "csv")
    disposition = answer.headers["content-disposition"]
    assert re.fullmatch(r'attachment; filename="[\w.-]+\.csv"', disposition, re.ASCII)
