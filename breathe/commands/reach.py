"""breathe reach: what each degree and millimetre of travel brings, and what fits."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import click

from breathe.commands.best import search_options
from breathe.commands.options import speeds
from breathe.errors import BreatheError

LONGEST_DEG = 200.0
"""Added duration beyond which nobody means it (common practice, no source)."""


@click.command(
    name="reach", short_help="What each degree and millimetre of travel brings, and what fits."
)
@click.argument("engine", type=click.Path(path_type=Path))
@click.option(
    "--up-to",
    "longest",
    metavar="RANGE",
    help='Longest range to ask about, such as "84 deg crank". [default: what the sleeve has]',
)
@click.option(
    "--hold",
    type=click.Choice(["opening", "centre", "closing"]),
    help="Point that the intake sleeve keeps instead. [default: the file's; opening where it has "
    "no sleeve]",
)
@search_options
def command(
    engine: Path,
    longest: str | None,
    hold: str | None,
    speed_text: str | None,
    weights: str | None,
    units: str,
    csv: bool,
    threads: int | None,
    name: str | None,
    runs_folder: Path,
    redo: bool,
) -> None:
    """Gain of ENGINE's variable cam against its range of travel, full load, and the best place.

    Takes its figures from the cases that `breathe best` runs; a longer range than the sleeve has,
    or a sleeve the file does not have, is asked about with --up-to.
    """
    from breathe.commands.searching import asked, print_answer, search
    from breathe.engine.read import read_engine
    from breathe.run_names import default_name
    from breathe.runs import open_run, source_files
    from breathe.study.choose import default_speeds
    from breathe.study.describe import about
    from breathe.study.search.best import about_cases
    from breathe.study.search.reach import Hold, asked_about, reach
    from breathe.study.search.weights import weights_of

    built = read_engine(engine)
    at = default_speeds(built) if speed_text is None else speeds(speed_text)
    counted = weights_of(weights, at)
    up_to = None if longest is None else _degrees(longest)
    held = cast(Hold | None, hold)
    longer = asked_about(built, up_to, held).longer
    with open_run(
        runs_folder,
        name or f"{default_name(engine)}_reach",
        about(built, built.settings, at, 1.0),
        [],
        source_files(engine),
        kind="reach",
        asked=asked(built, at, counted.shares, up_to, held, built.mechanics),
        redo=redo,
    ) as run:
        if name and run.name != name and not run.resumed:
            click.echo(f"{name!r} holds another run, so this one is {run.name!r}.", err=True)
        unwritten = search(
            run,
            None if redo else runs_folder,
            about_cases(longer, at, turning=False),
            threads,
            lambda ask: reach(built, at, weights, up_to_deg=up_to, hold=held, evaluators=ask),
        )
        print_answer(run, units, csv=csv)
        if unwritten:
            raise unwritten


def _degrees(text: str) -> float:
    """Added duration in crank degrees."""
    from breathe.engine.quantities import QuantityError, read_quantity

    try:
        found = read_quantity(text, "angle")
    except QuantityError as error:
        raise BreatheError(f"--up-to: {error}") from None
    if not 1.0 <= found <= LONGEST_DEG:
        raise BreatheError(
            f"--up-to: found {text!r}; expected 1 to {LONGEST_DEG:g} deg crank of added duration"
        )
    return found
