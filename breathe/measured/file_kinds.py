"""What a file is by its first bytes, and the text of one that is text."""

from __future__ import annotations

import codecs
import re

LARGEST = 5_000_000
"""Bytes; a sheet typed or exported by a person is far shorter."""

WORKBOOK = "a spreadsheet workbook"

_MAGIC = (
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a photo (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"BM", "a picture (BMP)"),
    (b"II*\x00", "a picture (TIFF)"),
    (b"MM\x00*", "a picture (TIFF)"),
    (b"RIFF", "a picture, sound or film"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook or document"),
    (b"SQLite format 3", "a database"),
    (b"PAR1", "a database table"),
    (b"\x89HDF", "a measurement archive (HDF5)"),
    (b"MATLAB 5.0", "a binary file of matrices"),
    (b"{\\rtf", "a word processor's document (RTF)"),
    (b"\x1f\x8b", "a compressed archive"),
    (b"7z\xbc\xaf", "a compressed archive"),
    (b"Rar!", "a compressed archive"),
)
_NEEDS_ZERO_BYTE = (b"BM", b"RIFF")
"""Magic that a text may start with as well."""


_DOS_LETTERS = {chr(n) for n in range(128)} | set("äöüÄÖÜß°µ²³éèêàçñ")
"""Where a text has byte 0x81, no letter in cp1252 but ü in cp850, and only these: cp850."""


def binary_kind(data: bytes) -> str:
    """What a file is that is not text or too long for one, or '' for text.

    Parameters
    ----------
    data : bytes
        The whole file.
    """
    for magic, kind in _MAGIC:
        if data.startswith(magic) and (magic not in _NEEDS_ZERO_BYTE or b"\x00" in data[:20]):
            return kind
    if data.startswith(b"PK\x03\x04"):
        return _zip_kind(data)
    if data[4:8] == b"ftyp":
        return "a photo or film"
    if len(data) > LARGEST:
        return f"{len(data) / 1e6:.0f} MB long"
    if b"\x00" in data and not utf16_kind(data):
        return "not text"
    return ""


def _zip_kind(data: bytes) -> str:
    if b"opendocument.spreadsheet" in data[:200]:
        return f"{WORKBOOK} (.ods)"
    if b"xl/workbook.bin" in data:
        return f"{WORKBOOK} (.xlsb)"
    if b"word/" in data or b"opendocument.text" in data[:200]:
        return "a word processor's document"
    return WORKBOOK if b"xl/" in data else "a zip archive"


def utf16_kind(data: bytes) -> str:
    """The UTF-16 or UTF-32 codec a file is written in, or ''.

    Without a byte order mark only where it is unmistakable: every second byte, and no other, is
    often zero.
    """
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        return "utf-32"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    even, odd = data[0::2].count(0), data[1::2].count(0)
    if len(data) < 8 or max(even, odd) < 0.35 * len(data) or min(even, odd) > 0:
        return ""
    return "utf-16-be" if even else "utf-16-le"


def decoded(data: bytes) -> tuple[str, str]:
    """The text of a file and how it was encoded, as shown to the user.

    UTF-8 with or without byte order mark, UTF-16, else Western European (cp1252). Where a few
    bytes are no letters, they become U+FFFD and the encoding says so.

    Raises
    ------
    ValueError
        'line n: ...' for bytes no text holds.
    """
    codec = utf16_kind(data)
    if codec:
        return _checked(data.decode(codec, errors="replace"), codec.upper())
    marked = data.startswith(codecs.BOM_UTF8)
    try:
        return _checked(data.decode("utf-8-sig"), "UTF-8")
    except UnicodeDecodeError:
        text = data.decode("utf-8-sig", errors="replace")
        letters = sum(ord(c) > 127 for c in text) - text.count("\ufffd")
        if marked or letters >= text.count("\ufffd"):
            return _checked(text, "UTF-8")
    if b"\x81" in data and set(data.decode("cp850")) <= _DOS_LETTERS:
        return _checked(data.decode("cp850"), "DOS (cp850)")
    return _checked(data.decode("cp1252", errors="replace"), "Western European (cp1252)")


def _checked(text: str, encoding: str) -> tuple[str, str]:
    text = text.lstrip("\ufeff").rstrip("\x1a\r\n")
    control = re.search(r"[\x00-\x08\x0e-\x1f\x7f]", text)
    if control:
        line = len(re.findall(r"\r\n|\r|\n", text[: control.start()])) + 1
        raise ValueError(f"line {line}: found a control character; not text, or damaged")
    damaged = text.count("\ufffd")
    if damaged > max(3, len(text) // 50):
        raise ValueError(f"{damaged} of its {len(text)} letters cannot be read as {encoding}")
    if damaged:
        encoding += f", {damaged} letter{'s' if damaged > 1 else ''} damaged"
    return text, encoding
