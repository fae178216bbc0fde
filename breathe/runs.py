"""Runs begun and found again, each in a folder of its own as `breathe.run` describes it.

Nothing is overwritten: a run asked for again goes on where it stands, another run of the same name
gets a number. Standard library only.
"""

from __future__ import annotations

import json
import os
import platform
import shutil
import sqlite3
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from breathe.about import About
from breathe.run import ABOUT, CASES, INPUTS, Run, RunError, connect, digest_of
from breathe.run_names import check_name, nearest, numbered
from breathe.version import VERSION

_FORMAT = 1
_PACKAGES = ("numpy", "scipy", "pandas", "numba", "cantera")


def open_run(
    base: Path,
    name: str,
    about: About,
    planned: Sequence[str],
    sources: Sequence[Path] = (),
    *,
    kind: str = "compare",
    asked: str = "",
    redo: bool = False,
) -> Run:
    """The run of this name and these inputs: the one begun before, or a new one.

    Parameters
    ----------
    base : Path
        Folder of all runs; made if missing.
    name : str
        Checked; if taken by other inputs, or with ``redo``, a number is added.
    about : About
    planned : sequence of str
        Keys of all cases, each deciding its row (inputs and model version), in printing order;
        none for a search, whose ``asked`` decides what it finds.
    sources : sequence of Path
        Files copied into the run, the engine file first.
    kind : str
        The verb.
    asked : str
        What else decides the answer: searches that differ in it are different runs.
    redo : bool
        Compute anew beside an earlier run of the same inputs.

    Raises
    ------
    RunError
        The name is not usable everywhere, or the folder cannot be written.
    """
    problem = check_name(name)
    if problem:
        raise RunError(problem)
    shape = [[note.label for note in about.settings], about.standard, list(planned)]
    if kind != "compare":
        shape += [kind, asked]
    fingerprint = digest_of(json.dumps(shape))
    for candidate in numbered(name):
        folder = base / candidate
        if folder.exists():
            if not redo and _fingerprint(folder) == fingerprint:
                return Run(folder, resumed=True)
            continue
        if _make(folder, about, planned, sources, fingerprint, kind):
            return Run(folder)
    raise AssertionError("numbers do not end")


def load_run(base: Path, name: str) -> Run:
    """An earlier run, by its name below ``base`` or by the path of its folder.

    Raises
    ------
    RunError
        There is none, or it cannot be read.
    """
    for folder in (base / name, Path(name)):
        if (folder / ABOUT).is_file():
            return Run(folder, resumed=True)
    names = [folder.name for folder in run_folders(base)]
    if not names:
        raise RunError(f"no run {name!r}: there is no run in {base.absolute()} yet")
    raise RunError(f"no run {name!r} in {base.absolute()}.{nearest(name, names)}")


def run_folders(base: Path) -> list[Path]:
    """Folders of all runs below ``base``, by name."""
    if not base.is_dir():
        return []
    return sorted(folder for folder in base.iterdir() if (folder / ABOUT).is_file())


def source_files(engine_file: Path) -> list[Path]:
    """The engine file and every file beside it that one of its values names."""
    with engine_file.open("rb") as file:
        values = list(_texts(tomllib.load(file)))
    named = [engine_file.parent / text for text in values if 0 < len(text) < 200]
    return [engine_file, *dict.fromkeys(path for path in named if _is_file(path))]


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a text that can be no path on this system
        return False


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def _make(
    folder: Path,
    about: About,
    planned: Sequence[str],
    sources: Sequence[Path],
    fingerprint: str,
    kind: str,
) -> bool:
    """Build the folder under a temporary name, then give it its own; False if that is taken."""
    temporary = folder.with_name(f".{folder.name}.{os.getpid()}.part")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        (temporary / INPUTS).mkdir(parents=True)
        files = _copy(sources, temporary / INPUTS)
        text = json.dumps(
            {
                "format": _FORMAT,
                "kind": kind,
                "made": datetime.now().astimezone().isoformat(timespec="seconds"),
                "versions": versions(),
                "about": asdict(about),
                "files": files,
                "fingerprint": fingerprint,
                "planned": list(planned),
            },
            indent=1,
            ensure_ascii=False,
        )
        (temporary / ABOUT).write_text(text, encoding="utf-8", newline="")
        connection = connect(temporary / CASES)
        connection.execute("INSERT INTO notes VALUES (?, ?)", (ABOUT, digest_of(text)))
        connection.close()
        try:
            temporary.rename(folder)
        except OSError:
            if folder.exists():  # another process was quicker
                return False
            raise
    except (OSError, sqlite3.Error) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RunError(
            f"cannot write in {folder.parent.absolute()}: {reason}. "
            f'Choose another folder, such as --runs "{Path.home() / "breathe-runs"}"'
        ) from error
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
    return True


def _copy(sources: Sequence[Path], target: Path) -> dict[str, str]:
    """Copies with their hashes, by name; folders beside the engine file are kept."""
    copied: dict[str, str] = {}
    for number, source in enumerate(sources):
        try:
            inside = source.resolve().relative_to(sources[0].resolve().parent)
        except ValueError:
            inside = Path(f"elsewhere-{number}") / source.name
        (target / inside).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target / inside)
        copied[inside.as_posix()] = digest_of((target / inside).read_bytes())
    return copied


def versions() -> dict[str, str]:
    """Of breathe, Python and the packages that decide a number, without importing them."""
    found = {"breathe": VERSION, "python": platform.python_version(), "system": platform.platform()}
    for package in _PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "not installed"
    return found


def _fingerprint(folder: Path) -> str | None:
    try:
        with Run(folder) as run:
            return run.fingerprint
    except RunError:
        return None
