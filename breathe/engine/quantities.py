"""Quantities as people write them ("62 mm", "2.44 in", "260 deg crank") and the way back.

One dimension per key, units spelled exactly as in `UNITS`, inside SI. A number without a unit, an
angle that may be crank or cam, a pressure that may be absolute or gauge is refused with a question.
Angles come out in crank degrees, the house unit.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from breathe.engine.units import EXAMPLES, OFFSETS, PRINTED, SPELLINGS, UNITS

System = Literal["metric", "imperial"]
Number = TypeVar("Number", float, NDArray[np.float64])

STANDARD_AMBIENT_PA = 101_325.0

_NUMBER = re.compile(
    r"(?P<whole>[+-]?\d+)[ -](?P<over>\d+/\d+)|(?P<fraction>[+-]?\d+/\d+)"
    r"|(?P<decimal>[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)"
)
_LONGEST = 60


class QuantityError(ValueError):
    """A quantity that cannot be read; the text says what was found and what is expected."""


class MissingUnitError(QuantityError):
    """A number alone; whoever knows the key may guess at the unit."""

    def __init__(self, found: object, dimension: str) -> None:
        self.found = f"found {shown(found)} without a unit"
        super().__init__(f"{self.found}; {expected_text(dimension)}")


def shown(found: object) -> str:
    """What was found, as it stands in the file and never longer than a line."""
    text = f'"{found}"' if isinstance(found, str) else str(found)
    if isinstance(found, bool):
        text = text.lower()
    text = " ".join(text.split())
    return text if len(text) <= _LONGEST else text[: _LONGEST - 4] + ' ..."'


def split_number(text: str) -> tuple[float, str] | None:
    """The number a text starts with and the rest, or None if it starts with none.

    Decimal point or comma, whole and fraction of an inch ("1 5/8"); the rest is the unit.

    Raises
    ------
    QuantityError
        "1,250": a comma before exactly three digits may mark thousands.
    """
    text = text.replace("\u2212", "-").replace("\u00a0", " ").replace("\u202f", " ").strip()
    match = _NUMBER.match(text)
    if match is None:
        return None
    rest = text[match.end() :].strip()
    if match["over"] or match["fraction"]:
        return _fraction(match), rest
    decimal = match["decimal"]
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", decimal):
        raise QuantityError(
            f'found "{text}"; is the comma a decimal mark? '
            f"Write {decimal.replace(',', '.')} or {decimal.replace(',', '')}"
        )
    return float(decimal.replace(",", ".")), rest


def _fraction(match: re.Match[str]) -> float:
    try:
        part = float(Fraction(match["over"] or match["fraction"]))
    except (ZeroDivisionError, OverflowError):
        raise QuantityError(f'found "{match[0]}"; expected a number') from None
    if not match["over"]:
        return part
    whole = float(match["whole"])
    return whole + math.copysign(part, -1.0 if match["whole"].startswith("-") else 1.0)


def read_quantity(
    found: object, dimension: str, *, ambient_Pa: float = STANDARD_AMBIENT_PA
) -> float:
    """A quantity in SI from the text a user wrote.

    Parameters
    ----------
    found : object
        Text with a number and a unit, such as "9,8 mm"; anything else is refused with a hint.
    dimension : str
        A key of `UNITS`.
    ambient_Pa : float
        Air pressure that gauge pressures stand on [Pa].

    Returns
    -------
    float
        SI; crank degrees for angles, rpm for speed.

    Raises
    ------
    QuantityError
        With what was found and what is expected.

    Examples
    --------
    >>> round(read_quantity("2,44 in", "length"), 6)
    0.061976
    >>> read_quantity("130 deg cam", "angle")
    260.0
    """
    if isinstance(found, int | float) and not isinstance(found, bool):
        raise MissingUnitError(found, dimension)
    parted = split_number(found) if isinstance(found, str) else None
    if parted is None or not isinstance(found, str):
        raise QuantityError(f"found {shown(found)}; {expected_text(dimension)}")
    number, spelled = parted
    if not spelled:
        raise MissingUnitError(found, dimension)
    if dimension in ("absolute pressure", "barometer"):
        return _read_pressure(found, number, spelled, dimension, ambient_Pa)
    value = _in_si(found, number, spelled, dimension)
    if dimension == "temperature" and value < 0:
        raise QuantityError(f"found {shown(found)}, below absolute zero")
    return value


def known_unit(spelled: str, dimension: str) -> str | None:
    """The unit of ``dimension`` that ``spelled`` stands for, or None."""
    spelled = " ".join(spelled.split())
    unit = SPELLINGS.get(spelled, spelled)
    return unit if unit in UNITS[dimension] else None


def _in_si(found: str, number: float, spelled: str, dimension: str) -> float:
    unit = known_unit(spelled, dimension)
    if unit is None:
        raise QuantityError(_unknown_unit(found, number, spelled, dimension))
    value = number * UNITS[dimension][unit] + OFFSETS.get(unit, 0.0)
    if not math.isfinite(value):
        raise QuantityError(f"found {shown(found)}, which is too large to be meant")
    return value


def _read_pressure(
    found: str, number: float, spelled: str, dimension: str, ambient_Pa: float
) -> float:
    unit, _, reference = spelled.rpartition(" ")
    if reference not in ("abs", "absolute", "gauge"):
        unit, reference = spelled, "abs" if dimension == "barometer" else ""
    value = _in_si(found, number, unit, dimension)
    if not reference:
        bare = f"{number:g} {unit}"
        raise QuantityError(
            f'found {shown(found)}; absolute or gauge? Write "{bare} abs" or "{bare} gauge"'
        )
    if reference == "gauge":
        if dimension == "barometer":
            raise QuantityError(
                f'found {shown(found)}; air pressure is absolute, such as "{EXAMPLES[dimension]}"'
            )
        value += ambient_Pa
    if value <= 0:
        raise QuantityError(f"found {shown(found)}; expected more than a vacuum")
    return value


def _unknown_unit(found: str, number: float, spelled: str, dimension: str) -> str:
    unit = SPELLINGS.get(spelled, spelled)
    if dimension == "angle" and unit == "deg":
        return (
            f'found {shown(found)}; crank or cam? Write "{number:g} deg crank" or '
            f'"{number:g} deg cam"'
        )
    if dimension == "sleeve rate" and unit in ("deg/mm", "deg/in"):
        over = unit.removeprefix("deg")
        return (
            f'found {shown(found)}; crank or cam? The answer doubles: write "{number:g} deg '
            f'crank{over}" or "{number:g} deg cam{over}"'
        )
    if dimension == "force" and unit in UNITS["mass"]:
        meant = {"kg": "kgf", "lb": "lbf"}.get(unit)
        hint = f'; as a load that is "{number:g} {meant}"' if meant else ""
        return f"found {shown(found)}, a mass; expected a load in N, lbf or kgf{hint}"
    units = ", ".join(UNITS[dimension])
    return f"found {shown(found)}; {expected_text(dimension)} (units: {units})"


def expected_text(dimension: str) -> str:
    """What a quantity of this dimension looks like, for messages."""
    named = f"{_article(dimension)} {dimension}"
    return f'expected {named} with its unit, such as "{EXAMPLES[dimension]}"'


def _article(word: str) -> str:
    return "an" if word[0] in "aeiou" else "a"


def from_si(value: Number, dimension: str, unit: str) -> Number:
    """SI value(s) in ``unit``; floats and arrays."""
    return (value - OFFSETS.get(unit, 0.0)) / UNITS[dimension][unit]


def user_unit(dimension: str, system: System = "metric") -> str:
    """The unit a dimension is printed in."""
    return PRINTED[dimension][system == "imperial"]


def written(
    value: float,
    dimension: str,
    system: System = "metric",
    *,
    unit: str | None = None,
    digits: int = 4,
) -> str:
    """An SI value as text with its unit, rounded to ``digits`` significant digits.

    Absolute pressures say so, so that `read_quantity` takes the text back.

    Examples
    --------
    >>> written(0.0802640, "length"), written(0.0802640, "length", "imperial")
    ('80.26 mm', '3.16 in')
    """
    unit = unit or user_unit(dimension, system)
    suffix = " abs" if dimension == "absolute pressure" else ""
    number = from_si(value, dimension, unit) + 0.0
    text = f"{number:.{digits}g}"
    if "e" in text and abs(number) < 1e7 and abs(number) > 1e-4:
        text = f"{float(text):.0f}"
    return f"{text} {unit}{suffix}"
