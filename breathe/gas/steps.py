"""Sudden steps in bore inside a run of pipe cells.

A step has no length: gas takes both bores in one face, which has the area of the narrow one. So
that both sides of that face speak of the same section, the state of the wide side is carried
through the step first (`cross_steps`), and the ordinary flux then stands between two states in
the narrow bore:

- a simple wave first brings the wide side's gas to the speed that the narrow side's gas answers
  with the same pressure; at Mach 1 in the narrow bore that speed ends;
- into the narrow bore the gas contracts without loss, isentropic and of constant stagnation
  enthalpy;
- out of it the gas leaves as a jet that mixes in the wide bore. Jet pressure acts on the whole
  shoulder, and the momentum balance of Borda and Carnot gives the loss.

What the shoulder of the step pushes back with goes to the wide cell (`push_steps`); it does no
work. The contraction of a jet behind the edge of a narrowing (vena contracta) is left out.

Source: A. H. Shapiro, The Dynamics and Thermodynamics of Compressible Fluid Flow, vol. 1, 1953,
chs. 4 (isentropic flow) and 5 (sudden enlargement as a momentum balance); from memory.
"""

from __future__ import annotations

import math

from breathe.kernel import kernel

ITERATIONS = 40
TOLERANCE = 1e-10
MATCHED = 1e-7
"""Share of the pressure to which the two sides of a step have to agree."""


@kernel
def choking_mach(gamma, ratio):
    """Mach number in the wide bore at which the narrow one is sonic.

    Parameters
    ----------
    gamma : float
        Heat capacity ratio [-].
    ratio : float
        Area of the wide bore over that of the narrow one, above 1 [-].

    Returns
    -------
    float
        The subsonic root M of the isentropic area relation (Shapiro 1953, ch. 4),
        ratio M = (2 / (gamma + 1) (1 + (gamma - 1) / 2 M^2))^((gamma + 1) / (2 (gamma - 1))).
    """
    power = 0.5 * (gamma + 1.0) / (gamma - 1.0)
    mach = 0.0
    # Convex right-hand side: Newton climbs from zero to the root and cannot pass it.
    for _ in range(ITERATIONS):
        warmth = (2.0 + (gamma - 1.0) * mach * mach) / (gamma + 1.0)
        area = warmth**power
        slope = ratio - area / warmth * mach
        change = (area - ratio * mach) / slope
        mach += change
        if change < TOLERANCE:
            break
    return mach


@kernel
def behind_wave(density, velocity, pressure, gamma, mach):
    """State of gas brought to another Mach number by a simple wave running against it.

    Parameters
    ----------
    density, velocity, pressure : float
        Of the gas that arrives [kg/m3, m/s, Pa]; velocity towards where the wave starts.
    gamma : float
        Heat capacity ratio [-].
    mach : float
        Mach number behind the wave [-].

    Returns
    -------
    tuple of float
        Density, velocity, pressure. u + 2 c / (gamma - 1) and entropy stay (Shapiro 1953, simple
        waves).
    """
    half = 0.5 * (gamma - 1.0)
    sound = math.sqrt(gamma * pressure / density)
    z = (1.0 + half * velocity / sound) / (1.0 + half * mach)
    dense = z ** (1.0 / half)
    return density * dense, mach * sound * z, pressure * dense * z * z


@kernel
def contracted(density, velocity, pressure, gamma, ratio):
    """State in the narrow bore of gas that enters it from the wide one without loss.

    Parameters
    ----------
    density, velocity, pressure : float
        In the wide bore, not above `choking_mach` [kg/m3, m/s, Pa].
    gamma : float
        Heat capacity ratio [-].
    ratio : float
        Area of the wide bore over that of the narrow one, above 1 [-].

    Returns
    -------
    tuple of float
        Density, velocity, pressure; never beyond Mach 1.

    Notes
    -----
    With x the density over that in the wide bore and k = (gamma - 1) / 2 M^2, mass and stagnation
    enthalpy give x^(gamma - 1) + k (ratio / x)^2 = 1 + k (Shapiro 1953, ch. 4).
    """
    g = gamma - 1.0
    square = gamma * pressure / density
    k = 0.5 * g * velocity * velocity / square
    sonic = (2.0 / (gamma + 1.0) * (1.0 + k)) ** (1.0 / g)
    moved = k * ratio * ratio
    x = 1.0
    for _ in range(ITERATIONS):
        cold = x**g
        residual = cold - 1.0 - k + moved / (x * x)
        slope = (g * cold - 2.0 * moved / (x * x)) / x
        new = x - residual / slope if slope > 0.0 else sonic
        if not new > sonic:
            new = 0.5 * (x + sonic)
        change = new - x
        x = new
        if abs(change) < TOLERANCE:
            break
    # At Mach 1 the root is double and found to a few digits only.
    fastest = math.sqrt(square * x**g)
    speed = min(abs(velocity) * ratio / x, fastest)
    return density * x, math.copysign(speed, velocity), pressure * x**gamma


