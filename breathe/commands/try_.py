"""breathe try: hundreds of what-ifs from a sheet, each row an engine of its own."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import click

from breathe.commands.options import Count, Opening, runs_option, speeds, speeds_option
from breathe.errors import BreatheError

FIGURES = ("torque", "peak-torque", "power", "ve", "residual", "bsfc", "knock")


@click.command(name="try", short_help="Hundreds of what-ifs from a sheet: ranked, what mattered.")
@click.argument("engine", type=click.Path(path_type=Path))
@click.argument("plan", type=click.Path(path_type=Path), required=False)
@speeds_option
@click.option(
    "--setting",
    metavar="LABEL",
    help="Cam setting that a blank cell keeps. [default: the file's standard]",
)
@click.option(
    "--throttle",
    type=Opening(),
    default=1.0,
    show_default=True,
    help="Opening, as a share of its area: 0.5 or 50%.",
)
@click.option(
    "--by",
    type=click.Choice(FIGURES),
    default="torque",
    show_default=True,
    help="What the ranking goes by; torque is its mean over the speeds.",
)
@click.option(
    "--rows",
    "rows_wanted",
    type=Count(99_999),
    metavar="N",
    help="Run only N rows, drawn evenly at random, always the same ones. [default: all]",
)
@click.option("--top", type=Count(1000), default=10, show_default=True, help="Rows printed.")
@click.option("--sheet", metavar="NAME", help="Which sheet of a workbook. [default: the first]")
@click.option("--yes", is_flag=True, help="Begin without asking, however long it takes.")
@click.option(
    "--threads", type=Count(256), help="Cases at a time. [default: 2, or 1 on a single core]"
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Run on a dask scheduler, tcp://HOST:PORT, or processes:N of this machine. Anyone who "
    "reaches a scheduler's port can run code there: keep it inside a network you trust.",
)
@click.option(
    "--units",
    type=click.Choice(["metric", "imperial"]),
    default="metric",
    show_default=True,
    help="Units of the answers.",
)
@click.option("--csv", is_flag=True, help="Only the result sheet, as CSV.")
@click.option("--name", metavar="RUN", help="Name of the run. [default: after both files]")
@runs_option
@click.option("--redo", is_flag=True, help="Compute anew, beside an earlier run of the same.")
def command(
    engine: Path,
    plan: Path | None,
    speed_text: str | None,
    setting: str | None,
    throttle: float,
    by: str,
    rows_wanted: int | None,
    top: int,
    sheet: str | None,
    yes: bool,
    threads: int | None,
    cluster: str | None,
    units: str,
    csv: bool,
    name: str | None,
    runs_folder: Path,
    redo: bool,
) -> None:
    """Run every row of the sheet PLAN as a what-if of the engine in file ENGINE.

    Columns are keys of the engine file (engine.compression_ratio, pipe.intake runner.length) or
    short names (CR, runner, duration, centreline, IVO, IVC, speed, throttle), the unit in the
    header or the cell; without PLAN all of them are listed. A blank cell keeps the file's value. A
    bad row is listed and stops nothing; every case is kept, and the same command goes on where it
    stopped.
    """
    if plan is not None and plan.suffix == ".toml" and engine.suffix != ".toml":
        raise BreatheError(
            f"{engine} and {plan}: the other way round, engine file first: breathe try {plan} "
            f"{engine}"
        )
    from breathe.commands.trying import Trying
    from breathe.commands.trying_print import list_columns
    from breathe.study.choose import default_speeds
    from breathe.study.plans.notes import plan_notes
    from breathe.study.plans.sheet import drawn, read_plan
    from breathe.study.plans.what_if import base_of

    wanted = None if speed_text is None else speeds(speed_text)
    base = base_of(engine, setting, lambda built: wanted or default_speeds(built), throttle)
    if plan is None:
        list_columns(base)
        return
    read = read_plan(plan, base.raw, sheet)
    read = replace(read, understood=(*read.understood, *plan_notes(base, read)))
    trying = Trying(
        base=base,
        plan=read if rows_wanted is None else drawn(read, rows_wanted),
        drawn_from=len(read.rows) if rows_wanted and rows_wanted < len(read.rows) else 0,
        spec=cluster or f"threads:{threads or min(2, os.cpu_count() or 1)}",
        yes=yes,
    )
    with trying.open(runs_folder, name, redo) as run:
        trying.work(run, runs_folder if not redo else None)
        trying.show(run, by, units, top, csv=csv)
