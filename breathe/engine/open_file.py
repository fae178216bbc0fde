"""From a path to a TOML table; a wrong, missing or broken file gets one clear line."""

from __future__ import annotations

import difflib
import re
import tomllib
from pathlib import Path
from typing import Any

from breathe.engine.findings import EngineFileError
from breathe.measured.file_kinds import binary_kind, utf16_kind
from breathe.measured.sheet import SheetError, looks_like, sheet_of_text

_WANTED = "expected an engine file (TOML)"
_NEW = "`breathe new` writes one to fill in"


def load_toml(path: Path) -> dict[str, Any]:
    """The table in an engine file.

    Raises
    ------
    EngineFileError
        One line for a file that is not there, is of another kind, or is not valid TOML.
    """
    text = _text(path)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise EngineFileError(str(path), ["brackets nested too deeply to be meant"]) from None
    except ValueError as error:  # tomllib's own is a ValueError; so is an endless integer
        looks = _other_kind(path, text)
        if looks:
            raise EngineFileError(
                str(path), [f"{_WANTED}; {looks}. {_NEW}."], about_file=True
            ) from None
        raise EngineFileError(str(path), [_syntax(str(error), text)]) from None


def _text(path: Path) -> str:
    try:
        if path.is_dir():
            raise EngineFileError(str(path), [_about_folder(path)], about_file=True)
        data = path.read_bytes()
    except FileNotFoundError:
        raise EngineFileError(str(path), [_about_missing(path)], about_file=True) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise EngineFileError(
            str(path), [f"cannot be opened ({reason})"], about_file=True
        ) from None
    if not data.strip():
        raise EngineFileError(str(path), [f"is empty; {_WANTED}. {_NEW}."], about_file=True)
    binary = binary_kind(data)
    if binary:
        raise EngineFileError(str(path), [f"{_WANTED}; this is {binary}. {_NEW}."], about_file=True)
    return _decoded(path, data)


def _decoded(path: Path, data: bytes) -> str:
    try:
        text = data.decode(utf16_kind(data) or "utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        fault = f"line {line}: a letter is not UTF-8 (byte 0x{data[error.start]:02x})"
        raise EngineFileError(str(path), [f"{fault}; save the file with encoding UTF-8"]) from None
    return text.replace("\r\n", "\n")


def _about_folder(path: Path) -> str:
    files = _engine_files(path)
    if files:
        return f"is a folder; name a file in it: {', '.join(files[:6])}"
    return f"is a folder without engine files (*.toml). {_NEW[0].upper()}{_NEW[1:]}."


def _about_missing(path: Path) -> str:
    folder = path.parent
    if not folder.is_dir():
        return f"no such file; the folder {folder} is not there either"
    files = _engine_files(folder)
    near = difflib.get_close_matches(path.stem, [Path(f).stem for f in files], n=3, cutoff=0.5)
    if near:
        return f"no such file; did you mean {' or '.join(str(folder / f'{n}.toml') for n in near)}?"
    if files:
        return f"no such file; that folder has {', '.join(files[:6])}"
    return f"no such file, and no other engine file (*.toml) in that folder. {_NEW}."


def _engine_files(folder: Path) -> list[str]:
    try:
        return sorted(p.name for p in folder.glob("*.toml"))
    except OSError:
        return []


def _other_kind(path: Path, text: str) -> str:
    """What a text that is no TOML looks like, or nothing if it seems meant as TOML."""
    lines = [line.strip() for line in text.splitlines() if line.strip()][:40]
    head = text.lstrip()[:1]
    if head == "<":
        return "this looks like a web page"
    if head == "{":
        return "this looks like JSON"
    if any(re.match(r"\[+[\w. ]+\]+|[\w.]+\s*=", line) for line in lines):
        return ""
    try:
        kind = looks_like(sheet_of_text(path, text, "UTF-8"))
    except SheetError:
        kind = ""
    return f"this looks like {kind}" if kind else "this is other text"


def _syntax(message: str, text: str) -> str:
    """One line for a syntax fault: where, what the line says, what is likely meant."""
    match = re.search(r"^(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)", message)
    if match is None:
        return f"not valid TOML: {message.splitlines()[0][:80]}"
    what = match[1][0].lower() + match[1][1:]
    if match[2] is None:
        return f"at the end of the file: {what}; a quote or bracket is not closed?"
    number, column = int(match[2]), int(match[3])
    lines = text.split("\n")
    line = lines[number - 1].strip() if number <= len(lines) else ""
    return f"line {number}, column {column}: {what}; {_hint(line)}"


def _hint(line: str) -> str:
    bare = re.match(r"([\w.]+)\s*=\s*([-+.,\d][^#\"'\[\]]*?)\s*(?:#.*)?$", line)
    if bare and re.fullmatch(r"[-+]?\d+,\d+", bare[2]):
        return f"write {bare[1]} = {bare[2].replace(',', '.')} (a point, not a comma)"
    if bare and re.search(r"[^-+.,\d_eE]", bare[2]):
        return f'a value with a unit needs quotes: {bare[1]} = "{bare[2]}"'
    if re.search(r'"[^"]*\\', line):
        return (
            "in double quotes a backslash starts a code; write forward slashes, or single quotes; "
            f"the line reads: {line[:60]}"
        )
    word = re.match(r"([\w.]+)\s*=\s*([A-Za-z][^#\"']*?)\s*(?:#.*)?$", line)
    if word:
        return f'text needs quotes: {word[1]} = "{word[2]}"'
    return f"the line reads: {line[:60]}" if line else "the line is empty"
