"""What a flow sheet says in words: test pressure, air, valves open, a stub pipe.

Every finder takes sentences: (place, text), the place being "row 3" or the file's name.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from breathe.engine.quantities import UNITS
from breathe.measured.bench import AIR_DENSITY, AIR_PRESSURE_PA, air_density
from breathe.measured.flow_columns import Header
from breathe.measured.numbers import number
from breathe.measured.sheet import RawSheet

Sentences = Sequence[tuple[str, str]]

FILE_NAME = "the file's name"
TEST_PRESSURE = (100.0, 25_000.0)
"""Pressure differences a flow bench may have [Pa]; common practice, no source."""
_BAROMETER = (85_000.0, 110_000.0)

_PRESSURE = UNITS["pressure difference"]
_WATER = r"(?:h2o|h₂o|water|w\.?c\.?|w\.?g\.?|ws|wassersäule)"
_NUMBER = r"(?<![0-9.,])([0-9]+(?:[.,][0-9]+)?)"
_GAP = r"[\s_-]*"
_END = r"(?![a-zäöü0-9])"
_SPELLED = (
    (_PRESSURE["inH2O"], rf"(?:inches|inch|in\.?|zoll|\"|''){_GAP}(?:of{_GAP})?{_WATER}"),
    (_PRESSURE["mmH2O"], rf"mm{_GAP}{_WATER}"),
    (_PRESSURE["mmH2O"] * 10, rf"cm{_GAP}{_WATER}"),
    (_PRESSURE["mbar"], r"(?:mbar|hpa)"),
    (_PRESSURE["kPa"], r"kpa"),
    (_PRESSURE["Pa"], r"pa"),
    (_PRESSURE["inHg"], rf"(?:in\.?|\"){_GAP}hg"),
    (_PRESSURE["mmHg"], r"(?:mmhg|torr)"),
)
_BARE_INCH = re.compile(
    rf"(?:@|\bat\b|test|depression|pressure)[^0-9]{{0,12}}{_NUMBER}\s*(?:\"|''|inch)"
)
_NAME_INCH = re.compile(rf"{_NUMBER}{_GAP}(?:inches|inch|in|zoll){_END}")
_TEMPERATURE = re.compile(
    rf"temp\w*\W{{0,4}}(-?[0-9]+(?:[.,][0-9]+)?)\s*(?:deg|[^0-9a-z\s]{{0,2}})\s*([cf]){_END}"
)
_BOTH = re.compile(r"\b(?:both|two|2|beide|zwei)\s+(?:valves|ventile)\b")
_ONE = re.compile(r"\b(?:one|single|1|ein|per|each|pro|je)\s+(?:valve|ventil)\b")
_PIPE = re.compile(r"\b(?:pipe|stub|rohr|stutzen)\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressure:
    """A test pressure as found."""

    pascal: float
    written: str
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The air on the bench."""

    density_kg_m3: float
    ambient_Pa: float
    said: str
    """Density and where it comes from, one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Valves:
    """How many valves were open, as found."""

    count: int
    written: str
    place: str


def sentences(raw: RawSheet, header: Header) -> list[tuple[str, str]]:
    """Everything the sheet says in words, row by row, and the file's name last."""
    said = [(f"row {r.number}", " ".join(r.cells)) for r in (*header.above, header.row)]
    for row in header.below:
        words = [cell for cell in row.cells if number(cell, raw.decimal) is None]
        said.append((f"row {row.number}", " ".join(words)))
    name = re.sub(r"(?<=[0-9a-z])-(?=[sh]\b|[sh]_)", "/", raw.path.stem.lower())
    said.append((FILE_NAME, name.replace("_", " ")))
    return [(place, text.lower()) for place, text in said if text]


def find_pressures(said: Sentences) -> list[Pressure]:
    """Every test pressure named; the same one named twice counts once.

    A bare '28"' counts behind "at" or "test", a bare "25inch" in the file's name.
    """
    found: list[Pressure] = []
    for place, text in said:
        for pascal, spelled in _pressures(text, place == FILE_NAME):
            known = any(abs(p.pascal / pascal - 1) < 0.01 for p in found if pascal)
            if TEST_PRESSURE[0] <= pascal <= TEST_PRESSURE[1] and not known:
                found.append(Pressure(pascal=pascal, written=spelled, place=place))
    return found


def _pressures(text: str, in_name: bool) -> list[tuple[float, str]]:
    found = []
    for si, unit in _SPELLED:
        for match in re.finditer(rf"{_NUMBER}{_GAP}{unit}{_END}", text):
            found.append((_value(match[1]) * si, match[0].strip().replace("h2o", "H2O")))
    if not found:
        for match in (_NAME_INCH if in_name else _BARE_INCH).finditer(text):
            found.append((_value(match[1]) * _PRESSURE["inH2O"], f"{match[1]} inH2O"))
    return found


def _value(text: str) -> float:
    return float(text.replace(",", "."))


def find_air(said: Sentences) -> Air:
    """The air on the bench, from the temperature and barometer the sheet names."""
    kelvin, ambient = None, AIR_PRESSURE_PA
    for _, text in said:
        match = _TEMPERATURE.search(text)
        if match:
            degrees = _value(match[1])
            kelvin = degrees + 273.15 if match[2] == "c" else (degrees + 459.67) * 5 / 9
        for pascal, _ in _pressures(text, in_name=False):
            if _BAROMETER[0] <= pascal <= _BAROMETER[1]:
                ambient = pascal
    if kelvin is None or not 253.0 < kelvin < 333.0:
        return Air(
            density_kg_m3=AIR_DENSITY,
            ambient_Pa=ambient,
            said=f"air {AIR_DENSITY:g} kg/m3, as no temperature is given",
        )
    density = air_density(kelvin, ambient)
    return Air(
        density_kg_m3=density,
        ambient_Pa=ambient,
        said=f"air {density:.3f} kg/m3 at {kelvin - 273.15:.0f} degC and {ambient / 100:.0f} mbar",
    )


def find_valves(said: Sentences) -> Valves | None:
    """How many valves were open, as the sheet says; None if it does not, or both ways."""
    found = []
    for place, text in said:
        both = _BOTH.search(text)
        match = both or _ONE.search(text)
        if match:
            found.append(Valves(count=2 if both else 1, written=match[0], place=place))
    return found[0] if len({one.count for one in found}) == 1 else None


def find_pipe(said: Sentences) -> str:
    """Where the sheet says that a stub pipe was fitted, or ''."""
    return next((place for place, text in said if _PIPE.search(text)), "")
