"""Files of tables as sheets of cells. What openpyxl (xlsx), odfpy (ods) and xlwt (xls) write is what must be read."""

import io
import zipfile
from datetime import date, datetime, time
from pathlib import Path

import pytest

from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange.table import sheets

openpyxl = pytest.importorskip("openpyxl")


def book(path: Path, *rows: list[object]) -> Path:
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(row)
    made.save(path)
    return path


def test_cells_keep_what_a_spreadsheet_typed_them_as_and_rows_their_numbers(tmp_path: Path) -> None:
    path = book(
        tmp_path / "a.xlsx", [], ["", "Season"], [], ["No.", "Pupated", "At"], [12, datetime(2026, 6, 14), time(7, 30)]
    )
    (sheet,) = sheets.read(path)
    assert [number for number, _ in sheet.rows] == [2, 4, 5]
    assert sheet.rows[-1][1] == [12, date(2026, 6, 14), time(7, 30)]


def test_of_a_formula_only_the_saved_value_is_read(tmp_path: Path) -> None:
    (sheet,) = sheets.read(book(tmp_path / "a.xlsx", ["No.", "x"], ["1", '=WEBSERVICE("http://x.invalid")']))
    assert sheet.rows[1][1] == ["1", None]


def test_xls_and_ods(tmp_path: Path) -> None:
    xlwt = pytest.importorskip("xlwt")
    old = xlwt.Workbook()
    sheet = old.add_sheet("Pupae")
    sheet.write(0, 0, "No.")
    sheet.write(1, 0, 7)
    sheet.write(1, 1, datetime(2026, 6, 14), xlwt.easyxf(num_format_str="DD/MM/YYYY"))
    old.save(str(tmp_path / "a.xls"))
    assert sheets.read(tmp_path / "a.xls")[0].rows[1][1] == [7, date(2026, 6, 14)]

    opendocument = pytest.importorskip("odf.opendocument")
    from odf.table import Table, TableCell, TableRow

    document, table, row = opendocument.OpenDocumentSpreadsheet(), Table(name="Pupae"), TableRow()
    row.addElement(TableCell(valuetype="date", datevalue="2026-06-14"))
    table.addElement(row)
    document.spreadsheet.addElement(table)
    document.save(str(tmp_path / "a.ods"))
    assert sheets.read(tmp_path / "a.ods")[0].rows == [(1, [date(2026, 6, 14)])]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_text_of_any_delimiter_and_encoding(tmp_path: Path, encoding: str, sign: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(f"No.{sign}Où\r\n1{sign}Küche\r\n\r\n".encode(encoding))
    assert sheets.read(path) == [sheets.Sheet("", [(1, ["No.", "Où"]), (2, ["1", "Küche"])])]


def bomb(path: Path) -> Path:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b" " * (sheets.LARGEST_INFLATED_BYTES + 1))
    path.write_bytes(data.getvalue())
    return path


def far(path: Path) -> Path:
    made = openpyxl.Workbook()
    made.active["A1"] = made.active["XFD1048576"] = 1
    made.save(path)
    return path


def wide(path: Path) -> Path:
    return book(path, list(range(16_384)))


def long(path: Path) -> Path:
    return book(path, ["x" * 30_000])


def zeros(path: Path) -> Path:
    path.write_bytes(b"\0" * 100)
    return path


@pytest.mark.parametrize("hostile", [bomb, far, wide, long, zeros])
def test_a_hostile_sheet_is_refused(tmp_path: Path, hostile: object) -> None:
    with pytest.raises((NotUnderstood, Unusable)):
        sheets.read(hostile(tmp_path / "a.xlsx"))  # type: ignore[operator]


def test_a_text_cell_of_ten_megabytes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("No.,x\n1," + "x" * 10_000_000, encoding="utf-8")
    with pytest.raises(NotUnderstood):
        sheets.read(path)
