"""Figures and names of the mechanical check as they are printed: units, settings that agree."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

from breathe.engine.quantities import System, from_si, user_unit
from breathe.study.checks.line import Line
from breathe.view.unit_text import in_user_units

Key = TypeVar("Key", bound=Hashable)

_KINDS: dict[str, tuple[str, int, int]] = {
    "m": ("length", 2, 3),
    "N": ("force", 0, 0),
    "Nm": ("torque", 1, 1),
    "m/s": ("velocity", 2, 1),
    "rpm": ("speed", 0, 0),
    "deg crank": ("angle", 1, 1),
    "deg": ("plain angle", 1, 1),
}
"""SI unit -> dimension, and decimals in metric and imperial."""
_PSI_PER_KSI = 1e3
_STRESS = re.compile(r"(\d+) to (\d+) MPa")
_SMALL_M = 0.3e-3
"""Lengths below this get a digit more: touching bands, swings of a valve."""


def quantity(value: float, unit: str, system: System) -> str:
    """A value of the check with the user's unit, such as '2.46 mm' or '126 ksi'."""
    imperial = system == "imperial"
    if unit == "Pa":
        if imperial:
            return f"{from_si(value, 'pressure difference', 'psi') / _PSI_PER_KSI:.1f} ksi"
        return f"{value / 1e6:.{0 if value >= 1e8 else 1}f} MPa"
    if unit == "m/s2":
        return f"{value / 0.3048:.0f} ft/s2" if imperial else f"{value:.0f} m/s2"
    if unit not in _KINDS:
        return f"{value:.2f}" if abs(value) < 3 else f"{value:.1f}"
    dimension, metric, other = _KINDS[unit]
    digits = other if imperial else metric
    if unit == "m" and 0.0 < abs(value) < _SMALL_M:
        digits += 1
    name = user_unit(dimension, system)
    return f"{from_si(value, dimension, name):.{digits}f} {name}"


def in_units(text: str, system: System) -> str:
    """A sentence of the check with its figures in the user's units, stresses too."""
    if system == "metric":
        return text
    return in_user_units(_STRESS.sub(_in_ksi, text), system)


def _in_ksi(found: re.Match[str]) -> str:
    values = (from_si(float(part) * 1e6, "pressure difference", "psi") for part in found.groups())
    return " to ".join(f"{value / _PSI_PER_KSI:.3g}" for value in values) + " ksi"


def length(value: float, system: System) -> str:
    """A gap without its unit, for the cell of a table."""
    unit, digits = ("in", 3) if system == "imperial" else ("mm", 2)
    # Contact by less than the last digit is no '-0.00'.
    return f"{round(from_si(value, 'length', unit), digits) + 0.0:.{digits}f}"


def limit(line: Line, system: System) -> str:
    """'least 2.00 mm', of a force what there is, or empty."""
    if line.limit is None:
        return ""
    if line.unit == "N":
        return f"has {quantity(line.limit, line.unit, system)}"
    return f"{line.limit_is} {quantity(line.limit, line.unit, system)}"


def settings_text(labels: Sequence[str], known: Sequence[str]) -> str:
    """Names of settings, neighbours in a run of three or more as 'first to last'.

    Examples
    --------
    >>> settings_text(["228°", "240°", "252°"], ["228°", "240°", "252°", "std"])
    '228° to 252°'
    """
    if len(known) > 1 and set(labels) == set(known):
        return "every"
    runs: list[list[str]] = []
    for place, label in enumerate(known):
        if label not in labels:
            continue
        if runs and known[place - 1] == runs[-1][-1]:
            runs[-1].append(label)
        else:
            runs.append([label])
    told = [[f"{run[0]} to {run[-1]}"] if len(run) > 2 else run for run in runs]
    return ", ".join(name for run in told for name in run)


def alike(
    items: Iterable[Line], key: Callable[[Line], Key], known: Sequence[str]
) -> list[tuple[str, Line]]:
    """Lines whose printed figures agree, as one, with the settings they hold for.

    Parameters
    ----------
    items : iterable of Line
    key : callable
        What is printed of a line besides its setting.
    known : sequence of str
        Labels of all settings, in order.
    """
    groups: dict[Key, list[Line]] = {}
    for line in items:
        groups.setdefault(key(line), []).append(line)
    return [
        (settings_text([line.setting for line in group if line.setting], known), group[0])
        for group in groups.values()
    ]