@kernel
def jet(density, velocity, pressure, gamma, ratio):
    """State in the narrow bore of a jet that has mixed to the given one in the wide bore.

    Parameters
    ----------
    density, velocity, pressure : float
        In the wide bore, after mixing [kg/m3, m/s, Pa].
    gamma : float
        Heat capacity ratio [-].
    ratio : float
        Area of the wide bore over that of the narrow one, above 1 [-].

    Returns
    -------
    tuple of float
        Density, velocity, pressure; never beyond Mach 1.

    Notes
    -----
    Per area of the wide bore, p + rho u^2 = p_jet + G w / ratio with the mass flow per narrow
    area G = ratio rho u: Borda's and Carnot's enlargement (Shapiro 1953, ch. 5). With stagnation
    enthalpy h this is a quadratic in w. A sonic jet has a pressure of its own, which follows from
    G; pressure on the shoulder is then what the balance asks for.
    """
    per_heat = gamma / (gamma - 1.0)
    stagnation = per_heat * pressure / density + 0.5 * velocity * velocity
    flow = ratio * density * velocity
    momentum = pressure + density * velocity * velocity
    b = per_heat * momentum
    root = b * b + 4.0 * (0.5 - per_heat / ratio) * stagnation * flow * flow
    speed = 2.0 * stagnation * flow / (b + math.sqrt(max(root, 0.0)))
    fastest = math.sqrt(2.0 * (gamma - 1.0) / (gamma + 1.0) * stagnation)
    if root < 0.0 or abs(speed) > fastest:
        dense = abs(flow) / fastest
        return dense, math.copysign(fastest, velocity), dense * fastest * fastest / gamma
    jet_pressure = momentum - flow * speed / ratio
    return per_heat * jet_pressure / (stagnation - 0.5 * speed * speed), speed, jet_pressure


@kernel
def in_narrow(wide, gamma, ratio):
    """State in the narrow bore that belongs to ``wide``, a state (rho, u, p) in the wide one.

    Velocity is positive towards the narrow bore, here and below.
    """
    if wide[1] > 0.0:
        return contracted(wide[0], wide[1], wide[2], gamma, ratio)
    return jet(wide[0], wide[1], wide[2], gamma, ratio)


@kernel
def mismatch(mach, wide, narrow, gamma, ratio):
    """Pressure the step gives less what the narrow bore's gas answers with [Pa]; falls with Mach.

    ``mach`` is that in the wide bore at the step, ``wide`` the state (rho, u, p) that arrives
    there, ``narrow`` (rho c, u, p) of the narrow bore, whose answer is linear.
    """
    there = in_narrow(behind_wave(wide[0], wide[1], wide[2], gamma, mach), gamma, ratio)
    return there[2] - narrow[2] - narrow[0] * (there[1] - narrow[1])


@kernel
def secant_mach(mach, wide, narrow, gamma, ratio):
    """The quick way to `mach_at_step` from the Mach number that arrives; False if it fails.

    Waves from step to step of time are weak, so the acoustic slope and two secants mostly do. Kept
    below half the speed of sound in the narrow bore, where nothing chokes.
    """
    sound = math.sqrt(gamma * wide[2] / wide[0])
    slope = -sound * (wide[0] * sound + ratio * narrow[0])
    last, f_last = mach, 0.0
    for i in range(6):
        if abs(mach) * ratio > 0.5:
            break
        f = mismatch(mach, wide, narrow, gamma, ratio)
        if abs(f) < MATCHED * wide[2]:
            return mach, True
        if i > 0:
            slope = (f - f_last) / (mach - last)
            if not slope < 0.0:
                break
        last, f_last = mach, f
        mach -= f / slope
    return mach, False


