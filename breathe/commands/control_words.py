"""What is typed for a control map, as values: axis points, settings, rates, a gear change."""

from __future__ import annotations

import math
import re
from pathlib import Path

from breathe.engine.quantities import QuantityError, read_quantity
from breathe.errors import BreatheError
from breathe.study.control.asked import Shown
from breathe.study.control.gear_change import Change
from breathe.study.control.limits import Vacuum
from breathe.study.control.map_axes import refuse_outside_trust, rising
from breathe.study.gear import Axis

_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_MOST_POINTS = 40


def points(text: str, where: str) -> tuple[float, ...]:
    """Axis points from '1000:7000:1000' (first, last, step) or '800,1200,1600', as typed.

    Raises
    ------
    BreatheError
        No numbers, too many, or not rising; the position is named.
    """
    refuse_outside_trust(re.findall(r"[a-z]+", text.lower()), where)
    parts = [part.strip() for part in re.split(r"[:,;]" if ":" in text else r"[,;]", text)]
    try:
        found = [float(part.lower().removesuffix("rpm")) for part in parts]
    except ValueError:
        raise BreatheError(
            f"{where}: found {text!r}; expected numbers, such as 1000:7000:1000 (first, last, "
            "step) or 800,1200,1600"
        ) from None
    if ":" in text:
        if len(found) != 3 or found[2] <= 0 or found[1] < found[0]:
            raise BreatheError(f"{where}: found {text!r}; expected first:last:step, rising")
        first, last, step = found
        found = [
            first + step * k for k in range(min(math.floor((last - first) / step + 1e-9), 99) + 1)
        ]
    if len(found) > _MOST_POINTS:
        raise BreatheError(f"{where}: {len(found)} axis points; at most {_MOST_POINTS}")
    return rising(found, where)


def place(text: str, shown: Shown, durations: Shown, axis: Axis, where: str) -> float:
    """Degrees along the axis of a setting such as '228°' or '0 mm'.

    Parameters
    ----------
    text : str
    shown : Shown
        How the cells are written: what a number without a unit means.
    durations : Shown
        The same axis in degrees.
    axis : Axis
    where : str
        What the user knows the value as.

    Raises
    ------
    BreatheError
        It is neither, or a duration that looks like travel.
    """
    bare = text.strip().lower().replace("°", " deg")
    found = re.fullmatch(rf"({_NUMBER})\s*(mm|in|deg|deg crank|degrees)?", bare)
    if found is None:
        raise BreatheError(f"{where}: found {text!r}; expected a setting such as {_examples(axis)}")
    value, unit = float(found[1]), found[2]
    if unit in ("mm", "in"):
        if not axis.deg_per_m:
            raise BreatheError(f"{where}: found {text!r}; a phaser has no travel; expected '0 deg'")
        return value * (1e-3 if unit == "mm" else 25.4e-3) * axis.deg_per_m
    if unit is None and shown.unit == "mm":
        return shown.degrees(value)
    if axis.kind == "dwell" and value < 100.0:
        raise BreatheError(
            f"{where}: found {text!r}; is that millimetres of travel? Write '{value:g} mm', or the "
            f"whole duration, such as {_examples(axis)}"
        )
    return durations.degrees(value)


def _examples(axis: Axis) -> str:
    return '"228°" or "0 mm"' if axis.kind == "dwell" else '"0 deg"'


def travel(
    text: str, shown: Shown, durations: Shown, axis: Axis, where: str = "--travel"
) -> tuple[float, float]:
    """Ends along the axis from '0:5.6 mm' or '228:256 deg'.

    Raises
    ------
    BreatheError
        It is not two settings of one unit.
    """
    found = re.fullmatch(rf"\s*({_NUMBER})\s*(?::|to|-)\s*({_NUMBER})\s*(mm|in|deg|°)\s*", text)
    if found is None:
        raise BreatheError(f"{where}: found {text!r}; expected two ends, such as '0:5.6 mm'")
    low, high = (place(f"{found[k]} {found[3]}", shown, durations, axis, where) for k in (1, 2))
    return low, high


def along(text: str, axis: Axis, where: str, *, per_second: bool = False) -> float:
    """Degrees along the axis, or degrees a second, from millimetres or degrees.

    Raises
    ------
    BreatheError
        Neither unit is there.
    """
    tail = r"\s*/\s*s" if per_second else ""
    found = re.fullmatch(rf"\s*({_NUMBER})\s*(mm|deg|°|deg crank){tail}\s*", text)
    if found is None or float(found[1]) < 0:
        example = "'40 mm/s' or '200 deg/s'" if per_second else "'1 deg' or '0.2 mm'"
        raise BreatheError(f"{where}: found {text!r}; expected {example}")
    value = float(found[1])
    if found[2] != "mm":
        return value
    if not axis.deg_per_m:
        raise BreatheError(f"{where}: found {text!r}; a phaser has no travel, only degrees")
    return value * 1e-3 * axis.deg_per_m


