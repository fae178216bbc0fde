"""Torque over the axes of the valve gear at one speed, from the places that were run.

One axis: a cubic spline through the points. More: radial cubics over a quadratic, which met the
rest of a fine grid over duration and phase three times closer than thin plates over a plane. Both
may have several humps, so a search for the top begins at every point that was run. Places are in
crank degrees along each axis.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, RBFInterpolator
from scipy.optimize import minimize

from breathe.study.gear import apart_deg

Floats = NDArray[np.float64]
Response = Callable[[Floats], Floats]
"""(m, n_axes) places -> (m,) figures, or (m, f) of several."""

APART_DEG = 0.5
"""Places nearer than this on every axis count as one [deg crank]."""


@dataclass(frozen=True, slots=True)
class Peak:
    """A top of a response."""

    place: tuple[float, ...]
    value: float


def response(places: ArrayLike, values: ArrayLike) -> Response:
    """A smooth function through what was run.

    Parameters
    ----------
    places : (n, n_axes) array_like
        Each once [deg crank].
    values : (n,) or (n, f) array_like
        One figure of each or several; nan where a case gave none; such places are passed over.

    Raises
    ------
    ValueError
        Too few figures for a shape.
    """
    x, y = np.atleast_2d(np.asarray(places, dtype=float)), np.asarray(values, dtype=float)
    known = np.isfinite(y).reshape(len(y), -1).all(axis=1)
    x, y = x[known], y[known]
    axes = x.shape[1]
    if len(y) < least_figures(axes):
        raise ValueError(f"found {len(y)} figures; expected {least_figures(axes)} or more")
    if axes > 1:
        return RBFInterpolator(x, y, kernel="cubic", degree=2)
    order = np.argsort(x[:, 0])
    curve = CubicSpline(x[order, 0], y[order], bc_type="not-a-knot")
    return lambda at: np.asarray(curve(np.asarray(at, dtype=float)[:, 0]))


def least_figures(axes: int) -> int:
    """Figures that a shape over so many axes needs: those of a second degree."""
    return (axes + 1) * (axes + 2) // 2


def blend(responses: Sequence[Response], shares: ArrayLike) -> Response:
    """The weighted mean of several responses."""
    weights = np.asarray(shares, dtype=float)
    counted = [(w, r) for w, r in zip(weights, responses, strict=True) if w > 0]
    return lambda at: np.sum([w * r(at) for w, r in counted], axis=0)


def peaks(
    function: Response, starts: ArrayLike, low_deg: Sequence[float], high_deg: Sequence[float]
) -> list[Peak]:
    """All tops found from all starts, highest first, each once.

    Parameters
    ----------
    function : Response
    starts : (n, n_axes) array_like
        Where to begin: every place that was run, since there may be several humps.
    low_deg, high_deg : (n_axes,) sequence of float
        Ends of the axes; a top may lie there.
    """
    begin = np.unique(np.atleast_2d(np.asarray(starts, dtype=float)), axis=0)
    scale = 1000.0 / max(float(np.max(np.abs(function(begin)))), 1e-12)
    found: list[Peak] = []
    for start in begin:
        ended = minimize(
            _downwards,
            start,
            args=(function, scale),
            method="L-BFGS-B",
            bounds=list(zip(low_deg, high_deg, strict=True)),
            options={"eps": 1e-3, "maxiter": 60},
        )
        found.append(Peak(tuple(float(x) for x in ended.x), -float(ended.fun) / scale))
    found.sort(key=lambda peak: -peak.value)
    return _apart(found)


def _downwards(place: Floats, function: Response, scale: float) -> float:
    return -scale * float(function(place[None, :])[0])


def _apart(found: Sequence[Peak]) -> list[Peak]:
    kept: list[Peak] = []
    for peak in found:
        if all(apart_deg(peak.place, other.place) > APART_DEG for other in kept):
            kept.append(peak)
    return kept
