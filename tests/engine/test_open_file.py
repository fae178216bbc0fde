"""The wrong file gets one clear line, never a traceback."""

from __future__ import annotations

import io
import zipfile

import pytest

from breathe.engine.findings import EngineFileError
from breathe.engine.read import read_engine

MINIMAL = '[engine]\ncylinders = 1\nbore = "88 mm"\nstroke = "65 mm"\n'
NEW = "`breathe new` writes one to fill in."


def message(path) -> str:
    with pytest.raises(EngineFileError) as refusal:
        read_engine(path)
    return str(refusal.value)


def written(tmp_path, content, name="mine.toml"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def workbook() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as book:
        book.writestr("xl/workbook.xml", "<workbook/>")
    return buffer.getvalue()


WRONG = [
    (
        b"RPM,Torque,Power\n1/min,lb-ft,hp\n2000,98.4,37.5\n5200,147.0,145.5\n",
        "expected an engine file (TOML); this looks like a dyno pull (columns RPM, Torque, "
        "Power). ",
    ),
    (
        "Winkel [°NW];Hub [mm]\n-66,0;0,12\n-62,0;0,46\n",
        "expected an engine file (TOML); this looks like a lift sheet (columns Winkel [°NW], Hub "
        "[mm]). ",
    ),
    (
        b"HEAD:\tE1\nlift\tin cfm\tex cfm\n.100\t64.1\t52.3\n",
        "expected an engine file (TOML); this looks like a flow sheet (columns lift, in cfm, ex "
        "cfm). ",
    ),
    (b"\xff\xd8\xff\xe0\x00\x10JFIF", "expected an engine file (TOML); this is a photo (JPEG). "),
    (workbook(), "expected an engine file (TOML); this is a spreadsheet workbook. "),
    (b'{"engine": 1}', "expected an engine file (TOML); this looks like JSON. "),
    (b"", "is empty; expected an engine file (TOML). "),
    (b"just a note to myself", "expected an engine file (TOML); this is other text. "),
    (
        b'[project]\nname = "x"\n',
        "expected an engine file with a table [engine]; this is TOML of another kind ([project]). ",
    ),
]


@pytest.mark.parametrize(("content", "said"), WRONG)
def test_other_kinds_of_files_are_recognised(tmp_path, content, said):
    path = written(tmp_path, content)
    assert message(path) == f"{path}: {said}{NEW}"


def test_a_missing_file_gets_the_nearest_name(tmp_path):
    written(tmp_path, MINIMAL, "road_four.toml")
    wrong = tmp_path / "rode_four.toml"
    assert message(wrong) == f"{wrong}: no such file; did you mean {tmp_path / 'road_four.toml'}?"


def test_a_missing_file_among_strangers_gets_the_list(tmp_path):
    written(tmp_path, MINIMAL, "a.toml")
    wrong = tmp_path / "something_else.toml"
    assert message(wrong) == f"{wrong}: no such file; that folder has a.toml"


def test_a_folder_lists_its_engine_files(tmp_path):
    written(tmp_path, MINIMAL, "a.toml")
    assert message(tmp_path) == f"{tmp_path}: is a folder; name a file in it: a.toml"


SYNTAX = [
    (
        "[engine]\nbore = 86 mm\n",
        "line 2, column 11: expected newline or end of document after a statement; a value with "
        'a unit needs quotes: bore = "86 mm"',
    ),
    (
        "[engine]\ncompression_ratio = 10,5\n",
        "line 2, column 23: expected newline or end of document after a statement; write "
        "compression_ratio = 10.5 (a point, not a comma)",
    ),
    (
        '[engine]\nname = "no end\n',
        "line 2, column 15: illegal character '\\n'; the line reads: name = \"no end",
    ),
    (
        "[engine]\nclass = road 4V\n",
        'line 2, column 9: invalid value; text needs quotes: class = "road 4V"',
    ),
]


@pytest.mark.parametrize(("text", "fault"), SYNTAX)
def test_syntax_faults_have_line_and_column(tmp_path, text, fault):
    path = written(tmp_path, text)
    assert message(path) == f"{path}: 1 fault\n  {fault}"


def test_another_encoding_is_named_with_its_line(tmp_path):
    path = written(tmp_path, '[engine]\n# Stößel\nname = "x"\n'.encode("latin-1"))
    assert message(path) == (
        f"{path}: 1 fault\n  line 2: a letter is not UTF-8 (byte 0xf6); save the file with "
        "encoding UTF-8"
    )


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_byte_order_marks_and_windows_line_ends_are_read(tmp_path, encoding):
    path = written(tmp_path, MINIMAL.replace("\n", "\r\n").encode(encoding))
    assert read_engine(path).cylinder_count == 1


def test_absurd_depth_and_length_are_refused(tmp_path):
    path = written(tmp_path, "a = " + "[" * 100_000)
    assert message(path) == f"{path}: 1 fault\n  brackets nested too deeply to be meant"
    path = written(tmp_path, "[engine]\nbore = " + "9" * 5000)
    assert message(path).startswith(f"{path}: 1 fault\n  not valid TOML: Exceeds the limit")
