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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.kernel import kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ITERATIONS = 30
TOLERANCE = 1e-8
SHUT = 1e-9
"""An opening below this share of the pipe passes nothing [-]."""


@kernel
def outflow_wave(mach, gamma, share, volume_wave):
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
    a = (1.0 - square) * g * g - square * g
    b = 2.0 * square * g * still
    c = square * g * (still * still - volume_wave * volume_wave)
    d = 2.0 * c / (b + math.sqrt(b * b + 4.0 * a * c))
    # Sonic in the pipe itself: z cannot fall below this.
    sonic = still * 2.0 / (gamma + 1.0)
    z = still - d
    if not z > sonic:
        # On the limit itself Newton would stay there, however little passes the opening.
        z = 0.5 * (still + sonic)
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
def inflow_wave(mach, gamma, share, volume_wave, volume_gamma, sound_over_enthalpy):
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
    # First guess: the same for a small pressure difference, a quadratic in d = z - still.
    a = g * g * sound_over_enthalpy
    b = square * power / volume_wave
    c = b * (volume_wave - still)
    z = still + 2.0 * c / (b + math.sqrt(b * b + 4.0 * a * c))
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


@kernel
def sonic_inflow(share, pressure, thermal, gamma, gas_constant):
    """Pipe-end state when the gas coming in would be faster than sound in the pipe.

    The jet of a choked opening cannot be told more by the pipe; it fills the bore at the speed of
    sound, with the mass of the opening and the stagnation enthalpy of the volume.

    Parameters
    ----------
    share, pressure, thermal, gamma, gas_constant : float
        Opening over pipe area [-]; pressure [Pa], cp T [J/kg], heat capacity ratio [-] and gas
        constant [J/(kg K)] of the volume.

    Returns
    -------
    pressure, velocity, temperature : float
        [Pa]; out of the pipe, so negative [m/s]; [K].
    """
    stagnation = thermal * (gamma - 1.0) / (gamma * gas_constant)
    temperature = stagnation * 2.0 / (gamma + 1.0)
    speed = math.sqrt(gamma * gas_constant * temperature)
    # The opening is choked too: its throat is at critical pressure and this temperature.
    throat = pressure * (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))
    return share * throat, -speed, temperature


class Ends(NamedTuple):
    """Where the pipe ends are and what they open into; ``n`` ends."""

    cell: Ints  # (n,) real cell at the end
    ghost: Ints  # (n,) its ghost cell
    face: Ints  # (n,) the face between them
    outward: Floats  # (n,) +1 if leaving the pipe is along rising cells, -1 otherwise
    area: Floats  # (n,) [m2] of that face
    reservoir: Ints  # (n,) the volume it opens into
    valve: Ints  # (n,) valve table that governs it, -1 for a plain opening
    out_share: Floats  # (n,) effective over pipe area, leaving the pipe [-]
    in_share: Floats  # (n,) the other way [-]


class Reservoirs(NamedTuple):
    """Gas at rest that pipe ends meet, at the middle of the time step; ``m`` volumes."""

    pressure: Floats  # (m,) [Pa]
    temperature: Floats  # (m,) [K]
    gas_constant: Floats  # (m,) [J/(kg K)]
    gamma: Floats  # (m,) [-]
    enthalpy: Floats  # (m,) [J/kg], with heat of formation
    fraction: Floats  # (m,) burned mass fraction [-]


class EndFlow(NamedTuple):
    """What passes each end, out of the pipe positive, and the gas state at the end; ``n`` ends."""

    mass: Floats  # (n,) [kg/s]
    enthalpy: Floats  # (n,) [W]
    burned: Floats  # (n,) [kg/s]
    pressure: Floats  # (n,) [Pa]
    velocity: Floats  # (n,) out of the pipe [m/s]
    temperature: Floats  # (n,) [K]
    fraction: Floats  # (n,) [-]


def empty_end_flow(ends: int) -> EndFlow:
    """An end flow of ``ends`` ends, all zero."""
    return EndFlow(*(np.zeros(ends) for _ in EndFlow._fields))


def empty_reservoirs(count: int) -> Reservoirs:
    """``count`` reservoirs, all zero."""
    return Reservoirs(*(np.zeros(count) for _ in Reservoirs._fields))


