"""breathe show: print an earlier run again, without computing."""

from __future__ import annotations

from pathlib import Path

import click

from breathe.commands.options import printing_options, runs_option, shown
from breathe.errors import BreatheError


@click.command(name="show", short_help="Print a run again without computing.")
@click.argument("run")
@printing_options
@runs_option
def command(
    run: str, show: str | None, against: str | None, units: str, csv: bool, runs_folder: Path
) -> None:
    """Print RUN, a name from `breathe runs` or the path of its folder, again."""
    from breathe.commands.printing import print_run
    from breathe.runs import load_run

    names = shown(show)
    with load_run(runs_folder, run) as found:
        if found.open_ended:
            from breathe.commands.searching import print_answer

            if show is not None or against is not None:
                raise BreatheError("--show and --against are for runs of compare only")
            if found.kind == "try":
                from breathe.commands.trying_print import print_kept

                print_kept(found, units, csv=csv)
                return
            print_answer(found, units, csv=csv)
            return
        print_run(found, names, units, against=against, csv=csv)
