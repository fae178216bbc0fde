"""Names of runs: usable as a folder on every system, numbered when taken."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence
from itertools import count
from pathlib import Path

_RESERVED = {"con", "prn", "aux", "nul", "conin$", "conout$"} | {
    f"{port}{digit}" for port in ("com", "lpt") for digit in "0123456789¹²³"
}
"""Device names of Windows, which no file may bear there, whatever its extension."""
_ALLOWED = re.compile(r"\w[\w .+=,@-]*")
_LONGEST = 60


def check_name(name: str) -> str | None:
    """What is wrong with a run's name, as a message, or None.

    Examples
    --------
    >>> check_name("road four, new head") is None
    True
    >>> check_name("nul.old")
    "run name 'nul.old': 'nul' is a device on Windows; choose another name"
    """
    stem = name.split(".")[0].strip().lower()
    if stem in _RESERVED:
        return f"run name {name!r}: {stem!r} is a device on Windows; choose another name"
    if len(name) > _LONGEST:
        return f"run name {name!r}: {len(name)} characters; at most {_LONGEST} are allowed"
    if not _ALLOWED.fullmatch(name) or name[-1] in ". ":
        return (
            f"run name {name!r}: letters, digits, spaces and . _ - + = , @ are allowed, beginning "
            "with a letter or digit and not ending with a dot or space"
        )
    return None


def default_name(engine_file: Path) -> str:
    """A run's name from its engine file, or from its folder if the file is just 'engine'."""
    stem = engine_file.stem
    if stem.lower() == "engine":
        stem = engine_file.absolute().parent.name
    cleaned = re.sub(r"[^\w.+=,@-]+", "_", stem).strip("._ ")[: _LONGEST - 10]
    return cleaned if cleaned and check_name(cleaned) is None else f"run_{cleaned}".rstrip("_")


def numbered(name: str) -> Iterator[str]:
    """The name itself, then with -2, -3 ..."""
    yield name
    for number in count(2):
        yield f"{name}-{number}"


def nearest(name: str, known: Sequence[str]) -> str:
    """' Did you mean ...?' or the last few names, to stand behind a message."""
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    if close:
        return f" Did you mean {close[0]!r}?"
    return f" There are: {', '.join(known[:12])}{' ...' if len(known) > 12 else ''}"
