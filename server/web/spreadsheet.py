"""Tables as files: CSV that is safe to open, and XLSX with real numbers, dates and shares."""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Literal, TypeAlias, TypeGuard

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet
from starlette.responses import Response


class Share(float):
    """A part of one, which a spreadsheet shows in per cent."""


Cell: TypeAlias = str | int | float | Share | datetime | date | None
Kind: TypeAlias = Literal["csv", "xlsx"]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under named columns; None is an empty cell, a moment is written in UTC."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def download(table: Table, name: str, kind: Kind) -> Response:
    """Return the table as a file to keep; ``name`` has no ending."""
    if kind == "xlsx":
        return download_xlsx([table], name)
    return _attached(csv_of(table), "text/csv; charset=utf-8", name, kind)


def download_xlsx(tables: Sequence[Table], name: str) -> Response:
    """Return the tables as one file with a sheet for each; ``name`` has no ending."""
    media_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return _attached(xlsx_of(tables), media_type, name, "xlsx")


def _attached(content: bytes, media_type: str, name: str, kind: Kind) -> Response:
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in name)
    return Response(
        content,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{plain}.{kind}"'},
    )


def csv_of(table: Table) -> bytes:
    """Return the table as CSV; the mark at its beginning tells spreadsheets that it is UTF-8."""
    text = io.StringIO()
    lines = csv.writer(text)
    lines.writerow(safe(table.columns))
    lines.writerows(safe(_plain(cell) for cell in row) for row in table.rows)
    return text.getvalue().encode("utf-8-sig")


def safe(cells: Iterable[Cell]) -> list[Cell]:
    """Put an apostrophe before a text that a spreadsheet would take for a formula.

    The signs are those of OWASP's page "CSV Injection" (tab, carriage return, line feed and the
    full-width forms of the four signs among them); written from memory.
    """
    return [
        f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA_SIGNS) else cell
        for cell in cells
    ]


_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def _plain(cell: Cell) -> Cell:
    return cell.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S") if _is_moment(cell) else cell


def _is_moment(cell: Cell) -> TypeGuard[datetime]:
    return isinstance(cell, datetime)


def xlsx_of(tables: Sequence[Table]) -> bytes:
    """Return one sheet for each table."""
    book = Workbook()
    book.remove(book.worksheets[0])
    for table in tables:
        _fill(book.create_sheet(_sheet_name(table.title)), table)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def _fill(sheet: Worksheet, table: Table) -> None:
    for across, name in enumerate(table.columns, 1):
        sheet.cell(1, across, _printable(name)).font = Font(bold=True)
        longest = max((len(str(row[across - 1])) for row in table.rows), default=0)
        width = min(40, max(len(name), longest) + 2)
        sheet.column_dimensions[get_column_letter(across)].width = width
    sheet.freeze_panes = "B2"
    for down, row in enumerate(table.rows, 2):
        for across, value in enumerate(row, 1):
            if value is None:
                continue
            cell = sheet.cell(down, across)
            if isinstance(value, str):
                cell.value = _printable(value)
                # Text stays text, also where it begins like a formula.
                cell.data_type = "s"
            elif isinstance(value, datetime):
                cell.value = value.astimezone(UTC).replace(tzinfo=None)
                cell.number_format = "yyyy-mm-dd hh:mm"
            elif isinstance(value, date):
                cell.value = value
                cell.number_format = "yyyy-mm-dd"
            else:
                cell.value = float(value) if isinstance(value, Share) else value
                if isinstance(value, Share):
                    cell.number_format = "0.0%"


def _printable(text: str) -> str:
    """XML has no control characters."""
    return "".join(c for c in text if c.isprintable() or c in "\t\n")


def _sheet_name(title: str) -> str:
    return "".join(c for c in title if c not in r"[]:*?/\'")[:31] or "Table"
