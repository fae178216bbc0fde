"""Dwell-rise-dwell laws of follower motion, and the power-cosine flank.

Every law is dimensionless: displacement s from 0 to 1 over normalised angle x from 0 to 1. A rise h
over the angle b then has lift h*s, velocity h/b*s', acceleration h/b^2*s'' and jerk h/b^3*s'''.
All eight are symmetrical, s(1-x) = 1 - s(x), so only the first half of each is written down.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike

from breathe.engine.parts import Floats


@dataclass(frozen=True, slots=True)
class Piece:
    """Part of a first half: a polynomial plus one sine wave, up to ``end``."""

    end: float
    polynomial: tuple[float, ...]
    """Coefficients of x, constant first."""
    amplitude: float = 0.0
    frequency: float = 0.0
    phase: float = 0.0

    def derivative(self, x: Floats, order: int) -> Floats:
        """The ``order``-th derivative of this piece at ``x``."""
        power = Polynomial(self.polynomial).deriv(order) if order else Polynomial(self.polynomial)
        # Each derivative of a sine multiplies by the frequency and turns the phase by a quarter.
        wave = np.sin(self.frequency * x + self.phase + order * pi / 2)
        result: Floats = power(x) + self.amplitude * self.frequency**order * wave
        return result


@dataclass(frozen=True, slots=True)
class Law:
    """A dwell-rise-dwell law of motion; methods take x of any shape and return that shape."""

    name: str
    pieces: tuple[Piece, ...]
    """The first half, x from 0 to 0.5, in order."""

    @property
    def contact(self) -> int:
        """Order of the first derivative that is not zero where the rise meets the dwell."""
        start = np.zeros(())
        rising = (n for n in range(1, 9) if abs(self.pieces[0].derivative(start, n)) > 1e-9)
        return next(rising)

    def derivative(self, x: ArrayLike, order: int) -> Floats:
        """The ``order``-th derivative (0 to 3) at normalised angle ``x``.

        Outside 0..1 the follower dwells: displacement 0 or 1, derivatives 0.
        """
        at = np.asarray(x, dtype=np.float64)
        mirrored = at > 0.5
        half = np.where(mirrored, 1.0 - at, at)
        starts = (0.0, *(piece.end for piece in self.pieces[:-1]))
        inside = np.zeros_like(half)
        for start, piece in zip(starts, self.pieces, strict=True):
            inside = np.where(half >= start, piece.derivative(half, order), inside)
        inside = np.where(half >= 0.0, inside, 0.0)
        # s(1-x) = 1 - s(x): displacement and even derivatives change sign, odd ones keep it.
        sign = 1.0 if order % 2 else -1.0
        constant = 1.0 if order == 0 else 0.0
        result: Floats = np.where(mirrored, constant + sign * inside, inside)
        return result

    def displacement(self, x: ArrayLike) -> Floats:
        """Displacement s, 0 to 1 [-]."""
        return self.derivative(x, 0)

    def velocity(self, x: ArrayLike) -> Floats:
        """s' [-]; times h/b is velocity."""
        return self.derivative(x, 1)

    def acceleration(self, x: ArrayLike) -> Floats:
        """s'' [-]; times h/b^2 is acceleration."""
        return self.derivative(x, 2)

    def jerk(self, x: ArrayLike) -> Floats:
        """s''' [-] inside the pieces; steps of acceleration do not show."""
        return self.derivative(x, 3)


def _modified_trapezoid() -> Law:
    peak = 8 * pi / (2 + pi)
    first = peak / (4 * pi)  # a = peak * sin(4 pi x) integrates to v = first * (1 - cos(4 pi x))
    s1, v1 = first * (1 / 8 - 1 / (4 * pi)), first
    s2, v2 = s1 + v1 / 4 + peak / 32, v1 + peak / 4
    wave = -first / (4 * pi)
    return Law(
        "modified trapezoid",
        (
            Piece(1 / 8, (0.0, first), wave, 4 * pi),
            Piece(3 / 8, (s1 - v1 / 8 + peak / 128, v1 - peak / 8, peak / 2)),
            Piece(1 / 2, (s2 - v2 * 3 / 8 - wave, v2), wave, 4 * pi, -pi),
        ),
    )


def _modified_sine() -> Law:
    scale = 1 / (4 + pi)
    return Law(
        "modified sine",
        (
            Piece(1 / 8, (0.0, scale * pi), -scale / 4, 4 * pi),
            Piece(1 / 2, (2 * scale, scale * pi), -9 / 4 * scale, 4 * pi / 3, pi / 3),
        ),
    )


_ALL = (
    Law("constant acceleration", (Piece(1 / 2, (0, 0, 2)),)),
    Law("simple harmonic", (Piece(1 / 2, (0.5,), 0.5, pi, -pi / 2),)),
    Law("cycloidal", (Piece(1 / 2, (0, 1), -1 / (2 * pi), 2 * pi),)),
    _modified_trapezoid(),
    _modified_sine(),
    Law("3-4-5", (Piece(1 / 2, (0, 0, 0, 10, -15, 6)),)),
    Law("4-5-6-7", (Piece(1 / 2, (0, 0, 0, 0, 35, -84, 70, -20)),)),
    Law("5-6-7-8-9", (Piece(1 / 2, (0, 0, 0, 0, 0, 126, -420, 540, -315, 70)),)),
)

LAWS: dict[str, Law] = {law.name: law for law in _ALL}
"""The laws by name. A half-cosine flank is 'simple harmonic'.

Sources: modified sine, Rothbart (ed.), Cam Design Handbook, 2004, eq. 3.16; the others are the
standard forms (Norton, Cam Design and Manufacturing Handbook, from memory).
"""


def law_named(name: str) -> Law:
    """The law called ``name``.

    Raises
    ------
    ValueError
        If no law has that name; the message lists the names.
    """
    if name not in LAWS:
        raise ValueError(f"motion law: found '{name}'; expected one of {', '.join(LAWS)}")
    return LAWS[name]


def power_cosine(x: ArrayLike, exponent: float) -> Floats:
    """Lift over full lift of the flank cos(90 deg * x)^exponent, x = 0 at the nose, 1 at the base.

    With an exponent from about 1.3 to 2 it is close to real lobes: a long gentle nose and a short
    hard flank. Below 2 its acceleration has no bound at the base, so lobes built from it leave it
    for a ramp. Outside 0..1 it holds 1 and 0.
    """
    inside = np.clip(np.asarray(x, dtype=np.float64), 0.0, 1.0)
    # The clip keeps round-off at x = 1 from raising a negative number to a broken power.
    result: Floats = np.clip(np.cos(pi / 2 * inside), 0.0, 1.0) ** exponent
    return np.where(inside >= 1.0, 0.0, result)
