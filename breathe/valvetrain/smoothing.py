"""Smoothing spline through readings, its stiffness by a stated criterion, and its doubt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline, CubicSpline, PPoly, make_smoothing_spline
from scipy.optimize import minimize_scalar

from breathe.engine.parts import Floats

ROBUSTNESS = 0.3
"""Lukas's gamma: 1 is plain cross-validation, which now and then follows the noise."""
SOFTER = 8.0
"""A spline this much less stiff shows what smoothing may hide."""
SURE = 1.96
"""Standard deviations in a 95 % interval."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Smooth:
    """A smoothing spline with what is needed to say how sure it is."""

    at_deg: Floats
    """(n,) rising, where readings are."""
    lift_m: Floats
    """(n,) readings."""
    spline: BSpline
    stiffness: float
    """Factor of the integrated squared second derivative [deg^3]."""
    leverage: Floats
    """(n,) share of each reading in the spline's value at it."""
    scatter_m: float
    """Standard deviation of a reading about the true curve."""
    roughness: float
    """Spectral density of the second derivative that scatter and stiffness imply [m2/deg3]."""

    @property
    def pieces(self) -> PPoly:
        return PPoly.from_spline(self.spline.tck)

    @property
    def window_deg(self) -> float:
        """Width over which readings are averaged: of a box as noisy as the spline's kernel.

        References
        ----------
        B. W. Silverman, Spline smoothing: the equivalent variable kernel method, Annals of
        Statistics 12, 1984 (from memory): kernel exp(-|t|/sqrt 2) sin(|t|/sqrt 2 + pi/4) / 2.
        """
        step = float(np.median(np.diff(self.at_deg)))
        return max(8 * 2**0.5 / 3 * (self.stiffness * step) ** 0.25, step)

    def doubt(self, at_deg: Floats, order: int = 0) -> Floats:
        """Half of the 95 % interval of the curve or of a derivative, (m,) metres per degree^order.

        Value and velocity: posterior of a smoothing spline, covariance scatter^2 A between
        readings, carried by the natural spline between them; the value adds what the curve may do
        unseen between two readings h apart, roughness u^3 (h-u)^3 / (3 h^3). Acceleration: that
        posterior has no bound, so it is the standard error of the spline's own second derivative,
        an average over ``window_deg``.

        References
        ----------
        G. Wahba, Bayesian 'confidence intervals' for the cross-validated smoothing spline, Journal
        of the Royal Statistical Society B 45, 1983 (from memory; the term between readings is the
        conditional variance of an integrated Wiener process).
        """
        x = self.at_deg
        n = len(x)
        at = np.clip(np.atleast_1d(at_deg), x[0], x[-1])
        smoothed = make_smoothing_spline(x, np.eye(n), lam=self.stiffness)(at, order)
        hidden = self._hidden(at, order)
        if order == 2:
            scatter = SURE * self.scatter_m * np.sqrt((smoothed**2).sum(axis=1))
            return np.hypot(scatter, hidden)
        through = CubicSpline(x, np.eye(n), bc_type="natural")(at, order)
        variance = self.scatter_m**2 * np.maximum((smoothed * through).sum(axis=1), 0.0)
        if order == 0:
            left = np.clip(np.searchsorted(x, at, side="right") - 1, 0, n - 2)
            gap, u = x[left + 1] - x[left], at - x[left]
            variance = variance + self.roughness * (u * (gap - u) / gap) ** 3 / 3
        half: Floats = np.hypot(SURE * np.sqrt(variance), hidden)
        return half

    def _hidden(self, at_deg: Floats, order: int) -> Floats:
        """What smoothing may hide: the most a softer spline differs within half a window around."""
        softer = make_smoothing_spline(self.at_deg, self.lift_m, lam=self.stiffness / SOFTER)
        reach = np.linspace(-0.5, 0.5, 9) * self.window_deg if order < 2 else np.zeros(1)
        around = np.clip(at_deg[:, None] + reach, *self.at_deg[[0, -1]])
        most: Floats = np.abs(softer(around, order) - self.spline(around, order)).max(axis=1)
        return most


def smooth(at_deg: Floats, lift_m: Floats, *, resolution_m: float = 0.0) -> Smooth:
    """Cubic smoothing spline whose stiffness minimises the robust cross-validation score.

    RGCV = [g + (1 - g) tr(A^2)/n] (RSS/n) / (1 - tr(A)/n)^2, A the matrix from readings to
    smoothed values; scatter^2 = RSS / (n - tr A).

    Parameters
    ----------
    at_deg : (n,) array
        Strictly rising, n from 5 to about 1000.
    lift_m : (n,) array
    resolution_m : float
        To which readings are rounded: scatter is at least that over sqrt(12).

    References
    ----------
    M. A. Lukas, Robust generalized cross-validation for choosing the regularization parameter,
    Inverse Problems 22, 2006; P. Craven and G. Wahba, Smoothing noisy data with spline functions,
    Numerische Mathematik 31, 1979 (both from memory).
    """
    n = len(at_deg)
    unit = float(np.median(np.diff(at_deg))) ** 3
    influence = make_smoothing_spline(at_deg, np.eye(n), lam=unit)(at_deg)
    shares, modes = np.linalg.eigh((influence + influence.T) / 2)
    # How much each mode bends; the two straight lines do not.
    bend = np.maximum(1 / np.clip(shares, 1e-15, 1.0) - 1, 0.0)
    bend[np.argsort(bend)[:2]] = 0.0
    weight = (modes.T @ lift_m) ** 2

    def score(log_stiffness: float) -> float:
        kept = 1 / (1 + 10**log_stiffness * bend)
        residual = float(weight @ (1 - kept) ** 2) / n + 1e-30
        robust = ROBUSTNESS + (1 - ROBUSTNESS) * float(kept @ kept) / n
        freedom = max(1 - float(kept.sum()) / n, 1e-12)
        return float(np.log(robust * residual) - 2 * np.log(freedom))

    tried = np.linspace(-6.0, 8.0, 113)
    near = int(np.argmin([score(float(one)) for one in tried]))
    bounds = (tried[max(near - 1, 0)], tried[min(near + 1, len(tried) - 1)])
    best = minimize_scalar(score, bounds=bounds, method="bounded", options={"xatol": 1e-3})
    kept = 1 / (1 + 10 ** float(best.x) * bend)
    stiffness = 10 ** float(best.x) * unit
    freedom = max(n - float(kept.sum()), 0.5)
    scatter = float(np.sqrt(weight @ (1 - kept) ** 2 / freedom))
    return Smooth(
        at_deg=at_deg,
        lift_m=lift_m,
        spline=make_smoothing_spline(at_deg, lift_m, lam=stiffness),
        stiffness=stiffness,
        leverage=(modes**2) @ kept,
        scatter_m=max(scatter, resolution_m / 12**0.5),
        roughness=scatter**2 / stiffness,
    )


def second_difference_noise(scatter_m: float, step_deg: float) -> float:
    """Standard deviation of acceleration by second differences of readings [m/deg^2].

    sqrt(6) * scatter / step^2: the variances of f(x-h), -2 f(x), f(x+h) add as 1 + 4 + 1.
    """
    return 6**0.5 * scatter_m / step_deg**2