@kernel
def end_state(mach, sound, gamma, pressure, out_share, in_share, reservoir):
    """State at one end: wave strength z [-], velocity out of the pipe [m/s] and direction.

    Parameters
    ----------
    mach, sound, gamma, pressure : float
        Gas arriving at the end: velocity out of the pipe over ``sound``; speed of sound [m/s];
        heat capacity ratio; static pressure [Pa].
    out_share, in_share : float
        Effective opening over pipe area by direction, 0..1 [-].
    reservoir : tuple of float
        Pressure [Pa], heat capacity ratio [-] and cp T [J/kg] of the volume.

    Returns
    -------
    tuple
        z, velocity, and 1 for outflow, -1 for inflow, 0 for none. Inflow faster than sound is
        what `sonic_inflow` is for.
    """
    volume_pressure, volume_gamma, thermal = reservoir
    # Gas that leaves the end many times faster than sound leaves next to nothing behind.
    still = max(0.1, 1.0 + 0.5 * (gamma - 1.0) * mach)
    mach = (still - 1.0) * 2.0 / (gamma - 1.0)
    if out_share <= SHUT and in_share <= SHUT:  # a shut valve, as most are at any moment
        return still, 0.0, 0
    if mach >= 1.0 and out_share >= 1.0:
        # Faster than sound through a full bore: nothing outside holds it up, short of a shock.
        shock = (2.0 * gamma * mach * mach - (gamma - 1.0)) / (gamma + 1.0)
        if volume_pressure < pressure * shock:
            return 1.0, mach * sound, 1
    wave = math.exp(0.5 * (gamma - 1.0) / gamma * math.log(volume_pressure / pressure))
    if still > wave and out_share > SHUT:
        z, w = outflow_wave(mach, gamma, out_share, wave)
        return z, w * sound, 1
    if still < wave and in_share > SHUT:
        kinetic = 0.5 * sound * sound / thermal
        z, w = inflow_wave(mach, gamma, in_share, wave, volume_gamma, kinetic)
        return z, w * sound, -1
    return still, 0.0, 0


@kernel
def end_fluxes(flow, ends, reservoirs, out_share, in_share, charge, passed):
    """Solve all pipe ends; set the fluxes of their faces and what passes to the volumes.

    ``out_share`` and ``in_share`` (n,) are the openings at this moment over pipe area [-].
    """
    spread = charge.burned_R - charge.fresh_R
    for k in range(len(ends.cell)):
        cell, face, outward = ends.cell[k], ends.face[k], ends.outward[k]
        inner = flow.left[:, face] if outward > 0.0 else flow.right[:, face]
        density, pressure, sound, fraction = inner[0], inner[2], inner[4], inner[5]
        gas_constant = flow.gas_constant[cell] + spread * (fraction - flow.fraction[cell])
        temperature = pressure / (density * gas_constant)
        gamma = 1.0 + flow.gas_constant[cell] / flow.heat_capacity[cell]
        v = ends.reservoir[k]
        volume_gamma, volume_R = reservoirs.gamma[v], reservoirs.gas_constant[v]
        volume_cp = volume_gamma / (volume_gamma - 1.0) * volume_R
        thermal = volume_cp * reservoirs.temperature[v]
        z, velocity, direction = end_state(
            outward * inner[1] / sound, sound, gamma, pressure, out_share[k], in_share[k],
            (reservoirs.pressure[v], volume_gamma, thermal),
        )  # fmt: skip
        end_pressure = pressure * math.exp(2.0 * gamma / (gamma - 1.0) * math.log(z))
        end_temperature = temperature * z * z
        end_fraction = fraction
        if direction < 0:
            end_temperature = reservoirs.temperature[v] - 0.5 * velocity * velocity / volume_cp
            end_fraction = reservoirs.fraction[v]
            if velocity * velocity > volume_gamma * volume_R * end_temperature:
                end_pressure, velocity, end_temperature = sonic_inflow(
                    in_share[k], reservoirs.pressure[v], thermal, volume_gamma, volume_R
                )
            mass = end_pressure / (volume_R * end_temperature) * velocity
            enthalpy = mass * reservoirs.enthalpy[v]
        else:
            mass = end_pressure / (gas_constant * end_temperature) * velocity
            internal = flow.internal[cell] + flow.mixing[cell] * (fraction - flow.fraction[cell])
            internal += flow.heat_capacity[cell] * (end_temperature - flow.temperature[cell])
            specific = internal + gas_constant * end_temperature + 0.5 * velocity * velocity
            enthalpy = mass * specific
        flow.flux[0, face] = outward * mass
        flow.flux[1, face] = end_pressure + mass * velocity
        flow.flux[2, face] = outward * enthalpy
        flow.flux[3, face] = outward * mass * end_fraction
        passed.mass[k] = mass * ends.area[k]
        passed.enthalpy[k] = enthalpy * ends.area[k]
        passed.burned[k] = mass * end_fraction * ends.area[k]
        passed.pressure[k] = end_pressure
        passed.velocity[k] = velocity
        passed.temperature[k] = end_temperature
        passed.fraction[k] = end_fraction


@kernel
def set_ghosts(flow, ends, passed):
    """Mirror each end cell about the state last found at its end, for the slopes."""
    for k in range(len(ends.cell)):
        cell, ghost = ends.cell[k], ends.ghost[k]
        flow.temperature[ghost] = 2.0 * passed.temperature[k] - flow.temperature[cell]
        flow.pressure[ghost] = 2.0 * passed.pressure[k] - flow.pressure[cell]
        flow.fraction[ghost] = 2.0 * passed.fraction[k] - flow.fraction[cell]
        flow.velocity[ghost] = 2.0 * ends.outward[k] * passed.velocity[k] - flow.velocity[cell]
