"""breathe compare: every cam setting at every speed, kept as a run, printed as tables."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from breathe.commands.options import (
    Count,
    Opening,
    printing_options,
    runs_option,
    shown,
    speeds,
    speeds_option,
)

if TYPE_CHECKING:
    from breathe.run import Run, RunError


@click.command(
    name="compare", short_help="Torque and more at every speed and cam setting: where longer helps."
)
@click.argument("engine", type=click.Path(path_type=Path))
@speeds_option
@click.option(
    "--settings",
    "setting_text",
    metavar="LIST",
    help="Labels from the engine file, durations a sleeve can reach, or turns of a phaser that "
    "moves alone, such as =-10,0,+10. [default: all]",
)
@click.option(
    "--throttle",
    type=Opening(),
    default=1.0,
    show_default=True,
    help="Opening, as a share of its area: 0.5 or 50%.",
)
@printing_options
@click.option("--threads", type=Count(256), help="[default: one per processor]")
@click.option("--name", metavar="RUN", help="Name of the run. [default: after the engine file]")
@runs_option
@click.option("--redo", is_flag=True, help="Compute anew, beside an earlier run of the same.")
def command(
    engine: Path,
    speed_text: str | None,
    setting_text: str | None,
    throttle: float,
    show: str | None,
    against: str | None,
    units: str,
    csv: bool,
    threads: int | None,
    name: str | None,
    runs_folder: Path,
    redo: bool,
) -> None:
    """Compare the cam settings of the engine in file ENGINE over its speed range.

    Every case is kept as soon as it is done. The same command again goes on where it was stopped,
    or prints at once what is complete.
    """
    names = shown(show)
    from breathe.commands.printing import print_run, results_csv
    from breathe.commands.progress import work
    from breathe.commands.settings import chosen
    from breathe.engine.read import read_engine
    from breathe.run_names import default_name
    from breathe.runs import open_run, source_files
    from breathe.study.checks.marks import as_now, with_clearances
    from breathe.study.choose import default_speeds
    from breathe.study.compare import plan
    from breathe.study.describe import about

    built = read_engine(engine)
    settings, merged = chosen(built, setting_text, against)
    for notice in merged:
        click.echo(notice, err=True)
    at = default_speeds(built) if speed_text is None else speeds(speed_text)
    description = with_clearances(about(built, settings, at, throttle), built, settings)
    jobs = plan(built, at, settings, throttle)
    with open_run(
        runs_folder,
        name or default_name(engine),
        description,
        [job.key for job in jobs],
        source_files(engine),
        redo=redo,
    ) as run:
        _announce(run, name)
        run.about = as_now(run.about, description)
        work(jobs, run, threads or os.cpu_count() or 1)
        unwritten = _finish(run, results_csv(run.rows()))
        print_run(run, names, units, against=against, csv=csv)
        if unwritten:
            raise unwritten


def _finish(run: Run, results: str) -> RunError | None:
    """Write results.csv; a fault of that waits until the tables are printed."""
    from breathe.run import RunError

    try:
        run.finish(results)
    except RunError as error:
        return error
    return None


def _announce(run: Run, asked: str | None) -> None:
    """Say where the run goes when it is not where one would look."""
    done, planned = len(run.done()), len(run.planned)
    if run.resumed and done == planned:
        click.echo(
            f"{run.folder} holds exactly this already; printed from there. --redo computes anew.",
            err=True,
        )
    elif run.resumed and done:
        click.echo(f"Going on with {run.folder}: {done} of {planned} cases are there.", err=True)
    elif asked and run.name != asked:
        click.echo(f"{asked!r} holds another run, so this one is {run.name!r}.", err=True)
