"""How much each engine speed counts: bands in words, or a table of rpm and weight."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from breathe.errors import BreatheError
from breathe.measured.sheet import RawSheet, number, open_sheet

EXAMPLE = "10 % below 2500, 60 % 2500-5500, 30 % above"

_SPEED = r"(\d+(?:\.\d+)?)\s*(?:rpm)?"
_BAND = re.compile(
    rf"(?P<share>\d+(?:[.,]\d+)?)\s*%?\s*(?:(?:at|from|for|of)\s+)*"
    rf"(?:(?P<below>below|under|up to|<)(?:\s*{_SPEED})?"
    rf"|(?P<above>above|over|beyond|>)(?:\s*{_SPEED})?"
    rf"|{_SPEED}\s*(?:-|–|to|\.\.)\s*{_SPEED})",
    re.IGNORECASE,
)
_PARTS = re.compile(r"[,;]\s+|;|,(?=\s*\d+(?:\.\d+)?\s*%)")


@dataclass(frozen=True, slots=True)
class Weights:
    """What each speed counts in a mean."""

    shares: tuple[float, ...]
    """(n_speeds,) adding up to 1."""
    asked: str = ""
    """As the user put it; empty where every speed counts the same."""
    notices: tuple[str, ...] = ()
    """What was made of it, where that may surprise."""


@dataclass(frozen=True, slots=True)
class _Band:
    share: float
    low_rpm: float
    high_rpm: float
    words: str

    def holds(self, speed_rpm: float) -> bool:
        """An edge belongs to the band that names both its ends."""
        if math.isinf(self.low_rpm) or math.isinf(self.high_rpm):
            return self.low_rpm < speed_rpm < self.high_rpm
        return self.low_rpm <= speed_rpm <= self.high_rpm


def equal_weights(speeds_rpm: Sequence[float]) -> Weights:
    """Every speed counts the same."""
    return Weights((1.0 / len(speeds_rpm),) * len(speeds_rpm))


def weights_of(asked: str | None, speeds_rpm: Sequence[float]) -> Weights:
    """Weights from what was typed: None, bands in words, or the name of a file.

    Parameters
    ----------
    asked : str or None
        Such as '10 % below 2500, 60 % 2500-5500, 30 % above', or a sheet with a column of rpm and
        one of weight.
    speeds_rpm : sequence of float
        The speeds run, rising.

    Raises
    ------
    BreatheError
        It cannot be read, or counts speeds that are not run.
    """
    if asked is None:
        return equal_weights(speeds_rpm)
    path = Path(asked)
    if path.suffix.lower() in (".csv", ".txt", ".tsv", ".xlsx") or _is_file(path):
        return _of_curve(asked, open_sheet(path), speeds_rpm)
    return _of_bands(asked, _bands(asked), speeds_rpm)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a text that can be no path on this system
        return False


def _bad(asked: str, why: str) -> BreatheError:
    return BreatheError(f"--weights: found {asked!r}; {why}")


def _bands(asked: str) -> list[_Band]:
    found = []
    for part in (part.strip() for part in _PARTS.split(asked)):
        match = _BAND.fullmatch(part)
        if match is None:
            raise _bad(
                asked,
                f"{part!r} is no share of a band of speeds; expected such as "
                f"{EXAMPLE!r} in rpm, or a CSV file of rpm and weight",
            )
        found.append((match, part))
    edges = [float(x) for match, _ in found for x in match.groups()[2:] if _is_number(x)]
    if not edges:
        raise _bad(asked, f"it names no speed; expected such as {EXAMPLE!r}")
    bands = sorted((_band(m, text, edges) for m, text in found), key=lambda band: band.low_rpm)
    for one, other in pairwise(bands):
        if other.low_rpm < one.high_rpm:
            raise _bad(asked, f"{one.words!r} and {other.words!r} overlap; expected bands apart")
    return bands


def _is_number(text: str | None) -> bool:
    return text is not None and text[:1].isdigit()


def _band(match: re.Match[str], words: str, edges: Sequence[float]) -> _Band:
    share = float(match["share"].replace(",", "."))
    _, below, to, above, over, first, last = match.groups()
    if below:
        return _Band(share, -math.inf, float(to) if to else min(edges), words)
    if above:
        return _Band(share, float(over) if over else max(edges), math.inf, words)
    low, high = float(first), float(last)
    if low >= high:
        raise BreatheError(f"--weights: {words!r} runs backwards; expected the lower speed first")
    return _Band(share, low, high, words)


def _of_bands(asked: str, bands: Sequence[_Band], speeds_rpm: Sequence[float]) -> Weights:
    shares, taken = np.zeros(len(speeds_rpm)), set()
    # "Below 3500, above": 3500 counts as above, or it would count nothing.
    ends = {band.high_rpm for band in bands if math.isinf(band.low_rpm)}
    for band in bands:
        edges = {band.low_rpm} & ends if math.isinf(band.high_rpm) else set()
        inside = [
            n
            for n, speed in enumerate(speeds_rpm)
            if n not in taken and (band.holds(speed) or speed in edges)
        ]
        taken.update(inside)  # a speed on the edge of two bands belongs to the lower
        if band.share > 0 and not inside:
            raise _outside(asked, f"{band.words!r}", speeds_rpm)
        for end in (band.low_rpm, band.high_rpm):
            if math.isfinite(end) and not speeds_rpm[0] <= end <= speeds_rpm[-1]:
                raise _outside(asked, f"{band.words!r}", speeds_rpm)
        for place in inside:
            shares[place] += band.share / len(inside)
    notices = []
    total = sum(band.share for band in bands)
    if abs(total - 100.0) > 1e-6 and abs(total - 1.0) > 1e-9:
        notices.append(f"The weights add up to {total:g} %; they are scaled to 100 %.")
    left_out = [
        f"{speed:.0f}" for speed, share in zip(speeds_rpm, shares, strict=True) if not share
    ]
    return _scaled(asked, shares, notices, left_out)


def _outside(asked: str, what: str, speeds_rpm: Sequence[float]) -> BreatheError:
    return _bad(
        asked,
        f"{what} counts speeds that are not run ({speeds_rpm[0]:.0f} to {speeds_rpm[-1]:.0f} rpm "
        "are); widen --speeds, or narrow the weights",
    )


def _of_curve(asked: str, sheet: RawSheet, speeds_rpm: Sequence[float]) -> Weights:
    """Straight lines between the rows of the sheet; nothing counts beyond them."""
    rows = _rows(sheet)
    at, weight = np.array(rows).T
    counted = at[weight > 0]
    if counted.min() < speeds_rpm[0] - 1e-9 or counted.max() > speeds_rpm[-1] + 1e-9:
        raise _outside(asked, f"it runs from {counted.min():.0f} to {counted.max():.0f} rpm and so",
                       speeds_rpm)  # fmt: skip
    shares = np.interp(speeds_rpm, at, weight, left=0.0, right=0.0)
    if not shares.any():
        raise _outside(asked, "it gives no weight to any speed run and", speeds_rpm)
    left_out = [
        f"{speed:.0f}" for speed, share in zip(speeds_rpm, shares, strict=True) if not share
    ]
    return _scaled(asked, shares, [], left_out)


def _rows(sheet: RawSheet) -> list[tuple[float, float]]:
    """Pairs of rpm and weight, rising in rpm; a first row of names is passed over."""
    name, found = sheet.path.name, []
    for row in sheet.rows:
        figures = [number(cell.rstrip("% "), sheet.decimal) for cell in row.cells[:2]]
        if len(figures) == 2 and figures[0] is not None and figures[1] is not None:
            if figures[1] < 0:
                raise BreatheError(
                    f"{name}, row {row.number}: found weight {figures[1]:g}; expected 0 or more"
                )
            found.append((figures[0], figures[1]))
        elif found:
            raise BreatheError(
                f"{name}, row {row.number}: found {', '.join(row.cells)!r}; expected rpm and weight"
            )
    if len(found) < 2:
        raise BreatheError(
            f"{name}: found {len(found)} rows of rpm and weight; expected two or more"
        )
    found.sort()
    speeds = [speed for speed, _ in found]
    if len(set(speeds)) < len(speeds):
        raise BreatheError(f"{name}: a speed stands there twice; expected each rpm once")
    if not any(weight for _, weight in found):
        raise BreatheError(f"{name}: every weight is 0; expected some above")
    return found


def _scaled(asked: str, shares: np.ndarray, notices: list[str], left_out: Sequence[str]) -> Weights:
    if not shares.any():
        raise _bad(asked, "every weight is 0; expected some above")
    if left_out:
        notices.append(f"By these weights {', '.join(left_out)} rpm count nothing in the mean.")
    return Weights(tuple(float(x) for x in shares / shares.sum()), asked, tuple(notices))
