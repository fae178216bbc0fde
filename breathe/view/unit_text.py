"""Figures inside sentences, such as '9 mm' in a note, in the units the user reads."""

from __future__ import annotations

import re

from breathe.engine.quantities import System, read_quantity, written

_METRIC = {
    "mm": "length",
    "cm": "length",
    "mm2": "area",
    "cm2": "area",
    "cc": "volume",
    "l": "volume",
    "deg crank/mm": "sleeve rate",
    "deg cam/mm": "sleeve rate",
    "mbar": "barometer",
    "hPa": "barometer",
    "bar": "pressure difference",
    "kPa": "pressure difference",
    "Pa": "pressure difference",
    "degC": "temperature",
    "K": "temperature",
    "g": "mass",
    "kg": "mass",
    "m/s": "velocity",
    "mm/s": "velocity",
    "Nm": "torque",
    "kW": "power",
    "N": "force",
    "kN": "force",
    "N/mm": "spring rate",
    "l/s": "volume flow",
    "g/kWh": "specific fuel",
}
"""Units that notes are written in, and what they measure. Others stay: crank degrees, per cent, rpm
and the friction per piston speed, whose published form is in bar and m/s."""

_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_FIGURES = re.compile(
    rf"(?<![\w.,])({_NUMBER}(?:(?: x | to |-){_NUMBER})*) "
    rf"({'|'.join(sorted(map(re.escape, _METRIC), key=len, reverse=True))})(?![\w/(])"
)


def in_user_units(text: str, system: System) -> str:
    """``text`` with every metric figure in it rewritten; unchanged for a metric user.

    Parameters
    ----------
    text : str
        Figures carry their unit; of '1200 x 55 mm' or '9 to 10 mm' both numbers are taken.
    system : 'metric' or 'imperial'

    Examples
    --------
    >>> in_user_units("tailpipe 1200 x 55 mm, wall 250 degC, 30 deg crank", "imperial")
    'tailpipe 47.24 x 2.17 in, wall 482 degF, 30 deg crank'
    """
    return text if system == "metric" else _FIGURES.sub(_rewritten, text)


def _rewritten(found: re.Match[str]) -> str:
    figures, unit = found[1], found[2]
    dimension = _METRIC[unit]
    numbers = re.split(r"( x | to |(?<=\d)-)", figures)
    # Splitting keeps what stood between the numbers at the odd places.
    texts = [
        part if place % 2 else written(_si(part, unit), dimension, "imperial", digits=_digits(part))
        for place, part in enumerate(numbers)
    ]
    last = texts[-1]
    own_unit = last.split(" ", 1)[1]
    return "".join(text.removesuffix(f" {own_unit}") for text in texts[:-1]) + last


def _si(number: str, unit: str) -> float:
    return read_quantity(f"{number} {unit}", _METRIC[unit])


def _digits(number: str) -> int:
    """As many significant digits as stand there, at least three."""
    return max(3, len(number.lstrip("+-0.").replace(".", "")))
