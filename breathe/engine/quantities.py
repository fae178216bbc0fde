"""Quantities as people write them ("62 mm", "2.44 in", "260 deg crank") and the way back.

One dimension per key, units spelled exactly as in `UNITS`, inside SI. A number without a unit, an
angle that may be crank or cam, a pressure that may be absolute or gauge is refused with a question.
Angles come out in crank degrees, the house unit.

References
----------
BIPM, The International System of Units, 9th ed., 2019; NIST SP 811, 2008, appendix B.8 (exact inch,
pound, standard gravity, torr, horsepower; conventional inch of water at 4 degC; from memory).
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

System = Literal["metric", "imperial"]
Number = TypeVar("Number", float, NDArray[np.float64])

STANDARD_AMBIENT_PA = 101_325.0

_INCH = 0.0254
_POUND = 0.453_592_37
_GRAVITY = 9.806_65
_LBF = _POUND * _GRAVITY
_PSI = _LBF / _INCH**2

_LENGTHS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "um": 1e-6, "in": _INCH, "thou": _INCH / 1000}
_VOLUMES = {"cc": 1e-6, "ml": 1e-6, "l": 1e-3, "m3": 1.0, "mm3": 1e-9, "cu in": _INCH**3}
_PRESSURES = {
    "bar": 1e5,
    "mbar": 100.0,
    "hPa": 100.0,
    "kPa": 1e3,
    "Pa": 1.0,
    "psi": _PSI,
    "inHg": 3386.389,
    "mmHg": 133.322_387,
    "atm": 101_325.0,
}
_WATER = {"inH2O": 249.082, "mmH2O": _GRAVITY}

UNITS: dict[str, dict[str, float]] = {
    "length": _LENGTHS,
    "area": {"mm2": 1e-6, "cm2": 1e-4, "m2": 1.0, "sq in": _INCH**2},
    "volume": _VOLUMES,
    "angle": {"deg crank": 1.0, "deg cam": 2.0},
    "plain angle": {"deg": 1.0},
    "sleeve rate": {
        "deg crank/mm": 1e3,
        "deg cam/mm": 2e3,
        "deg crank/in": 1 / _INCH,
        "deg cam/in": 2 / _INCH,
    },
    "absolute pressure": _PRESSURES,
    "barometer": _PRESSURES,
    "pressure difference": _PRESSURES | _WATER,
    "temperature": {"degC": 1.0, "degF": 5 / 9, "K": 1.0},
    "mass": {"g": 1e-3, "kg": 1.0, "lb": _POUND, "oz": _POUND / 16},
    "speed": {"rpm": 1.0, "1/min": 1.0},
    "velocity": {"m/s": 1.0, "mm/s": 1e-3, "ft/s": 0.3048, "ft/min": 0.3048 / 60},
    "torque": {"Nm": 1.0, "lb-ft": _LBF * 0.3048, "kgf m": _GRAVITY},
    "power": {"kW": 1e3, "W": 1.0, "hp": _LBF * 550 * 0.3048, "PS": 75 * _GRAVITY},
    "force": {"N": 1.0, "kgf": _GRAVITY, "lbf": _LBF},
    "spring rate": {"N/mm": 1e3, "N/m": 1.0, "lbf/in": _LBF / _INCH},
    "volume flow": {"l/s": 1e-3, "m3/s": 1.0, "m3/h": 1 / 3600, "cfm": 0.3048**3 / 60},
    "specific fuel": {"g/kWh": 1e-3 / 3.6e6, "lb/hp-h": _POUND / (_LBF * 550 * 0.3048 * 3600)},
    "share": {"%": 1e-2},
    "water in air": {"g/kg": 1e-3},
    "friction per speed": {"bar/(m/s)": 1e5, "kPa/(m/s)": 1e3},
    "friction per speed squared": {"bar/(m/s)2": 1e5, "kPa/(m/s)2": 1e3},
}
"""Dimension -> unit -> SI for one of it (crank degrees for angles, rpm for speed)."""

_OFFSETS = {"degC": 273.15, "degF": 459.67 * 5 / 9}

_SPELLINGS = {
    "inch": "in",
    "inches": "in",
    '"': "in",
    "thousandths": "thou",
    "µm": "um",
    "μm": "um",
    "micron": "um",
    "cm3": "cc",
    "cm³": "cc",
    "ccm": "cc",
    "litre": "l",
    "litres": "l",
    "liter": "l",
    "L": "l",
    "dm3": "l",
    "m³": "m3",
    "in3": "cu in",
    "cui": "cu in",
    "° crank": "deg crank",
    "°crank": "deg crank",
    "crank deg": "deg crank",
    "° cam": "deg cam",
    "°cam": "deg cam",
    "cam deg": "deg cam",
    "°": "deg",
    "degrees": "deg",
    "degree": "deg",
    "deg.": "deg",
    "° crank/mm": "deg crank/mm",
    "° cam/mm": "deg cam/mm",
    "°/mm": "deg/mm",
    "°C": "degC",
    "C": "degC",
    "°F": "degF",
    "F": "degF",
    "lbs": "lb",
    "rev/min": "rpm",
    "RPM": "rpm",
    "N m": "Nm",
    "lb ft": "lb-ft",
    "lbf ft": "lb-ft",
    "ft-lb": "lb-ft",
    "ft lb": "lb-ft",
    "PSI": "psi",
    "lb/in": "lbf/in",
    "percent": "%",
    "mm²": "mm2",
    "cm²": "cm2",
    "bar/(m/s)²": "bar/(m/s)2",
    "kPa/(m/s)²": "kPa/(m/s)2",
}

EXAMPLES: dict[str, str] = {
    "length": "9.8 mm",
    "area": "850 mm2",
    "volume": "900 cc",
    "angle": "260 deg crank",
    "plain angle": "45 deg",
    "sleeve rate": "5.0 deg crank/mm",
    "absolute pressure": "1.02 bar abs",
    "barometer": "1013 mbar",
    "pressure difference": "28 inH2O",
    "temperature": "25 degC",
    "mass": "95 g",
    "speed": "6500 rpm",
    "velocity": "40 mm/s",
    "torque": "150 Nm",
    "power": "90 kW",
    "force": "250 N",
    "spring rate": "32 N/mm",
    "volume flow": "64.1 cfm",
    "specific fuel": "270 g/kWh",
    "share": "55 %",
    "water in air": "8 g/kg",
    "friction per speed": "0.09 bar/(m/s)",
    "friction per speed squared": "0.0009 bar/(m/s)2",
}
"""One well-written quantity of each dimension, for messages."""

_PRINTED: dict[str, tuple[str, str]] = {
    "length": ("mm", "in"),
    "area": ("mm2", "sq in"),
    "volume": ("cc", "cu in"),
    "angle": ("deg crank", "deg crank"),
    "plain angle": ("deg", "deg"),
    "sleeve rate": ("deg crank/mm", "deg crank/in"),
    "absolute pressure": ("bar", "psi"),
    "barometer": ("mbar", "inHg"),
    "pressure difference": ("bar", "psi"),
    "temperature": ("degC", "degF"),
    "mass": ("g", "lb"),
    "speed": ("rpm", "rpm"),
    "velocity": ("m/s", "ft/s"),
    "torque": ("Nm", "lb-ft"),
    "power": ("kW", "hp"),
    "force": ("N", "lbf"),
    "spring rate": ("N/mm", "lbf/in"),
    "volume flow": ("l/s", "cfm"),
    "specific fuel": ("g/kWh", "lb/hp-h"),
    "share": ("%", "%"),
    "water in air": ("g/kg", "g/kg"),
    "friction per speed": ("bar/(m/s)", "bar/(m/s)"),
    "friction per speed squared": ("bar/(m/s)2", "bar/(m/s)2"),
}

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
    unit = _SPELLINGS.get(spelled, spelled)
    return unit if unit in UNITS[dimension] else None


def _in_si(found: str, number: float, spelled: str, dimension: str) -> float:
    unit = known_unit(spelled, dimension)
    if unit is None:
        raise QuantityError(_unknown_unit(found, number, spelled, dimension))
    value = number * UNITS[dimension][unit] + _OFFSETS.get(unit, 0.0)
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
    unit = _SPELLINGS.get(spelled, spelled)
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
    return (value - _OFFSETS.get(unit, 0.0)) / UNITS[dimension][unit]


def user_unit(dimension: str, system: System = "metric") -> str:
    """The unit a dimension is printed in."""
    return _PRINTED[dimension][system == "imperial"]


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
