"""The command line: finds the verb, and turns every fault into one message and an exit status.

0 done, 1 a fault of breathe itself, 2 something the user can put right, 130 stopped by the user.
A verb's module is imported only when that verb runs, so help and faults come at once.
"""

from __future__ import annotations

import difflib
import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

import click

from breathe.errors import BreatheError, Stopped
from breathe.version import VERSION
from breathe.view.console import prepare_streams

VERBS = {
    "best": "Best setting at each speed, best fixed cam, and what variable gains over it.",
    "check": "Will anything touch, will the springs hold, does it fit, at every setting.",
    "compare": "Torque and more at every speed and cam setting: where longer helps.",
    "control": "Map of setting over speed and load for the actuator, and its file.",
    "explain": "What was read from an engine file, assumed and worked out; no simulation.",
    "lobe": "A measured lift sheet: durations, flanks, and is it what was ordered?",
    "new": "Write a commented engine file from a few things you know.",
    "reach": "What each degree and millimetre of travel brings, and what fits.",
    "runs": "List the runs kept in the run folder.",
    "show": "Print a run again without computing.",
    "try": "Hundreds of what-ifs from a sheet: ranked, and which input mattered most.",
}
EXAMPLES = {
    "best": "breathe best engines/road_four_sleeve.toml --speeds 1500:7500:500",
    "check": "breathe check engines/road_four_sleeve.toml",
    "compare": "breathe compare engines/road_four_sleeve.toml --speeds 1500:7500:500",
    "control": "breathe control engines/road_four_sleeve.toml --speeds 1000:7000:1000",
    "explain": "breathe explain engines/road_four_sleeve.toml",
    "lobe": 'breathe lobe my_lobe.csv --ordered "264 deg crank at 0.1 mm"',
    "new": "breathe new my_engine.toml",
    "reach": "breathe reach engines/road_four_sleeve.toml --speeds 1500:7500:500",
    "runs": "breathe runs",
    "show": "breathe show road_four_sleeve --show power,residual",
    "try": "breathe try engines/single_400.toml plan.csv --speeds 4000:9000:1000",
}
BREATHE_FAULT, USER_FAULT, STOPPED = 1, 2, 130


class Verbs(click.Group):
    """Subcommands known by name, loaded on use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(VERBS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in VERBS:
            return None
        module = "try_" if name == "try" else name  # a word of Python's own
        command: click.Command = importlib.import_module(f"breathe.commands.{module}").command
        command.epilog = command.epilog or f"\b\n{_example(name)}"  # \b: click fills no lines
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(VERBS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name in VERBS or name.startswith("-"):
            return super().resolve_command(ctx, args)
        close = difflib.get_close_matches(name, VERBS, n=1, cutoff=0.4)
        if Path(name).suffix == ".toml":
            raise click.UsageError(f"'{name}' is no command. Did you mean 'compare {name}'?", ctx)
        hint = f"Did you mean '{close[0]}'?" if close else f"There are: {', '.join(VERBS)}."
        raise click.UsageError(
            f"'{name}' is no command. {hint}\n{_example(close[0] if close else 'compare')}", ctx
        )


@click.group(
    cls=Verbs,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Begin with: breathe compare engines/road_four_sleeve.toml",
)
@click.version_option(VERSION, "-V", "--version", message="breathe %(version)s")
def breathe() -> None:
    """Which cam duration suits which engine speed and load, before metal is cut.

    Estimates only: they replace no clearance check, no licensed practice, no local rule.
    """


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line.

    Returns
    -------
    int
        Exit status.
    """
    prepare_streams()
    try:
        result = breathe.main(
            args=None if arguments is None else list(arguments),
            prog_name="breathe",
            standalone_mode=False,
        )
        sys.stdout.flush()
        return result if isinstance(result, int) else 0
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        return 0
    except click.ClickException as error:
        return _complain(_usage(error), USER_FAULT)
    except BreatheError as error:
        return _complain(str(error), USER_FAULT)
    except Stopped as error:
        return _complain(f"\n{error}", STOPPED)
    except (KeyboardInterrupt, click.Abort):
        return _complain("\nStopped; nothing was changed.", STOPPED)
    except (BrokenPipeError, SystemExit):  # the second is click's answer to the first
        _let_go_of_pipe()
        return 0
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        return _complain(f"{where}{error.strerror or error}", USER_FAULT)
    except MemoryError:
        return _complain("not enough memory for this; try fewer --threads", USER_FAULT)
    except Exception as error:
        if sys.flags.dev_mode:  # python -X dev -m breathe shows where
            raise
        return _complain(_own_fault(error), BREATHE_FAULT)


def _complain(message: str, status: int) -> int:
    from breathe.view.console import carried

    print(carried(message, sys.stderr.encoding), file=sys.stderr)
    return status


def _usage(error: click.ClickException) -> str:
    """What is wrong with the command line, the nearest right thing, and one example line."""
    message = error.format_message()
    context = getattr(error, "ctx", None)
    verb = context.info_name if context is not None else None
    if "\n" in message or verb not in EXAMPLES:
        return message
    return f"{message}\n{_example(verb)}"


def _example(verb: str) -> str:
    return f"Example: {EXAMPLES[verb]}"


def _own_fault(error: Exception) -> str:
    frame = traceback.extract_tb(error.__traceback__)[-1]
    return (
        f"This is a fault of breathe {VERSION}, not yours: {type(error).__name__}: {error} "
        f"({Path(frame.filename).name}, line {frame.lineno}, {frame.name}).\n"
        "What was computed before is kept. Please report this line with the engine file."
    )


def _let_go_of_pipe() -> None:
    """The reader, such as `head`, has gone: nothing more can be said, and nothing is wrong."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def script() -> None:
    """Entry point of the installed command."""
    sys.exit(main())
