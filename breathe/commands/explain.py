"""breathe explain: an engine file read, filled in and worked out, without simulating."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    name="explain",
    short_help="What was read from an engine file, assumed and worked out; no simulation.",
)
@click.argument("engine", type=click.Path(path_type=Path))
@click.option(
    "--units",
    type=click.Choice(["metric", "imperial"]),
    default="metric",
    show_default=True,
    help="Units of the printed tables.",
)
@click.option("--settings", "setting_text", metavar="LIST", help="As for compare. [default: all]")
def command(engine: Path, units: str, setting_text: str | None) -> None:
    """Print what ENGINE says: parts, cam events at the usual checking heights, what was assumed."""
    from typing import cast

    from breathe.commands.settings import chosen
    from breathe.engine.quantities import System
    from breathe.engine.read import read_engine
    from breathe.study.describe import facts
    from breathe.view.console import show
    from breathe.view.explain import explanation

    built = read_engine(engine)
    settings, notices = chosen(built, setting_text)
    for notice in notices:
        click.echo(notice, err=True)
    told = [facts(built, setting) for setting in settings]
    show(explanation(built, told, cast(System, units)))
