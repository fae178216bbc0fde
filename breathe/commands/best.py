"""breathe best: the best setting at each speed, the best fixed cam, and what one gains."""

from __future__ import annotations

from pathlib import Path

import click

from breathe.commands.options import Count, Decorated, runs_option, speeds, speeds_option


def search_options(command: Decorated) -> Decorated:
    """Options that `best` and `reach` share."""
    for option in (
        click.option(
            "--redo", is_flag=True, help="Compute anew, beside an earlier run of the same."
        ),
        runs_option,
        click.option("--name", metavar="RUN", help="Name of the run. [default: after the file]"),
        click.option("--threads", type=Count(256), help="[default: one per processor]"),
        click.option("--csv", is_flag=True, help="Only the tidy table as CSV, in SI units."),
        click.option(
            "--units",
            type=click.Choice(["metric", "imperial"]),
            default="metric",
            show_default=True,
            help="Units of the printed tables.",
        ),
        click.option(
            "--weights",
            metavar="TEXT|FILE",
            help='What each speed counts: "10 % below 2500, 60 % 2500-5500, 30 % above", or a CSV '
            "of rpm and weight. [default: all the same]",
        ),
        speeds_option,
    ):
        command = option(command)
    return command


@click.command(
    name="best",
    short_help="Best setting at each speed, best fixed cam, and what variable gains over it.",
)
@click.argument("engine", type=click.Path(path_type=Path))
@search_options
def command(
    engine: Path,
    speed_text: str | None,
    weights: str | None,
    units: str,
    csv: bool,
    threads: int | None,
    name: str | None,
    runs_folder: Path,
    redo: bool,
) -> None:
    """Find the best setting of ENGINE's sleeves and phasers at each speed, full load.

    Beside it the best fixed cam, found with the same freedom, what a cam of two or three steps
    would get, and what standing wrong costs. Every case is kept; the same command goes on.
    """
    from breathe.commands.searching import asked, print_answer, search
    from breathe.engine.read import read_engine
    from breathe.run_names import default_name
    from breathe.runs import open_run, source_files
    from breathe.study.choose import default_speeds
    from breathe.study.describe import about
    from breathe.study.search.best import about_cases, best
    from breathe.study.search.weights import weights_of

    built = read_engine(engine)
    at = default_speeds(built) if speed_text is None else speeds(speed_text)
    counted = weights_of(weights, at)
    with open_run(
        runs_folder,
        name or f"{default_name(engine)}_best",
        about(built, built.settings, at, 1.0),
        [],
        source_files(engine),
        kind="best",
        asked=asked(built, at, counted.shares, built.mechanics),
        redo=redo,
    ) as run:
        if name and run.name != name and not run.resumed:
            click.echo(f"{name!r} holds another run, so this one is {run.name!r}.", err=True)
        unwritten = search(
            run,
            None if redo else runs_folder,
            about_cases(built, at),
            threads,
            lambda ask: best(built, at, weights, evaluate=ask(built)),
        )
        print_answer(run, units, csv=csv)
        if unwritten:
            raise unwritten
