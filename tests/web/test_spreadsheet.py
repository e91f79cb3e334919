"""Files of tables: real types in XLSX, and no formula from a name in either kind."""

import csv
import io
import re
import zipfile
from datetime import UTC, datetime
from xml.etree import ElementTree

import pytest
from openpyxl import load_workbook

from server.web.spreadsheet import Share, Table, csv_of, download, xlsx_of

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


@pytest.mark.parametrize("name", DANGEROUS)
def test_a_name_is_no_formula(name: str) -> None:
    table = Table("Names", ("Student", "Points"), ((name, 1.5),))
    _, row = csv.reader(io.StringIO(csv_of(table).decode("utf-8-sig"), newline=""))
    assert row == [f"'{name}", "1.5"]
    with zipfile.ZipFile(io.BytesIO(xlsx_of([table]))) as archive:
        written = ElementTree.fromstring(archive.read("xl/worksheets/sheet1.xml"))
    # ECMA-376 part 1, 18.3.1.40: a formula is an element f.
    assert not [e for e in written.iter() if e.tag.endswith("}f")]


def test_control_characters_do_not_break_the_file() -> None:
    table = Table("Names", ("Student",), (("Ada\x00\x07 B",),))
    assert load_workbook(io.BytesIO(xlsx_of([table]))).worksheets[0]["A2"].value == "Ada B"


def test_the_file_name_has_no_special_characters() -> None:
    answer = download(TABLE, 'AUT 131-01-Ü"x', "csv")
    disposition = answer.headers["content-disposition"]
    assert re.fullmatch(r'attachment; filename="[\w.-]+\.csv"', disposition, re.ASCII)