def step(text: str, shown: Shown, where: str = "--step") -> float:
    """Step of a cell, in what is shown.

    Raises
    ------
    BreatheError
        Not above 0, or of another unit than the cells.
    """
    found = re.fullmatch(rf"\s*({_NUMBER})\s*(mm|deg|°|deg crank)?\s*", text)
    unit = None if found is None else found[2]
    wrong = unit is not None and (unit == "mm") != (shown.unit == "mm")
    if found is None or wrong or not float(found[1]) > 0:
        raise BreatheError(f"{where}: found {text!r}; expected a step of the cells in {shown.unit}")
    return float(found[1])


def gear_change(text: str, where: str = "--gear-change") -> Change:
    """A change from words such as '6500 to 4700 rpm in 0.3 s'.

    Raises
    ------
    BreatheError
        It says something else.
    """
    found = re.fullmatch(
        rf"\s*({_NUMBER})\s*(?:rpm)?\s*to\s*({_NUMBER})\s*(?:rpm)?\s*in\s*({_NUMBER})\s*s\s*", text
    )
    if found is None or min(float(found[k]) for k in (1, 2, 3)) <= 0:
        raise BreatheError(f"{where}: found {text!r}; expected '6500 to 4700 rpm in 0.3 s'")
    if float(found[1]) == float(found[2]):
        raise BreatheError(f"{where}: found {text!r}; expected two different speeds")
    return Change(from_rpm=float(found[1]), to_rpm=float(found[2]), lasts_s=float(found[3]))


def seconds(text: str, where: str) -> float:
    """A time from words such as '0.2 s' or '200 ms'.

    Raises
    ------
    BreatheError
        No unit, or not above 0.
    """
    found = re.fullmatch(rf"\s*({_NUMBER})\s*(s|ms)\s*", text)
    if found is None or not float(found[1]) > 0:
        raise BreatheError(f"{where}: found {text!r}; expected a time such as '0.2 s'")
    return float(found[1]) * (1e-3 if found[2] == "ms" else 1.0)


def vacuum(text: str, outside_Pa: float, where: str = "--keep-vacuum") -> Vacuum:
    """Vacuum to be kept, from words such as '30 kPa below 2 bar'.

    Raises
    ------
    BreatheError
        It says something else.
    """
    head, _, tail = text.partition("below")
    try:
        least = read_quantity(head.strip(), "pressure difference")
        below = read_quantity(tail.strip() or "2 bar", "pressure difference")
    except QuantityError as error:
        raise BreatheError(f"{where}: {error}; expected '30 kPa below 2 bar' (of BMEP)") from error
    if not 0 < least < outside_Pa:
        raise BreatheError(
            f"{where}: found {least / 1e3:g} kPa of vacuum; the outside air has "
            f"{outside_Pa / 1e3:.0f} kPa. Expected less, such as '30 kPa below 2 bar' (of BMEP)"
        )
    return Vacuum(least_Pa=least, below_bmep_Pa=below)


def moved(text: str, where: str = "--move-point") -> tuple[float, float]:
    """From and to of an axis point, from '900 to 1000'.

    Raises
    ------
    BreatheError
        It says something else.
    """
    found = re.fullmatch(rf"\s*({_NUMBER})\s*(?:rpm)?\s*to\s*({_NUMBER})\s*(?:rpm)?\s*", text)
    if found is None:
        raise BreatheError(f"{where}: found {text!r}; expected '900 to 1000', in rpm")
    return float(found[1]), float(found[2])


def room_for(text: str, where: str = "--fits") -> tuple[int, int]:
    """Most speeds and most loads a controller takes, from '16x8'.

    Raises
    ------
    BreatheError
        It says something else.
    """
    found = re.fullmatch(r"\s*(\d{1,2})\s*[x×]\s*(\d{1,2})\s*", text.lower())
    if found is None or min(int(found[1]), int(found[2])) < 2:
        raise BreatheError(f"{where}: found {text!r}; expected speeds x loads, such as 16x8")
    return int(found[1]), int(found[2])


def writable(paths: tuple[Path, ...], overwrite: bool) -> None:
    """Find out before hours of work whether the files can be written at its end.

    Raises
    ------
    BreatheError
        A kind of file that is not written, a folder that is missing, a file that is there.
    """
    for path in paths:
        if path.suffix.lower() not in (".csv", ".json"):
            raise BreatheError(f"--write: found {path}; expected a name that ends in .csv or .json")
        if not path.absolute().parent.is_dir():
            raise BreatheError(f"--write: {path}: there is no folder {path.parent}")
        if path.exists() and not overwrite:
            raise BreatheError(
                f"--write: {path} is there already; name another, or add --overwrite"
            )
