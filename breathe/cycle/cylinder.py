"""Cylinder and chamber gas over one time step: half a step ahead, then the whole, conservatively.

The half step gives the state that pipe ends meet; the whole step uses the same flows on both sides
of every opening and does piston work at the half-step pressure, so mass and energy close to
round-off over a settled cycle.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.cycle.burn import unburned_share_left, wiebe
from breathe.cycle.knock import compressed_temperature, knock_increment
from breathe.cycle.piston import liner_area, travel, volume
from breathe.cycle.walls import (
    COMBUSTION,
    COMPRESSION,
    MOTORED_EXPONENT,
    SCAVENGING,
    heat_flow,
    motored_pressure,
    woschni,
    woschni_speed,
)
from breathe.gas.burned_table import FREEZE_K
from breathe.gas.mixture import (
    blend_u_cv,
    frozen_state,
    gas_constant,
    mixture_hot,
    state_from_u_v,
)
from breathe.kernel import inner, kernel

Floats = NDArray[np.float64]


class Content(NamedTuple):
    """What is in each volume, and how it changes; ``m`` volumes, cylinders first."""

    mass: Floats  # (m,) [kg]
    energy: Floats  # (m,) internal, with heat of formation [J]
    burned: Floats  # (m,) burned-gas mass [kg]
    temperature: Floats  # (m,) [K]
    pressure: Floats  # (m,) [Pa]
    capacity: Floats  # (m,) cv [J/(kg K)]
    mixing: Floats  # (m,) internal energy of burned less fresh gas [J/kg]
    mass_rate: Floats  # (m,) net inflow of the last step [kg/s]
    energy_rate: Floats  # (m,) [W]
    burned_rate: Floats  # (m,) [kg/s]
    wall_loss: Floats  # (m,) heat to the walls of the last step [W]


class Shut(NamedTuple):
    """What each cylinder remembers from intake closing on; ``c`` cylinders."""

    pressure: Floats  # (c,) at closing [Pa]
    temperature: Floats  # (c,) at closing [K]
    volume: Floats  # (c,) at closing [m3]
    burn_start: Floats  # (c,) [deg]
    burn_duration: Floats  # (c,) whole [deg]
    burn_10_90: Floats  # (c,) [deg]
    end_gas: Floats  # (c,) unburned temperature [K]
    last_pressure: Floats  # (c,) of the end gas, one step ago [Pa]
    knock: Floats  # (c,) index grown so far [-]
    knock_last: Floats  # (c,) index of the last whole burn [-]
    closed_mass: Floats  # (c,) trapped [kg]
    closed_burned: Floats  # (c,) burned gas in it [kg]


def empty_content(volumes: int) -> Content:
    """Contents of ``volumes`` volumes, all zero."""
    return Content(*(np.zeros(volumes) for _ in Content._fields))


def empty_shut(cylinders: int) -> Shut:
    """Memory of ``cylinders`` cylinders, all zero."""
    return Shut(*(np.zeros(cylinders) for _ in Shut._fields))


@kernel
def fill_volume(content, v, pressure, temperature, fraction, size, charge):
    """Put gas of a given state (Pa, K, burned mass fraction) into volume ``v`` of ``size`` [m3]."""
    energy, constant, _, _, _, _ = mixture_hot(temperature, pressure, fraction, charge)
    content.mass[v] = pressure * size / (constant * temperature)
    content.energy[v] = content.mass[v] * energy
    content.burned[v] = content.mass[v] * fraction
    content.temperature[v] = temperature
    content.pressure[v] = pressure
    find_state(content, v, size, charge)


@kernel
def find_state(content, v, size, charge):
    """State of volume ``v`` of ``size`` [m3] from its mass and energy, with its slopes.

    Gas below the freezing temperature of its composition takes the short way.
    """
    mass = content.mass[v]
    fraction, energy = content.burned[v] / mass, content.energy[v] / mass
    temperature, capacity, mixing = frozen_state(energy, fraction, charge, content.temperature[v])
    pressure = mass * gas_constant(fraction, charge) * temperature / size
    if not temperature < FREEZE_K:
        temperature, pressure = state_from_u_v(
            energy, size / mass, fraction, charge, content.temperature[v], content.pressure[v]
        )
        _, _, capacity, _, _, _ = mixture_hot(temperature, pressure, fraction, charge)
        if fraction > 0.05:
            # The energy of a blend is linear in its composition.
            fresh, _ = blend_u_cv(temperature, 0.0, charge)
            mixing = (energy - fresh) / fraction
    content.temperature[v] = temperature
    content.pressure[v] = pressure
    content.capacity[v] = capacity
    content.mixing[v] = mixing


@inner
def meet(reservoirs, v, pressure, temperature, fraction, capacity, energy, constant):
    """Write the half-step state of volume ``v`` where the pipe ends look for it."""
    reservoirs.pressure[v] = pressure
    reservoirs.temperature[v] = temperature
    reservoirs.fraction[v] = fraction
    reservoirs.gas_constant[v] = constant
    reservoirs.gamma[v] = 1.0 + constant / capacity
    reservoirs.enthalpy[v] = energy + constant * temperature


@kernel
def hold_outside(content, reservoirs, v, pressure, temperature, fraction, charge):
    """Outside gas ``v`` at rest: one cubic metre of it, never changed."""
    fill_volume(content, v, pressure, temperature, fraction, 1.0, charge)
    energy = content.energy[v] / content.mass[v]
    constant = gas_constant(fraction, charge)
    meet(reservoirs, v, pressure, temperature, fraction, content.capacity[v], energy, constant)


@kernel
def ahead(content, v, mass, burned, energy, size, size_now, reservoirs, charge):
    """Half-step state of a volume from its predicted mass, burned mass, energy and size [m3]."""
    now = content.mass[v]
    fraction, fraction_now = burned / mass, content.burned[v] / now
    specific = energy / mass
    change = specific - content.energy[v] / now
    change -= content.mixing[v] * (fraction - fraction_now)
    temperature = content.temperature[v] + change / content.capacity[v]
    # The gas constant as it is now (dissociated gas has more), moved by composition.
    constant = content.pressure[v] * size_now / (now * content.temperature[v])
    constant += (charge.burned_R - charge.fresh_R) * (fraction - fraction_now)
    pressure = mass * constant * temperature / size
    meet(reservoirs, v, pressure, temperature, fraction, content.capacity[v], specific, constant)


@inner
def cylinder_ahead(content, shut, c, angle, step_deg, step, model, reservoirs):
    """Half a step ahead for cylinder ``c`` at its own ``angle`` [deg], with last step's flows."""
    size_now = volume(model.crank, angle)
    size = volume(model.crank, angle + 0.5 * step_deg)
    half = 0.5 * step
    mass = content.mass[c] + half * content.mass_rate[c]
    burned = content.burned[c] + half * content.burned_rate[c]
    left = burn_factor(shut, c, angle, angle + 0.5 * step_deg, model.burning)
    burned += (mass - burned) * (1.0 - left)
    energy = content.energy[c] + half * (content.energy_rate[c] - content.wall_loss[c])
    energy -= content.pressure[c] * (size - size_now)
    ahead(content, c, mass, burned, energy, size, size_now, reservoirs, model.charge)


