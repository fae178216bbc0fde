"""breathe lobe: a measured lift sheet read, questioned, smoothed and told."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from breathe.errors import BreatheError

if TYPE_CHECKING:
    from breathe.measured.lift_file import Asked
    from breathe.measured.lobe import MeasuredLobe
    from breathe.study.lobe import LobeFigures


@click.command(name="lobe", short_help="A measured lift sheet: is this the lobe that was ordered?")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--angles", type=click.Choice(["cam", "crank"]), help="What the sheet's degrees are.")
@click.option(
    "--zero",
    type=click.Choice(["firing", "overlap", "nose", "arbitrary"]),
    help="Where the wheel's 0 is: at firing or overlap TDC, at the nose, or anywhere.",
)
@click.option("--side", type=click.Choice(["intake", "exhaust"]), help="Which lobe is expected.")
@click.option("--column", metavar="NAME", help="Lift column: its name, part of it, or its number.")
@click.option("--sheet", metavar="NAME", help="Which sheet of a workbook. [default: the first]")
@click.option(
    "--lift-unit",
    type=click.Choice(["mm", "in", "thou", "um"]),
    help="Of readings that name none. [default: by heading or size]",
)
@click.option(
    "--rocker",
    type=click.FloatRange(0.5, 3.0),
    default=1.0,
    help="Ratio, if lift was read at the lobe. [default: 1]",
)
@click.option(
    "--ordered", metavar="DURATION", help='What the card says: "264 deg crank at 0.1 mm".'
)
@click.option(
    "--height",
    "heights",
    multiple=True,
    metavar="LIFT",
    help='A further checking height: "0.5 mm".',
)
@click.option(
    "--rpm",
    type=click.FloatRange(100, 25_000),
    default=6000.0,
    show_default=True,
    help="Engine speed for m/s.",
)
@click.option("--units", type=click.Choice(["metric", "imperial"]), default="metric")
@click.option("--csv", is_flag=True, help="Only the figures as CSV, SI and degrees.")
@click.option(
    "--write",
    "target",
    type=click.Path(path_type=Path),
    metavar="CSV",
    help="Write the clean curve for an engine file, and the readings beside it.",
)
@click.option("--overwrite", is_flag=True, help="Replace files that are there.")
def command(
    file: Path,
    angles: str | None,
    zero: str | None,
    side: str | None,
    column: str | None,
    sheet: str | None,
    lift_unit: str | None,
    rocker: float,
    ordered: str | None,
    heights: tuple[str, ...],
    rpm: float,
    units: str,
    csv: bool,
    target: Path | None,
    overwrite: bool,
) -> None:
    """Tell what the measured lift in FILE is: durations, nose, flanks, and how sure.

    FILE is a CSV, text or .xlsx sheet with a column of angles (cam or crank degrees, or from dead
    centres such as 22 BTDC) and one of lift. Rows that do not fit are told by number.
    """
    from breathe.measured.lobe import measured_lobe
    from breathe.study.lobe import lobe_figures

    card = _ordered(ordered) if ordered else None
    checking = [_height(one) for one in heights]
    _refuse_to_overwrite(target, overwrite)
    asked = {"angles": angles, "zero": zero, "side": side, "column": column}
    asked |= {"lift_unit": "µm" if lift_unit == "um" else lift_unit, "workbook_sheet": sheet}
    measured = measured_lobe(file, _asked(asked, rocker, card))
    figures = lobe_figures(measured, heights_m=checking, ordered=card)
    if target is not None:  # first, for the reader of a pipe may leave before the end
        _write_curve(target, measured)
    _show(figures, rpm, units, csv=csv)


def _asked(said: dict[str, Any], rocker: float, card: tuple[float, float] | None) -> Asked:
    from breathe.measured.lift_file import Asked

    return Asked(**said, rocker_ratio=rocker, ordered_deg=card[0] if card else None)


def _show(figures: LobeFigures, rpm: float, units: str, *, csv: bool) -> None:
    import sys

    from breathe.view.console import carried, show
    from breathe.view.lobe import lobe_csv, lobe_page

    if csv:
        sys.stdout.write(carried(lobe_csv(figures), sys.stdout.encoding))
    else:
        show(lobe_page(figures, rpm, "imperial" if units == "imperial" else "metric"))


def _write_curve(target: Path, measured: MeasuredLobe) -> None:
    from breathe.measured.lift_write import curve_csv, readings_csv
    from breathe.measured.zero import told_from_overlap

    _write(target, curve_csv(measured))
    _write(_beside(target), readings_csv(measured))
    click.echo(f"Wrote {target} and {_beside(target)}. In an engine file:", err=True)
    click.echo(f'lift_file = "{target.name}"', err=True)
    if measured.placed.zero in ("firing", "overlap"):
        after = told_from_overlap(measured.smoothed.nose_deg + measured.placed.shift_deg - 360.0)
        doubt = "" if measured.placed.sure else "  # if 0 is where it seems to be"
        click.echo(f'centreline = "{after}"{doubt}', err=True)


def _ordered(text: str) -> tuple[float, float]:
    """Duration [deg crank] and checking height [m] from '264 deg crank at 0.1 mm'."""
    from breathe.engine.quantities import QuantityError, read_quantity
    from breathe.study.lobe import CHECKING_HEIGHTS_M

    duration, _, height = text.partition(" at ")
    try:
        at = read_quantity(height.strip(), "length") if height else CHECKING_HEIGHTS_M[0]
        return read_quantity(duration.strip(), "angle"), at
    except QuantityError as error:
        raise BreatheError(
            f'--ordered: {error}. Example: --ordered "264 deg crank at 0.1 mm"'
        ) from None


def _height(text: str) -> float:
    from breathe.engine.quantities import QuantityError, read_quantity

    try:
        height = read_quantity(text, "length")
    except QuantityError as error:
        raise BreatheError(f"--height: {error}") from None
    if not 0.02e-3 <= height <= 20e-3:
        raise BreatheError(f"--height: found {height * 1e3:g} mm; expected 0.02 to 20 mm")
    return height


def _beside(target: Path) -> Path:
    return target.with_name(f"{target.stem}-readings{target.suffix or '.csv'}")


def _refuse_to_overwrite(target: Path | None, overwrite: bool) -> None:
    if target is None:
        return
    if not target.parent.is_dir():
        raise BreatheError(f"{target}: the folder {target.parent} is not there")
    for path in (target, _beside(target)):
        if path.exists() and not overwrite:
            raise BreatheError(f"{path}: is there already; choose another name, or add --overwrite")


def _write(path: Path, text: str) -> None:
    """Whole or not at all."""
    temporary = path.with_name(path.name + ".part")
    try:
        temporary.write_text(text, encoding="utf-8", newline="\n")
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
