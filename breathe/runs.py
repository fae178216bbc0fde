"""A run and its folder: inputs, what was assumed, versions, one commit per case, results as CSV.

    runs/NAME/run.json      what was asked, assumed and planned; written once, never changed
              inputs/       copies of the engine file and the files it names
              cases.sqlite  the row of each case as soon as it is done
              results.csv   all rows, or the table that answers, once all are done
              answer.json   what a search found, printed again from there

Nothing is overwritten: a run asked for again goes on where it stands, another run of the same name
gets a number. Everything new is written under a temporary name first. Standard library only.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import shutil
import sqlite3
import threading
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from breathe.about import About
from breathe.errors import BreatheError
from breathe.run_names import check_name, nearest, numbered
from breathe.version import VERSION

Row = dict[str, Any]

_FORMAT = 1
_ABOUT, _INPUTS, _CASES, _RESULTS = "run.json", "inputs", "cases.sqlite", "results.csv"
_ANSWER = "answer.json"
_PACKAGES = ("numpy", "scipy", "pandas", "numba", "cantera")


class RunError(BreatheError):
    """A run folder that cannot be made, found or read."""


class Run:
    """One run folder, open for reading and adding cases. Close it, or use ``with``."""

    def __init__(self, folder: Path, *, resumed: bool = False) -> None:
        self.folder = folder
        self.resumed = resumed
        """Whether the folder was there before."""
        self._lock = threading.Lock()
        try:
            found = json.loads((folder / _ABOUT).read_text(encoding="utf-8"))
            self.about = About.from_json(found["about"])
            self.kind: str = found.get("kind", "compare")
            """The verb that began it."""
            self.planned: tuple[str, ...] = tuple(found["planned"])
            """Keys of all cases; of a search, which finds its cases as it goes, none."""
            self.made = datetime.fromisoformat(found["made"])
            self.versions: dict[str, str] = found["versions"]
            self._files: dict[str, str] = found["files"]
            self.fingerprint: str = found["fingerprint"]
        except OSError as error:
            raise RunError(f"{folder / _ABOUT}: cannot be read: {error.strerror}") from error
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise RunError(
                f"{folder / _ABOUT}: not a run description of breathe {VERSION}; {_fault(error)}"
            ) from error
        with self._database_errors():
            self._cases = _connect(folder / _CASES)

    def __enter__(self) -> Run:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._cases.close()

    @property
    def name(self) -> str:
        return self.folder.name

    def done(self) -> dict[str, Row]:
        """The rows of all cases done so far, by case key."""
        with self._lock, self._database_errors():
            found = self._cases.execute("SELECT key, row FROM cases ORDER BY rowid").fetchall()
            return {key: json.loads(row) for key, row in found}

    def rows(self) -> list[Row]:
        """Rows done so far, in the order planned; of a search, in the order done."""
        done = self.done()
        if self.open_ended:
            return list(done.values())
        return [done[key] for key in self.planned if key in done]

    @property
    def open_ended(self) -> bool:
        """Whether its cases were not known when it began."""
        return not self.planned

    @property
    def finished(self) -> bool:
        """Whether there is nothing left to compute."""
        if self.open_ended:
            return self.answer() is not None
        return len(self.rows()) == len(self.planned)

    def answer(self) -> str | None:
        """What a search found, as it was written; None as long as it has not ended."""
        try:
            return (self.folder / _ANSWER).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None

    def keep(self, key: str, row: Mapping[str, Any]) -> None:
        """Store one case at once; called from any thread."""
        text = json.dumps({name: _plain(value) for name, value in row.items()})
        with self._lock, self._database_errors():
            self._cases.execute(
                "INSERT OR REPLACE INTO cases VALUES (?, ?, ?)", (key, text, _digest(key + text))
            )

    def finish(self, results: str, answer: str | None = None) -> None:
        """Write results.csv and, of a search, answer.json, unless they are there: a file the user
        may have changed is left alone.

        Raises
        ------
        RunError
            A file cannot be written; the cases are kept all the same.
        """
        if answer is not None:
            self._write_once(_ANSWER, answer)
        self._write_once(_RESULTS, results)

    def _write_once(self, name: str, text: str) -> None:
        target = self.folder / name
        if target.exists() and self._note(name):
            return
        temporary = target.with_name(f"{name}.{os.getpid()}.part")
        try:
            temporary.write_text(text, encoding="utf-8", newline="")
            os.replace(temporary, target)
        except OSError as error:
            temporary.unlink(missing_ok=True)
            raise RunError(
                f"{target}: cannot be written: {error.strerror}. If another program holds it "
                f"open, close it there and give the same command again. All cases are kept."
            ) from error
        with self._lock, self._database_errors():
            self._cases.execute("INSERT OR REPLACE INTO notes VALUES (?, ?)", (name, _digest(text)))

    def altered(self) -> list[str]:
        """Names of files in the folder that are not as they were written."""
        changed = [
            name
            for name, digest in self._files.items()
            if not _same(self.folder / _INPUTS / name, digest)
        ]
        for name in (_ABOUT, _RESULTS, _ANSWER):
            digest = self._note(name)
            if digest and not _same(self.folder / name, digest):
                changed.append(name)
        with self._lock, self._database_errors():
            found = self._cases.execute("SELECT key, row, digest FROM cases").fetchall()
        if any(_digest(key + row) != digest for key, row, digest in found):
            changed.append(_CASES)
        return changed

    def _note(self, name: str) -> str | None:
        with self._lock, self._database_errors():
            found = self._cases.execute("SELECT text FROM notes WHERE name = ?", (name,))
            first = found.fetchone()
        return first[0] if first else None

    @contextmanager
    def _database_errors(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.OperationalError as error:
            raise RunError(
                f"{self.folder / _CASES}: {error}. Cases stored before are kept; another folder "
                "can be chosen with --runs or --name."
            ) from error
        except (sqlite3.Error, ValueError) as error:
            raise RunError(
                f"{self.folder / _CASES}: damaged, so the cases in it cannot be read. "
                f"{self._still_there()} Move the folder away and give the compare command again "
                "to compute anew."
            ) from error

    def _still_there(self) -> str:
        if (self.folder / _RESULTS).is_file():
            return f"{_RESULTS} beside it still holds the figures."
        return f"There is no {_RESULTS} beside it, which is written when all cases are done."


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
    fingerprint = _digest(json.dumps(shape))
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
    """An earlier run, by its name below ``base`` or by the path of its folder."""
    for folder in (base / name, Path(name)):
        if (folder / _ABOUT).is_file():
            return Run(folder, resumed=True)
    names = [folder.name for folder in run_folders(base)]
    if not names:
        raise RunError(f"no run {name!r}: there is no run in {base.absolute()} yet")
    raise RunError(f"no run {name!r} in {base.absolute()}.{nearest(name, names)}")


def run_folders(base: Path) -> list[Path]:
    """Folders of all runs below ``base``, by name."""
    if not base.is_dir():
        return []
    return sorted(folder for folder in base.iterdir() if (folder / _ABOUT).is_file())


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
        (temporary / _INPUTS).mkdir(parents=True)
        files = _copy(sources, temporary / _INPUTS)
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
        (temporary / _ABOUT).write_text(text, encoding="utf-8", newline="")
        connection = _connect(temporary / _CASES)
        connection.execute("INSERT INTO notes VALUES (?, ?)", (_ABOUT, _digest(text)))
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
        copied[inside.as_posix()] = _digest((target / inside).read_bytes())
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


def _connect(path: Path) -> sqlite3.Connection:
    """Open for reading and writing where that is allowed, otherwise for reading only."""
    writable = os.access(path.parent, os.W_OK)
    connection = sqlite3.connect(
        str(path) if writable else f"{path.absolute().as_uri()}?immutable=1",
        uri=not writable,
        timeout=30.0,
        isolation_level=None,  # every statement is its own commit
        check_same_thread=False,
    )
    if writable:
        # A tenth of a millisecond per commit instead of ten; network folders stay with the old way.
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute(
            "CREATE TABLE IF NOT EXISTS cases (key TEXT PRIMARY KEY, row TEXT, digest TEXT)"
        )
        connection.execute("CREATE TABLE IF NOT EXISTS notes (name TEXT PRIMARY KEY, text TEXT)")
    return connection


def _fault(error: Exception) -> str:
    """What is wrong with a run's description, in words."""
    if isinstance(error, json.JSONDecodeError):
        return f"it is damaged or cut short (line {error.lineno}, column {error.colno})"
    if isinstance(error, KeyError):
        return f"{error.args[0]!r} is missing"
    return "it holds something else than expected"


def _fingerprint(folder: Path) -> str | None:
    try:
        with Run(folder) as run:
            return run.fingerprint
    except RunError:
        return None


def _plain(value: Any) -> Any:
    """A numpy scalar as Python's own."""
    return value.item() if hasattr(value, "item") else value


def _digest(text: str | bytes) -> str:
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def _same(path: Path, digest: str) -> bool:
    try:
        return _digest(path.read_bytes()) == digest
    except OSError:
        return False
