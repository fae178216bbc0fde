"""One run, open: what it holds, cases added one commit each, results written once.

    runs/NAME/run.json      what was asked, assumed and planned; written once, never changed
              inputs/       copies of the engine file and the files it names
              cases.sqlite  the row of each case as soon as it is done
              results.csv   all rows, or the table that answers, once all are done
              answer.json   what a search found, printed again from there

Everything new is written under a temporary name first. Standard library only.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from breathe.about import About
from breathe.errors import BreatheError
from breathe.version import VERSION

Row = dict[str, Any]

ABOUT, INPUTS, CASES = "run.json", "inputs", "cases.sqlite"
_RESULTS, _ANSWER = "results.csv", "answer.json"


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
            found = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
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
            raise RunError(f"{folder / ABOUT}: cannot be read: {error.strerror}") from error
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise RunError(
                f"{folder / ABOUT}: not a run description of breathe {VERSION}; {_fault(error)}"
            ) from error
        with self._database_errors():
            self._cases = connect(folder / CASES)

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
                "INSERT OR REPLACE INTO cases VALUES (?, ?, ?)", (key, text, digest_of(key + text))
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
            self._cases.execute(
                "INSERT OR REPLACE INTO notes VALUES (?, ?)", (name, digest_of(text))
            )

    def altered(self) -> list[str]:
        """Names of files in the folder that are not as they were written."""
        changed = [
            name
            for name, digest in self._files.items()
            if not _same(self.folder / INPUTS / name, digest)
        ]
        for name in (ABOUT, _RESULTS, _ANSWER):
            digest = self._note(name)
            if digest and not _same(self.folder / name, digest):
                changed.append(name)
        with self._lock, self._database_errors():
            found = self._cases.execute("SELECT key, row, digest FROM cases").fetchall()
        if any(digest_of(key + row) != digest for key, row, digest in found):
            changed.append(CASES)
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
                f"{self.folder / CASES}: {error}. Cases stored before are kept; another folder "
                "can be chosen with --runs or --name."
            ) from error
        except (sqlite3.Error, ValueError) as error:
            raise RunError(
                f"{self.folder / CASES}: damaged, so the cases in it cannot be read. "
                f"{self._still_there()} Move the folder away and give the compare command again "
                "to compute anew."
            ) from error

    def _still_there(self) -> str:
        if (self.folder / _RESULTS).is_file():
            return f"{_RESULTS} beside it still holds the figures."
        return f"There is no {_RESULTS} beside it, which is written when all cases are done."


def connect(path: Path) -> sqlite3.Connection:
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


def _plain(value: Any) -> Any:
    """A numpy scalar as Python's own."""
    return value.item() if hasattr(value, "item") else value


def digest_of(text: str | bytes) -> str:
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def _same(path: Path, digest: str) -> bool:
    try:
        return digest_of(path.read_bytes()) == digest
    except OSError:
        return False
