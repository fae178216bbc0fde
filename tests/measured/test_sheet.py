"""Any sheet as rows of text: encoding, separator and decimal mark by content."""

from __future__ import annotations

import datetime
import io
import zipfile

import openpyxl
import pytest

from breathe.measured.sheet import SheetError, looks_like, open_sheet

UNDERSTOOD = {
    "f1_lift.csv": (";", ",", "a lift sheet (columns Winkel [°NW], Hub [mm], Bemerkung)"),
    "f2_bench_notes.csv": (",", ".", "a lift sheet (columns crank pos, lift)"),
    "f3_lobes.txt": ("\t", ".", "a lift sheet (columns crank_deg, int_A_mm, int_B_mm, exh_mm)"),
    "f4_flow.txt": ("\t", ".", "a flow sheet (columns lift, in cfm, ex cfm, ex/in %, note)"),
    "kopf_25inch_l-s.csv": (";", ",", "a flow sheet (columns Hub, Q_ein, Q_aus)"),
    "f6_dyno.csv": (",", ".", "a dyno pull (columns RPM, Torque, Power, AFR, MAP)"),
    "f7_dyno.csv": (
        ";",
        ",",
        "a dyno pull (columns Drehzahl, Drehmoment [Nm], Leistung [PS])",
    ),
    "f8_map.csv": (",", ".", 'a table of rpm against load (label "kPa \\ rpm")'),
}


def refusal(path, **named) -> str:
    with pytest.raises(SheetError) as refused:
        open_sheet(path, **named)
    text = str(refused.value)
    assert "\n" not in text and text.startswith(path.name)
    return text


@pytest.mark.parametrize("name", UNDERSTOOD)
def test_each_sample_is_understood(samples, name):
    raw = open_sheet(samples / name)
    assert (raw.separator, raw.decimal, looks_like(raw)) == UNDERSTOOD[name]


def test_rows_keep_their_numbers_and_remarks_are_one_cell(samples):
    rows = open_sheet(samples / "f1_lift.csv").rows
    assert (rows[0].number, rows[0].cells) == (1, ("# Nocke 3 Einlass, Stößel flach, Spiel 0,20",))
    assert [row.number for row in rows] == [1, 2, 3, 4, 5, 7, 8, 9]
    assert rows[4].cells == ("-58,0", "1,01", "Flanke auf")
    assert rows[6].cells == ("-50", "", "vergessen")


def test_lines_of_separators_say_nothing(samples):
    rows = open_sheet(samples / "f2_bench_notes.csv").rows
    assert 8 not in [row.number for row in rows]
    assert rows[-1].cells == ("max", ".374")


TEXT = "Öffnung [°NW];Hub [mm]\n-2,0;9,31\n0,0;9,50\n2,0;9,31\n"
ENCODINGS = ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be", "utf-32"]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(written, encoding, end):
    raw = open_sheet(written(TEXT.replace("\n", end).encode(encoding)))
    assert [row.cells for row in raw.rows] == [tuple(t.split(";")) for t in TEXT.splitlines()]
    assert [row.number for row in raw.rows] == [1, 2, 3, 4]
    said = raw.understood[0].lower()
    assert encoding.removesuffix("-sig") in said


def test_a_dos_text_is_recognised_by_its_u_umlaut(written):
    raw = open_sheet(written("Öffnung für [°NW];Hub\n1;2\n".encode("cp850")))
    assert raw.rows[0].cells[0] == "Öffnung für [°NW]"
    assert raw.understood[0] == "encoding: DOS (cp850)"


def test_a_damaged_letter_does_not_turn_the_others_into_strangers(written):
    data = TEXT.encode() + "Größe; ü\n".encode() + b"x\xff;1\n"
    raw = open_sheet(written(data))
    assert raw.rows[0].cells[0] == "Öffnung [°NW]"
    assert raw.understood[0] == "encoding: UTF-8, 1 letter damaged"


ROWS = [("angle", "lift"), ("-2.0", "9.31"), ("0.0", "9.50"), ("2.0", "9.31")]


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("mark", ["\t", ";", ",", " ", "   ", " ; ", ", "])
def test_separator_and_decimal_mark_are_found_by_content(written, mark, decimal):
    if mark.strip() == "," and decimal == ",":
        return
    text = "\n".join(mark.join(row).replace(".", decimal) for row in ROWS)
    raw = open_sheet(written(text, "data.dat"))
    assert raw.decimal == decimal
    assert [tuple(c.replace(",", ".") for c in row.cells) for row in raw.rows] == ROWS


def test_commas_for_both_are_refused(written):
    text = "\n".join(",".join(row).replace(".", ",") for row in ROWS)
    assert "commas part the columns and mark decimals at once" in refusal(written(text))


def test_quoted_commas_tell_them_apart(written):
    text = "\n".join(",".join(f'"{c.replace(".", ",")}"' for c in row) for row in ROWS)
    raw = open_sheet(written(text))
    assert raw.decimal == ","
    assert raw.rows[1].cells == ("-2,0", "9,31")


