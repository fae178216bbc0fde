"""The end of a pipe: one rule for valve, bell mouth, plain end, throttle, plenum and junction.

Every pipe end meets a volume of gas at rest (outside air, chamber, cylinder) through an opening
whose effective area may differ by direction. The pipe sends out a simple wave whose strength is the
unknown z = c*/c, speed of sound at the end over that of the gas arriving there; the flow through
the opening is that of a nozzle; mass must be the same. The sign of (pressure at the end with no
flow, less pressure of the volume) fixes the direction, so a reversal is continuous.

Outflow: the opening is fed by the local *stagnation* state of the pipe. Inflow: gas of the volume
expands to the pressure in the pipe (constant-pressure jet) and keeps its stagnation enthalpy.
Theory: R. S. Benson, The Thermodynamics and Gas Dynamics of Internal-Combustion Engines, vol. 1,
1982, chs. 4 and 5 (from memory); equations rederived here.

Velocities are counted positive *out of* the pipe.
"""

from __future__ import annotations

import math

from breathe.kernel import kernel

ITERATIONS = 30
TOLERANCE = 1e-12


@kernel
def outflow_wave(mach, gamma, share, volume_wave):  # type: ignore[no-untyped-def]
    """Strength z of the wave at an end through which the pipe empties.

    Parameters
    ----------
    mach : float
        Velocity towards the end over speed of sound, of the gas arriving [-].
    gamma : float
        Heat capacity ratio of that gas [-].
    share : float
        Effective opening over pipe area, 0 < share <= 1 [-].
    volume_wave : float
        (p_volume / p)^((gamma - 1) / (2 gamma)): the z of the volume's pressure [-].

    Returns
    -------
    tuple of float
        z and the velocity at the end over the speed of sound of the gas arriving [-].

    Notes
    -----
    All speeds are in units of c. With w the end velocity, s^2 = z^2 + (gamma-1)/2 w^2 the
    stagnation and t the throat speed of sound, mass balance reads
    (z/t)^(4/(gamma-1)) w^2 = share^2 * 2/(gamma-1) * (s^2 - t^2).
    """
    g = 2.0 / (gamma - 1.0)
    still = 1.0 + mach / g
    square = share * share
    # First guess: the same with (z/t) = 1, a quadratic in d = still - z.
    a = (1.0 - square) * g * g + square * g
    b = square * g * 2.0 * still
    c = square * g * (still * still - volume_wave * volume_wave)
    d = 2.0 * c / (b + math.sqrt(b * b + 4.0 * (a - 2.0 * square * g) * c)) if c > 0.0 else 0.0
    # Sonic in the pipe itself: z cannot fall below this.
    sonic = still * 2.0 / (gamma + 1.0)
    z = still - d
    if not z > sonic:
        z = sonic
    choked_ratio = 2.0 / (gamma + 1.0)
    for _ in range(ITERATIONS):
        w = g * (still - z)
        stagnation = z * z + w * w / g
        throat = volume_wave * volume_wave
        choked = stagnation * choked_ratio
        if choked > throat:
            throat = choked
            # d(throat)/dz for a sonic throat, which follows the stagnation state.
            slope = 2.0 * (z - w) * choked_ratio
        else:
            slope = 0.0
        lift = math.exp(g * math.log(z * z / throat))
        residual = lift * w * w - square * g * (stagnation - throat)
        gradient = lift * w * (w * g * (2.0 / z - slope / throat) - 2.0 * g)
        gradient -= square * g * (2.0 * (z - w) - slope)
        change = residual / gradient
        z_new = z - change
        if not z_new > sonic:
            z_new = 0.5 * (z + sonic)
        if z_new > still:
            z_new = 0.5 * (z + still)
        change = z_new - z
        z = z_new
        if abs(change) < TOLERANCE:
            break
    return z, g * (still - z)


@kernel
def inflow_wave(mach, gamma, share, volume_wave, volume_gamma, sound_over_enthalpy):  # type: ignore[no-untyped-def]
    """Strength z of the wave at an end through which the pipe fills.

    As `outflow_wave`; ``volume_gamma`` [-] belongs to the gas in the volume and
    ``sound_over_enthalpy`` is c^2 / (2 cp T) with c of the pipe gas and cp T of the volume [-].

    Notes
    -----
    With s = (p_end/p_volume)^((gamma_v-1)/gamma_v) and U the share of the stagnation enthalpy that
    is motion at the end, mass balance reads U s^2 = share^2 (1 - s) (1 - U)^2; a sonic throat puts
    its own pressure in place of the end's.
    """
    g = 2.0 / (gamma - 1.0)
    still = 1.0 + mach / g
    square = share * share
    kappa = (volume_gamma - 1.0) / volume_gamma
    power = kappa * gamma * g
    critical = 2.0 / (volume_gamma + 1.0)
    z = still + 0.5 * (volume_wave - still) * share
    for _ in range(ITERATIONS):
        w = g * (still - z)
        ratio = math.exp(power * math.log(z / volume_wave))
        motion = w * w * sound_over_enthalpy
        motion_slope = -2.0 * g * w * sound_over_enthalpy
        ratio_slope = power * ratio / z
        rest = 1.0 - motion
        if ratio > critical:
            residual = motion * ratio * ratio - square * (1.0 - ratio) * rest * rest
            gradient = motion_slope * ratio * ratio + 2.0 * motion * ratio * ratio_slope
            gradient += square * rest * (ratio_slope * rest + 2.0 * (1.0 - ratio) * motion_slope)
        else:
            # (p_throat / p_end)^2 times the sonic throat's own s: constant apart from p_end.
            jet = (1.0 - critical) * math.exp(2.0 / kappa * math.log(critical / ratio))
            jet *= ratio * ratio / (critical * critical)
            jet_slope = jet * (2.0 - 2.0 / kappa) / ratio * ratio_slope
            residual = motion * ratio * ratio - square * jet * rest * rest
            gradient = motion_slope * ratio * ratio + 2.0 * motion * ratio * ratio_slope
            gradient += square * rest * (2.0 * jet * motion_slope - jet_slope * rest)
        z_new = z - residual / gradient
        if not z_new > still:
            z_new = 0.5 * (z + still)
        if z_new > volume_wave:
            z_new = 0.5 * (z + volume_wave)
        change = z_new - z
        z = z_new
        if abs(change) < TOLERANCE:
            break
    return z, g * (still - z)
