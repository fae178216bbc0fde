"""Options that several verbs share, and how what was typed becomes values."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from breathe.errors import BreatheError

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

RUNS = Path("runs")
SHOWN = (
    "torque, difference, power, ve, ve-plenum, air, bmep, imep, pmep, fmep, trapped, residual, "
    "reversion, mach, ivc-pressure, cr, peak, ca50, burn, knock, bsfc, exhaust, cycles"
)
_MOST_SPEEDS = 200


class Opening(click.ParamType):
    """A share of the open area, as 0.5 or 50%."""

    name = "share"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        text = str(value).strip()
        percent = text.endswith("%")
        try:
            share = float(text.removesuffix("%").replace(",", ".")) * (0.01 if percent else 1.0)
        except ValueError:
            share = math.nan
        if not 0.0 < share <= 1.0:
            slip = f"; did you mean {text}%?" if not percent and 1.0 < share <= 100.0 else ""
            self.fail(
                f"found '{value}'; expected a share above 0 and up to 1, such as 0.5 or 50%{slip}",
                param,
                ctx,
            )
        return share


class Count(click.ParamType):
    """A whole number from 1 to ``most``."""

    name = "number"

    def __init__(self, most: int) -> None:
        self.most = most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        text = str(value).strip()
        if not re.fullmatch(r"\d{1,5}", text, re.ASCII) or not 1 <= int(text) <= self.most:
            self.fail(f"found '{value}'; expected a whole number from 1 to {self.most}", param, ctx)
        return int(text)


speeds_option = click.option(
    "--speeds",
    "speed_text",
    metavar="RPM",
    help="first:last:step or a list. [default: round steps up to the engine's limit]",
)
runs_option = click.option(
    "--runs",
    "runs_folder",
    type=click.Path(path_type=Path),
    default=RUNS,
    show_default=True,
    metavar="FOLDER",
    help="Where runs are kept.",
)


def printing_options(command: Decorated) -> Decorated:
    """--show, --against, --units and --csv."""
    for option in (
        click.option("--csv", is_flag=True, help="Only the tidy table as CSV, in SI units."),
        click.option(
            "--units",
            type=click.Choice(["metric", "imperial"]),
            default="metric",
            show_default=True,
            help="Units of the printed tables.",
        ),
        click.option(
            "--against",
            metavar="SETTING",
            help="Setting that the others are compared with. [default: the file's standard]",
        ),
        click.option("--show", metavar="LIST", help=f"What to print, of: {SHOWN}."),
    ):
        command = option(command)
    return command


def shown(text: str | None) -> tuple[str, ...]:
    """Names of the figures to print, each once, in the order typed.

    Raises
    ------
    BreatheError
        A name that is none, with the nearest.
    """
    from breathe.view.words import ALWAYS, QUANTITIES

    if text is None:
        return ALWAYS
    known = [*QUANTITIES, "difference"]
    names = [part.strip().lower() for part in text.split(",") if part.strip()]
    for name in names:
        if name not in known:
            close = difflib.get_close_matches(name, known, n=1)
            hint = f"did you mean {close[0]!r}?" if close else f"expected some of: {SHOWN}"
            raise BreatheError(f"--show: found {name!r}; {hint}")
    if not names:
        raise BreatheError(f"--show: found nothing; expected some of: {SHOWN}")
    return tuple(dict.fromkeys(names))


def speeds(text: str) -> tuple[float, ...]:
    """Engine speeds from '1500:7500:500' (first, last, step) or '2000,3000', rising, each once.

    Raises
    ------
    BreatheError
        What was found and what is expected.
    """
    from breathe.study.choose import FASTEST_RPM, SLOWEST_RPM

    found = _range(text) if ":" in text else [_speed(part, text) for part in text.split(",")]
    for speed in found:
        if not SLOWEST_RPM <= speed <= FASTEST_RPM:
            allowed = f"{SLOWEST_RPM:.0f} to {FASTEST_RPM:.0f} rpm"
            raise _bad_speeds(text, f"{speed:g} rpm is outside {allowed}")
    if len(found) > _MOST_SPEEDS:
        raise _bad_speeds(text, f"{len(found)} speeds; at most {_MOST_SPEEDS}")
    return tuple(sorted(set(found)))


def _range(text: str) -> Sequence[float]:
    parts = [_speed(part, text) for part in text.split(":")]
    if len(parts) not in (2, 3):
        raise _bad_speeds(text)
    first, last, step = parts if len(parts) == 3 else [*parts, 500.0]
    if step <= 0 or last < first:
        raise _bad_speeds(text, "the range runs backwards" if last < first else "the step is 0")
    if (last - first) / step >= _MOST_SPEEDS:
        raise _bad_speeds(text, f"more than {_MOST_SPEEDS} speeds")
    return _stepped(first, last, step)


def _stepped(first: float, last: float, step: float) -> tuple[float, ...]:
    count = math.floor((last - first) / step + 1e-9) + 1
    return tuple(first + step * number for number in range(max(1, count)))


def _speed(part: str, text: str) -> float:
    try:
        value = float(part.lower().removesuffix("rpm"))
    except ValueError:
        raise _bad_speeds(text) from None
    if not math.isfinite(value):
        raise _bad_speeds(text)
    return value


def _bad_speeds(text: str, why: str = "") -> BreatheError:
    return BreatheError(
        f"--speeds: found {text!r}{'; ' if why else ''}{why}; expected first:last:step or a list, "
        "in rpm, such as 1500:7500:500 or 2000,3500,5000"
    )