def test_spaces_in_a_preamble_do_not_outvote_tabs(written):
    text = "rig 2 at 20 C 1 2 3\nlift\tin cfm\n,1\t64,1\n,2\t121,8\n"
    assert open_sheet(written(text)).separator == "\t"


def test_a_quoted_name_over_two_lines_is_one_cell(written):
    raw = open_sheet(written('"Hub\n[mm]";"Einlass\nl/s"\n2,54;28,6\n5,08;54,3\n'))
    assert [(r.number, r.cells) for r in raw.rows][:2] == [
        (1, ("Hub [mm]", "Einlass l/s")),
        (4, ("2,54", "28,6")),
    ]


def test_inch_marks_are_not_quotes(written):
    raw = open_sheet(written('at 28"\nlift,in cfm\n.1,64.1\n.2,121.8\n'))
    assert [r.cells for r in raw.rows][1:] == [("lift", "in cfm"), (".1", "64.1"), (".2", "121.8")]


WRONG = [
    (b"\xff\xd8\xff\xe0\x00\x10JFIF", "expected a sheet; this is a photo (JPEG)"),
    (b"%PDF-1.7\n", "expected a sheet; this is a PDF document"),
    (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
        "expected a sheet; this is an old spreadsheet workbook or document; save it as .xlsx or as "
        "CSV, or take its password off",
    ),
    (b"SQLite format 3\x00", "expected a sheet; this is a database"),
    (b"", "is empty; expected a sheet"),
    (b"\xef\xbb\xbf\r\n", "is empty; expected a sheet"),
    (b";;;\n;;;\n", "is empty; expected a sheet"),
    (b"1;2\n\x00\x00\x003;4", "expected a sheet; this is not text"),
    (b"1;2\n3;\x07\n", "line 2: found a control character"),
    (b"<html><table>", "this is a web page or markup under another name; save it as"),
    (b'{"a": 1}', "this looks like JSON"),
    (b"1;2\n" + b"9" * 5000, "row 2: 5000 characters long"),
    (b"1;2\n" * 1_500_000, "this is 6 MB long"),
]


@pytest.mark.parametrize(("data", "said"), WRONG)
def test_other_files_are_named_in_one_line(written, data, said):
    assert said in refusal(written(data))


def zipped(**parts: str) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return buffer.getvalue()


def test_other_workbooks_say_how_to_save_them(written):
    data = zipped(mimetype="application/vnd.oasis.opendocument.spreadsheet")
    assert "a spreadsheet workbook (.ods); save it as .xlsx or as CSV" in refusal(written(data))
    data = zipped(**{"xl/workbook.bin": ""})
    assert "a spreadsheet workbook (.xlsb); save it as" in refusal(written(data))


def test_a_zip_bomb_is_refused(written):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 70_000_000)
    assert "70 MB unpacked" in refusal(written(buffer.getvalue()))


def test_a_missing_file_gets_the_nearest_name(written):
    there = written("a;b\n", "head.csv")
    said = refusal(there.with_name("haed.csv"))
    assert said == f"haed.csv: no such file in {there.parent}; did you mean head.csv?"
    gone = there.parent / "none" / "head.csv"
    assert refusal(gone).endswith(f"the folder {gone.parent} is not there either")
    assert "is a folder" in refusal(there.parent)


def workbook(**sheets: list[list[object]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def test_a_workbook_gives_text_with_its_own_row_numbers(written):
    day = datetime.datetime(2025, 2, 1)
    data = workbook(
        leer=[], Nocke=[[None], ["Hub", "wann"], [0.1 + 0.2, day], [None], [7, "9,5"]], alt=[["x"]]
    )
    raw = open_sheet(written(data, "any.csv"))
    assert raw.kind == "workbook"
    assert [(r.number, r.cells) for r in raw.rows] == [
        (2, ("Hub", "wann")),
        (3, ("0.3", "2025-02-01")),
        (5, ("7", "9,5")),
    ]
    assert raw.understood == ('workbook, sheet "Nocke" (not read: "leer", "alt")',)
    named = open_sheet(written(data, "any.csv"), workbook_sheet="alt")
    assert named.rows[0].cells == ("x",)
    said = refusal(written(data, "any.csv"), workbook_sheet="neu")
    assert said == 'any.csv: no sheet "neu"; the workbook has "leer", "Nocke", "alt"'
    assert 'the sheet "leer" is empty' in refusal(written(data), workbook_sheet="leer")


def test_a_formula_without_a_stored_value_is_no_number(written):
    raw = open_sheet(written(workbook(a=[["lift", "flow"], [1, "=A2*2"]])))
    assert raw.rows[1].cells == ("1", "=A2*2")


def test_a_named_sheet_of_a_text_file_is_refused(written):
    assert "this is a text file" in refusal(written("a;b\n1;2\n"), workbook_sheet="x")
