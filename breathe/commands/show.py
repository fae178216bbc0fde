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
    """Print RUN, a name from `breathe runs` or the path of its folder, again.

    Of a control map --show takes the further tables of `breathe control`.
    """
    from breathe.commands.control import further_tables, refuse_travel
    from breathe.commands.printing import print_run
    from breathe.runs import load_run

    with load_run(runs_folder, run) as found:
        mapped = found.kind.startswith("control")
        if not found.open_ended:
            print_run(found, shown(show), units, against=against, csv=csv)
            return
        from breathe.commands.searching import STEPS, print_answer

        if against is not None or (show is not None and not mapped):
            raise BreatheError(
                "--show is for runs of compare and control, --against for compare only"
            )
        if found.kind == "try":
            from breathe.commands.trying_print import print_kept

            print_kept(found, units, csv=csv)
            return
        names = further_tables(show)
        if found.kind == STEPS:
            refuse_travel(names)
        print_answer(found, units, csv=csv, names=names)
