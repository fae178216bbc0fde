"""breathe check: will anything touch, will the springs hold, does it fit, at every setting."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    name="check",
    short_help="Will anything touch, will the springs hold, does it fit, at every setting.",
)
@click.argument("engine", type=click.Path(path_type=Path))
@click.option("--settings", "setting_text", metavar="LIST", help="As for compare. [default: all]")
@click.option(
    "--speed",
    "speed_text",
    metavar="RPM",
    help="Speed limit to judge springs at. [default: the file's]",
)
@click.option(
    "--show",
    metavar="LIST",
    help="What to print, of: clearance, springs, surge, contact, sleeve, contrast. [default: all]",
)
@click.option(
    "--units",
    type=click.Choice(["metric", "imperial"]),
    default="metric",
    show_default=True,
    help="Units of the printed tables.",
)
@click.option("--csv", is_flag=True, help="Only the lines as CSV, in SI units.")
def command(
    engine: Path,
    setting_text: str | None,
    speed_text: str | None,
    show: str | None,
    units: str,
    csv: bool,
) -> None:
    """Check the mechanics of ENGINE at every cam setting and end of travel and turn.

    Clearances, springs, contact, sleeve and room, as far as the file's mechanical tables go; what
    they leave out is NOT CHECKED. Simulates nothing. The exit status is 0 whatever the verdict,
    which the last line gives.
    """
    import sys
    from typing import cast

    from breathe.commands.settings import chosen
    from breathe.engine.quantities import System
    from breathe.engine.read import read_engine
    from breathe.study.checks.check import check
    from breathe.view.check import check_csv, check_page
    from breathe.view.console import show as print_page

    names = _sections(show)
    limit = _speed(speed_text)
    built = read_engine(engine)
    settings, notices = chosen(built, setting_text)
    for notice in notices:
        click.echo(notice, err=True)
    found = check(built, settings, speed_limit_rpm=limit)
    if csv:
        sys.stdout.flush()
        sys.stdout.buffer.write(check_csv(found).encode("utf-8"))
        sys.stdout.buffer.flush()
        return
    print_page(check_page(found, names, cast(System, units)))


def _sections(text: str | None) -> tuple[str, ...]:
    """Names of the sections to print."""
    import difflib

    from breathe.errors import BreatheError
    from breathe.view.check import SECTIONS

    names = [part.strip().lower() for part in (text or "").split(",") if part.strip()]
    for name in names:
        if name not in SECTIONS:
            close = difflib.get_close_matches(name, SECTIONS, n=1)
            hint = f"did you mean {close[0]!r}? " if close else ""
            raise BreatheError(
                f"--show: found {name!r}; {hint}expected some of: {', '.join(SECTIONS)}"
            )
    if text is not None and not names:
        raise BreatheError(f"--show: found nothing; expected some of: {', '.join(SECTIONS)}")
    return tuple(names) or SECTIONS


def _speed(text: str | None) -> float | None:
    """One engine speed [rpm]."""
    from breathe.commands.options import speeds
    from breathe.errors import BreatheError

    if text is None:
        return None
    try:
        found = speeds(text)
    except BreatheError:
        found = ()
    if len(found) != 1:
        raise BreatheError(
            f"--speed: found {text!r}; expected one speed in rpm, 100 to 25000, such as 7500"
        )
    return found[0]
