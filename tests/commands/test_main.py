"""Help, faults and exit statuses of the command line."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from breathe.commands import main as module
from breathe.commands.main import EXAMPLES, VERBS, main
from breathe.errors import BreatheError
from breathe.version import VERSION

HEAVY = {"numpy", "scipy", "pandas", "numba", "cantera", "rich"}


def loaded_after(*arguments: str) -> set[str]:
    """Top-level modules loaded by one command line in a fresh interpreter."""
    script = (
        "import sys, json; from breathe.commands.main import main\n"
        f"status = main({list(arguments)!r})\n"
        "print('\\n' + json.dumps(sorted({m.split('.')[0] for m in sys.modules})))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, encoding="utf-8"
    )
    return set(json.loads(done.stdout.splitlines()[-1]))


@pytest.mark.parametrize(
    "arguments", [["--help"], [], ["--version"], ["compar"], ["--hepl"], ["compare", "--help"]]
)
def test_help_and_slips_load_nothing_heavy(arguments):
    assert not loaded_after(*arguments) & HEAVY


def test_python_m_breathe_answers():
    done = subprocess.run(
        [sys.executable, "-m", "breathe", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout == f"breathe {VERSION}\n"


def test_help_lists_every_verb_and_fits(breathe):
    answer = breathe("--help")
    assert answer.status == 0
    assert all(f"  {verb} " in answer.out for verb in VERBS)
    assert max(map(len, answer.out.splitlines())) <= 80


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_loads_and_has_help(breathe, verb):
    answer = breathe(verb, "--help")
    assert answer.status == 0 and answer.out.startswith(f"Usage: breathe {verb}")
    assert max(map(len, answer.out.splitlines())) <= 80
    assert EXAMPLES[verb].startswith(f"breathe {verb}")
    assert f"Example: {EXAMPLES[verb]}" in answer.out


def test_mistyped_verb_gets_the_nearest_and_an_example(breathe):
    answer = breathe("compar", "x.toml")
    assert answer.status == 2 and answer.out == ""
    assert (
        answer.err
        == f"'compar' is no command. Did you mean 'compare'?\nExample: {EXAMPLES['compare']}\n"
    )


def test_engine_file_without_a_verb(breathe):
    answer = breathe("four.toml")
    assert (answer.status, answer.err) == (
        2,
        "'four.toml' is no command. Did you mean 'compare four.toml'?\n",
    )


def test_unlike_any_verb_lists_them(breathe):
    assert f"There are: {', '.join(VERBS)}." in breathe("zzzz").err


def test_mistyped_option_gets_the_nearest_and_an_example(breathe):
    answer = breathe("compare", "x.toml", "--spedes", "1000")
    assert answer.status == 2
    assert answer.err == (
        f"No such option '--spedes'. Did you mean '--speeds'?\nExample: {EXAMPLES['compare']}\n"
    )


@pytest.mark.parametrize(
    ("error", "status", "text"),
    [
        (BreatheError("four.toml: 1 fault"), 2, "four.toml: 1 fault\n"),
        (KeyboardInterrupt(), 130, "\nStopped; nothing was changed.\n"),
        (PermissionError(13, "Permission denied", "x.csv"), 2, "x.csv: Permission denied\n"),
        (MemoryError(), 2, "not enough memory for this; try fewer --threads\n"),
    ],
)
def test_every_fault_is_one_message_and_a_status(monkeypatch, capsys, error, status, text):
    def fail(*_, **__):
        raise error

    monkeypatch.setattr(module.breathe, "main", fail)
    assert main(["runs"]) == status
    assert capsys.readouterr().err == text


def test_a_fault_of_breathe_says_so_and_where(monkeypatch, capsys):
    def fail(*_, **__):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(module.breathe, "main", fail)
    assert main(["runs"]) == 1
    told = capsys.readouterr().err
    assert "fault of breathe" in told and "ZeroDivisionError: division by zero" in told
    assert "test_main.py" in told