@inner
def chamber_ahead(content, v, size, response, step, reservoirs, charge):
    """Half a step ahead for a chamber of ``size`` [m3].

    ``response`` is the sum of (pipe area * speed of sound) over the volume [1/s]: the rate at which
    pipes even out a pressure difference. Dividing by it keeps small junctions stable.
    """
    half = 0.5 * step / (1.0 + 0.5 * response * step)
    mass = content.mass[v] + half * content.mass_rate[v]
    burned = content.burned[v] + half * content.burned_rate[v]
    energy = content.energy[v] + half * (content.energy_rate[v] - content.wall_loss[v])
    ahead(content, v, mass, burned, energy, size, size, reservoirs, charge)


@inner
def burn_factor(shut, c, start, end, burning):
    """Share of the fresh charge left after burning from ``start`` to ``end`` [deg, local]."""
    if shut.burn_duration[c] <= 0.0:
        return 1.0
    from_deg = start - 720.0 if start > 360.0 else start
    return unburned_share_left(
        from_deg,
        from_deg + (end - start),
        shut.burn_start[c],
        shut.burn_duration[c],
        burning.shape,
        burning.order,
        burning.completeness,
    )


@inner
def burned_share(shut, c, angle, burning):
    """Wiebe share burned [-] at a local ``angle`` [deg]."""
    if shut.burn_duration[c] <= 0.0:
        return 0.0
    from_deg = angle - 720.0 if angle > 360.0 else angle
    return wiebe(
        (from_deg - shut.burn_start[c]) / shut.burn_duration[c], burning.shape, burning.order
    )


