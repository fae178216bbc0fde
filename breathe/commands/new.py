"""breathe new: a commented engine file from a few things one knows, asked for or given."""

from __future__ import annotations

import contextlib
import os
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from breathe.engine.findings import EngineFileError
from breathe.engine.write_new import QUESTIONS, Question, new_engine_text
from breathe.errors import BreatheError
from breathe.run_names import default_name, numbered

Decorated = TypeVar("Decorated", bound=Callable[..., Any])
Answers = dict[str, str]


def option_name(key: str) -> str:
    """The option that answers a question.

    Examples
    --------
    >>> option_name("engine.bore"), option_name("intake.valve.head_diameter")
    ('--bore', '--intake-valve-head-diameter')
    """
    return "--" + re.sub(r"[._]", "-", key.removeprefix("engine."))


def _question_options(command: Decorated) -> Decorated:
    for question in reversed(QUESTIONS):
        wanted = " Needed." if question.required else ""
        command = click.option(
            option_name(question.key),
            question.key.replace(".", "__"),
            metavar="TEXT",
            help=f'{question.text}, such as "{question.example}".{wanted}',
        )(command)
    return command


@click.command(name="new", short_help="Write a commented engine file from a few things you know.")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@_question_options
@click.option(
    "--set",
    "others",
    multiple=True,
    metavar="KEY=VALUE",
    help='Any other key of an engine file, such as --set "intake.valve.throat_diameter=29 mm".',
)
@click.option("--overwrite", is_flag=True, help="Replace FILE if it is there.")
def command(file: Path | None, others: tuple[str, ...], overwrite: bool, **given: str) -> None:
    """Write FILE, an engine file with what you know and, marked, what is assumed.

    A card, and the checking height, lash and lifts given for the intake, serve both cams; the
    --exhaust-cam options are for an exhaust that differs.

    What no option gives is asked for where a terminal is there; an empty answer leaves it out.
    """
    answers = {key.replace("__", "."): text for key, text in given.items() if text}
    answers |= dict(_key_and_value(text) for text in others)
    if file is not None:
        _refuse_to_overwrite(file, overwrite)
    asking = _terminal()
    if asking:
        _ask([q for q in QUESTIONS if q.asked and q.key not in answers], answers)
    else:
        _need(answers)
    text = _text(answers, asking, file.parent if file is not None else Path())
    path = file or _free_name(answers.get("engine.name", ""))
    _write(path, text)
    _tell(path)


def _terminal() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _key_and_value(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise BreatheError(f"--set: found {text!r}; expected KEY=VALUE, such as engine.rod=145 mm")
    return key.strip(), value.strip()


def _need(answers: Answers) -> None:
    """Without a terminal nothing can be asked: say at once all that is missing."""
    missing = [q for q in QUESTIONS if q.required and not answers.get(q.key)]
    if missing:
        told = "\n".join(f'  {option_name(q.key)} "{q.example}"   {q.text}' for q in missing)
        raise BreatheError(
            f"breathe new cannot ask, as there is no terminal; give these options too:\n{told}"
        )


def _ask(questions: list[Question], answers: Answers) -> None:
    if questions:
        click.echo("With its unit, please. Enter alone leaves a value out.", err=True)
    for question in questions:
        if _out_of_place(question, answers):
            continue
        answer = ""
        while not answer:
            answer = click.prompt(
                f"{question.text}, such as {question.example}",
                default="",
                show_default=False,
                err=True,
            ).strip()
            if not answer and not question.required:
                break
            if not answer:
                click.echo("This one is needed.", err=True)
        if answer:
            answers[question.key] = answer


def _out_of_place(question: Question, answers: Answers) -> bool:
    needs, spared = question.only_with, question.unless
    return bool((needs and needs not in answers) or (spared and spared in answers))


def _text(answers: Answers, asking: bool, folder: Path) -> str:
    """The file's text; on a terminal, what was wrong is asked for again."""
    while True:
        try:
            return new_engine_text(answers, folder)
        except EngineFileError as error:
            wrong = [question for question in QUESTIONS if _concerns(error, question.key)]
            if not asking or not wrong:
                raise
            click.echo(str(error), err=True)
            for question in wrong:
                answers.pop(question.key, None)
            _ask(wrong, answers)


def _concerns(error: EngineFileError, key: str) -> bool:
    table, _, last = key.rpartition(".")
    places = [f"[{table}] {last}:" if table else f"{last}:"]
    if key == "card":
        for cam in ("[intake.cam]", "[exhaust.cam]"):
            places += [f"{cam}:", *(f"{cam} {k}:" for k in ("opens", "closes", "centreline"))]
    return any(fault.startswith(tuple(places)) for fault in error.faults)


def _free_name(engine: str) -> Path:
    """A file name after the engine's that nothing bears yet."""
    stem = default_name(Path(re.sub(r"\W+", "_", engine.lower()).strip("_") or "my_engine"))
    return next(path for name in numbered(stem) if not (path := Path(f"{name}.toml")).exists())


def _refuse_to_overwrite(path: Path, overwrite: bool) -> None:
    if path.is_dir():
        raise BreatheError(f"{path}: is a folder; expected a file name, such as {path / 'my.toml'}")
    if path.exists() and not overwrite:
        raise BreatheError(f"{path}: is there already; choose another name, or add --overwrite")


def _write(path: Path, text: str) -> None:
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary.write_text(text, encoding="utf-8", newline="\n")
        os.replace(temporary, path)
    except OSError as error:
        raise BreatheError(_unwritable(path, error)) from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _unwritable(path: Path, error: OSError) -> str:
    """Which folder takes no file, why, and where one could go instead."""
    folder = path.parent
    why = (
        f" ({error.strerror})"
        if error.strerror and not isinstance(error, FileNotFoundError)
        else ""
    )
    what = "takes no new file" if folder.is_dir() else "cannot be made"
    elsewhere = [place / path.name for place in (Path(), Path.home()) if _takes_files(place)]
    offer = f"; try: breathe new {elsewhere[0]}" if elsewhere else "; name another folder"
    return f"{path}: cannot be written, the folder {folder.resolve()} {what}{why}{offer}"


def _takes_files(folder: Path) -> bool:
    return folder.is_dir() and os.access(folder, os.W_OK)


def _tell(path: Path) -> None:
    """What to look at next, and what in the file is odd."""
    from breathe.engine.read import read_engine
    from breathe.view.card import cards_as_read
    from breathe.view.console import Item, show

    engine = read_engine(path)
    name = f'"{path}"' if " " in str(path) else str(path)
    show(
        [
            f"Written: {path}, with {len(engine.assumed)} assumed values marked in it.",
            *(Item(line[0].upper() + line[1:]) for line in cards_as_read(engine)),
            *(Item(f"Note: {note}") for note in engine.notes),
            *(Item(f"Question: {question}") for question in engine.questions),
            Item(f"Next: breathe explain {name}   or   breathe compare {name}"),
        ]
    )