@kernel
def mach_at_step(wide, narrow, gamma, ratio):
    """Mach number in the wide bore at the step, from the waves that arrive on both sides [-].

    Between sonic flow out of the narrow bore (-1) and a choked narrow bore (`choking_mach`); what
    cannot pass runs back into the wide bore. False position with halving (Illinois).
    """
    arriving = wide[1] / math.sqrt(gamma * wide[2] / wide[0])
    if arriving <= -1.0:
        return arriving  # No wave comes back against supersonic flow.
    mach, matched = secant_mach(arriving, wide, narrow, gamma, ratio)
    if matched:
        return mach
    still = mismatch(0.0, wide, narrow, gamma, ratio)
    if still > 0.0:
        low, high = 0.0, choking_mach(gamma, ratio)
        f_low, f_high = still, mismatch(high, wide, narrow, gamma, ratio)
        if f_high >= 0.0:
            return high
    else:
        low, high = -1.0, 0.0
        f_low, f_high = mismatch(low, wide, narrow, gamma, ratio), still
        if f_low <= 0.0:
            return low
    mach = arriving if low < arriving < high else 0.5 * (low + high)
    for _ in range(ITERATIONS):
        f = mismatch(mach, wide, narrow, gamma, ratio)
        if abs(f) < MATCHED * wide[2]:
            break
        if f > 0.0:
            low, f_low, f_high = mach, f, 0.5 * f_high
        else:
            high, f_high, f_low = mach, f, 0.5 * f_low
        mach = (low * f_high - high * f_low) / (f_high - f_low)
    return mach


@kernel
def cross_steps(flow, grid):
    """Carry the wide side's state at each step into the narrow bore; note what its shoulder bears.

    Changes `flow.left` or `flow.right` at the faces of `grid.step_face`, after
    `pipe.face_states` and before the fluxes, and sets `flow.push` of the wide cells [N].
    Stagnation enthalpy is carried over, so energy is right whatever the heat capacities.
    """
    for k in range(len(grid.step_face)):
        face = grid.step_face[k]
        wide_left = grid.step_ratio[k] > 1.0
        ratio = grid.step_ratio[k] if wide_left else 1.0 / grid.step_ratio[k]
        toward = 1.0 if wide_left else -1.0
        side = flow.left if wide_left else flow.right
        other = flow.right if wide_left else flow.left
        wide = (side[0, face], toward * side[1, face], side[2, face])
        narrow = (other[0, face] * other[4, face], toward * other[1, face], other[2, face])
        square = side[4, face] * side[4, face]
        gamma = square * wide[0] / wide[2]
        per_heat = gamma / (gamma - 1.0)
        mach = mach_at_step(wide, narrow, gamma, ratio)
        met = behind_wave(wide[0], wide[1], wide[2], gamma, mach)
        there = in_narrow(met, gamma, ratio)
        enthalpy = (side[3, face] + wide[2]) / wide[0]
        enthalpy += per_heat * (met[2] / met[0] - wide[2] / wide[0])
        enthalpy += 0.5 * (met[1] * met[1] - wide[1] * wide[1])
        side[0, face], side[1, face], side[2, face] = there[0], toward * there[1], there[2]
        side[3, face] = there[0] * enthalpy - there[2]
        side[4, face] = math.sqrt(gamma * there[2] / there[0])
        thrust = ratio * (met[2] + met[0] * met[1] * met[1])
        thrust -= there[2] + there[0] * there[1] * there[1]
        # The shoulder closes the right side of a wide cell on the left, and pushes leftward.
        flow.push[face - 1 if wide_left else face] = -toward * grid.area[face] * thrust


@kernel
def push_steps(flow, grid, step):
    """Momentum the shoulders of all steps give to their wide cells in one ``step`` [s]."""
    for k in range(len(grid.step_face)):
        cell = grid.step_face[k] - 1 if grid.step_ratio[k] > 1.0 else grid.step_face[k]
        flow.momentum[cell] += step * grid.per_volume[cell] * flow.push[cell]