@inner
def wall_loss(shut, c, angle, pressure, temperature, model):
    """Heat from the gas of cylinder ``c`` to its walls [W], Woschni."""
    crank, timing = model.crank, model.timing
    size = volume(crank, angle)
    shift = timing.exhaust_opens <= angle < timing.intake_closes
    if shift or shut.volume[c] <= 0.0:
        speed = SCAVENGING * model.piston_speed
    else:
        fire, rise = 0.0, 0.0
        from_deg = angle - 720.0 if angle > 360.0 else angle
        if from_deg > shut.burn_start[c] and shut.burn_duration[c] > 0.0:
            fire = COMBUSTION
            rise = pressure - motored_pressure(
                shut.pressure[c], shut.volume[c], size, MOTORED_EXPONENT
            )
        speed = woschni_speed(
            model.piston_speed, COMPRESSION, fire, model.swept,
            shut.temperature[c], shut.pressure[c], shut.volume[c], rise,
        )  # fmt: skip
    coefficient = woschni(crank.bore_m, pressure, temperature, speed)
    liner = liner_area(crank, travel(crank, angle))
    return heat_flow(model.walls, coefficient, temperature, liner)


@inner
def advance_cylinder(content, shut, c, angle, step_deg, step, model, reservoirs):
    """One whole step for cylinder ``c``; returns the work done on the piston [J]."""
    size_now = volume(model.crank, angle)
    size = volume(model.crank, angle + step_deg)
    pressure, temperature = reservoirs.pressure[c], reservoirs.temperature[c]
    loss = wall_loss(shut, c, angle + 0.5 * step_deg, pressure, temperature, model)
    work = pressure * (size - size_now)
    content.wall_loss[c] = loss
    content.mass[c] += step * content.mass_rate[c]
    content.burned[c] += step * content.burned_rate[c]
    left = burn_factor(shut, c, angle, angle + step_deg, model.burning)
    content.burned[c] += (content.mass[c] - content.burned[c]) * (1.0 - left)
    content.energy[c] += step * (content.energy_rate[c] - loss) - work
    find_state(content, c, size, model.charge)
    return work


@inner
def advance_chamber(content, v, size, wall_area, wall_K, step, charge):
    """One whole step for a chamber; free convection of a gently stirred volume to its walls."""
    # 20 W/(m2 K): gas moving at a few m/s along walls (common practice, no source).
    content.wall_loss[v] = 20.0 * wall_area * (content.temperature[v] - wall_K)
    content.mass[v] += step * content.mass_rate[v]
    content.burned[v] += step * content.burned_rate[v]
    content.energy[v] += step * (content.energy_rate[v] - content.wall_loss[v])
    find_state(content, v, size, charge)


@inner
def grow_knock(shut, c, angle, pressure, step, model):
    """Carry the end gas and the autoignition index of cylinder ``c`` on by one step."""
    if model.timing.exhaust_opens <= angle < model.timing.intake_closes:
        return
    if shut.end_gas[c] <= 0.0 or burned_share(shut, c, angle, model.burning) > 0.9:
        return
    _, cv = blend_u_cv(shut.end_gas[c], 0.0, model.charge)
    gamma = 1.0 + model.charge.fresh_R / cv
    shut.end_gas[c] = compressed_temperature(
        shut.end_gas[c], pressure / shut.last_pressure[c], gamma
    )
    shut.last_pressure[c] = pressure
    shut.knock[c] += knock_increment(pressure, shut.end_gas[c], model.burning.octane, step)
