"""One-dimensional unsteady gas flow in pipes of varying area: second order, conservative.

Mass, momentum, energy and burned-gas mass of every cell of every pipe stand in one flat buffer,
one ghost cell at each side of each pipe, so that each kernel is one loop the compiler turns into
vector code. A time step is, in this order: `recover` the primitive state, choose the step from
`fastest_signal`, `face_states` (limited slopes carried half a step forward), sudden steps in bore
(gas.steps), `hllc_fluxes`, the pipe ends (gas.ends) which overwrite the fluxes of the outer faces,
and `advance`.

Scheme: MUSCL-Hancock with van Leer's limiter on temperature, velocity, pressure and burned
fraction, and the HLLC flux (E. F. Toro, Riemann Solvers and Numerical Methods for Fluid Dynamics,
3rd ed. 2009, sections 10.4 and 14.4). The pressure on the walls of a taper is taken so that gas at
rest stays at rest.

Loops are written for the vectoriser: no branches but selections, no `max`, which stops it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.gas.mixture import PRANDTL, blend_u_cv, gas_constant
from breathe.gas.polynomial import BREAK_K
from breathe.gas.wall import air_viscosity, friction_factor
from breathe.kernel import kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PRANDTL_FACTOR = PRANDTL ** (-2.0 / 3.0)
"""The power in the Chilton-Colburn analogy, see gas.wall.stanton_number."""


class Grid(NamedTuple):
    """Geometry and walls of all cells, ghosts among them; ``n`` cells, ``n + 1`` faces.

    Face ``i`` lies left of cell ``i``. Ghost cells have faces of no area.
    """

    first: Ints  # (n_pipe,) first real cell
    last: Ints  # (n_pipe,) last real cell
    volume: Floats  # (n,) [m3]
    per_length: Floats  # (n,) [1/m]
    per_volume: Floats  # (n,) [1/m3]
    area: Floats  # (n + 1,) [m2] of the faces
    widening: Floats  # (n,) right less left face area [m2], without sudden steps in bore
    step_face: Ints  # (n_step,) faces at a sudden step in bore; their area is the narrower one
    step_ratio: Floats  # (n_step,) bore area left over bore area right of that face [-]
    per_diameter: Floats  # (n,) [1/m]
    roughness: Floats  # (n,) over diameter [-]
    wall_temperature: Floats  # (n,) [K]
    friction_multiplier: Floats  # (n,) [-]
    heat_multiplier: Floats  # (n,) [-]


class Flow(NamedTuple):
    """State of all cells, and room to work in. Conserved quantities are per m3."""

    density: Floats  # (n,) [kg/m3]
    momentum: Floats  # (n,) [kg/(m2 s)]
    energy: Floats  # (n,) internal with heat of formation, plus kinetic [J/m3]
    burned: Floats  # (n,) burned-gas mass [kg/m3]
    velocity: Floats  # (n,) [m/s]
    temperature: Floats  # (n,) [K]
    pressure: Floats  # (n,) [Pa]
    fraction: Floats  # (n,) burned mass fraction [-]
    gas_constant: Floats  # (n,) [J/(kg K)]
    heat_capacity: Floats  # (n,) at constant volume [J/(kg K)]
    internal: Floats  # (n,) internal energy [J/kg]
    mixing: Floats  # (n,) internal energy of burned less that of fresh gas [J/kg]
    friction_rate: Floats  # (n,) deceleration over velocity [1/s]
    heating: Floats  # (n,) heat from the wall [W/kg]
    signal: Floats  # (n,) (|u| + c) / length [1/s]
    slope: Floats  # (4, n) half slopes of temperature, velocity, pressure, burned fraction
    left: Floats  # (6, n + 1) state on the left side of each face: rho, u, p, E, c, Y
    right: Floats  # (6, n + 1) the same on the right side
    middle: Floats  # (4, n) temperature, velocity, pressure, burned fraction half a step ahead
    flux: Floats  # (4, n + 1) per area: mass, momentum, energy, burned mass
    push: Floats  # (n,) of the shoulder of a step in bore on its wide cell [N]


def empty_flow(cells: int) -> Flow:
    """A flow of ``cells`` cells with all arrays zero."""
    names = Flow._fields
    shapes: dict[str, tuple[int, ...] | int]
    shapes = {"left": (6, cells + 1), "right": (6, cells + 1), "flux": (4, cells + 1)}
    shapes |= {"middle": (4, cells), "slope": (4, cells)}
    return Flow(**{name: np.zeros(shapes.get(name, cells)) for name in names})


@kernel
def fill(flow, charge, cell, pressure, temperature, velocity, fraction):
    """Set one cell to a primitive state (Pa, K, m/s, burned mass fraction)."""
    density = pressure / (gas_constant(fraction, charge) * temperature)
    internal, _ = blend_u_cv(temperature, fraction, charge)
    flow.density[cell] = density
    flow.momentum[cell] = density * velocity
    flow.energy[cell] = density * (internal + 0.5 * velocity * velocity)
    flow.burned[cell] = density * fraction
    flow.temperature[cell] = temperature
    flow.velocity[cell] = velocity
    flow.pressure[cell] = pressure
    flow.fraction[cell] = fraction


@kernel
def recover(flow, grid, charge):
    """Primitive state of all cells from the conserved one.

    Temperature comes by one Newton step from its value at the last time step: it moves by a few
    kelvin in a step, which leaves an error of some 1e-4 K that the next step takes up again;
    energy itself is conserved whatever the error.
    """
    density, momentum, energy, burned = flow.density, flow.momentum, flow.energy, flow.burned
    velocity, temperature, pressure = flow.velocity, flow.temperature, flow.pressure
    fraction, constant, capacity = flow.fraction, flow.gas_constant, flow.heat_capacity
    internal, mixing, signal, per_length = flow.internal, flow.mixing, flow.signal, grid.per_length
    f, b = charge.fresh, charge.burned
    f0, f1, f2, f3, f4, f5 = f[0, 0], f[0, 1], f[0, 2], f[0, 3], f[0, 4], f[0, 5]
    g0, g1, g2, g3, g4, g5 = f[1, 0], f[1, 1], f[1, 2], f[1, 3], f[1, 4], f[1, 5]
    b0, b1, b2, b3, b4, b5 = b[0, 0], b[0, 1], b[0, 2], b[0, 3], b[0, 4], b[0, 5]
    d0, d1, d2, d3, d4, d5 = b[1, 0], b[1, 1], b[1, 2], b[1, 3], b[1, 4], b[1, 5]
    fresh_R, burned_R = charge.fresh_R, charge.burned_R
    for i in range(len(density)):
        specific = 1.0 / density[i]
        u = momentum[i] * specific
        y = burned[i] * specific
        e = energy[i] * specific - 0.5 * u * u
        t = temperature[i]
        cold = t < BREAK_K
        # Both gases at the old temperature, low or high range.
        a0 = f0 if cold else g0
        a1 = f1 if cold else g1
        a2 = f2 if cold else g2
        a3 = f3 if cold else g3
        a4 = f4 if cold else g4
        a5 = f5 if cold else g5
        c0 = b0 if cold else d0
        c1 = b1 if cold else d1
        c2 = b2 if cold else d2
        c3 = b3 if cold else d3
        c4 = b4 if cold else d4
        c5 = b5 if cold else d5
        cv_fresh = a0 - fresh_R + t * (a1 + t * (a2 + t * (a3 + t * a4)))
        e_fresh = a5 + t * (
            a0 - fresh_R + t * (0.5 * a1 + t * (a2 / 3.0 + t * (0.25 * a3 + t * (0.2 * a4))))
        )
        cv_burned = c0 - burned_R + t * (c1 + t * (c2 + t * (c3 + t * c4)))
        e_burned = c5 + t * (
            c0 - burned_R + t * (0.5 * c1 + t * (c2 / 3.0 + t * (0.25 * c3 + t * (0.2 * c4))))
        )
        cv = cv_fresh + y * (cv_burned - cv_fresh)
        r = fresh_R + y * (burned_R - fresh_R)
        t += (e - (e_fresh + y * (e_burned - e_fresh))) / cv
        p = density[i] * r * t
        velocity[i] = u
        fraction[i] = y
        temperature[i] = t
        pressure[i] = p
        constant[i] = r
        capacity[i] = cv
        internal[i] = e
        mixing[i] = e_burned - e_fresh
        signal[i] = (abs(u) + math.sqrt((1.0 + r / cv) * r * t)) * per_length[i]


@kernel
def wall_rates(flow, grid):
    """Friction rate [1/s] and wall heating [W/kg] of all cells, by the relations of gas.wall."""
    density, velocity, temperature = flow.density, flow.velocity, flow.temperature
    constant, capacity = flow.gas_constant, flow.heat_capacity
    rate, heating = flow.friction_rate, flow.heating
    per_diameter, roughness, wall = grid.per_diameter, grid.roughness, grid.wall_temperature
    more_friction, more_heat = grid.friction_multiplier, grid.heat_multiplier
    for i in range(len(density)):
        t = temperature[i]
        # Kept off zero so that a ghost's temperature cannot stop the loop.
        viscosity = air_viscosity(t if t > 1.0 else 1.0)
        speed = abs(velocity[i])
        reynolds = density[i] * speed / (viscosity * per_diameter[i])
        factor = friction_factor(reynolds, roughness[i])
        rate[i] = 0.5 * more_friction[i] * factor * speed * per_diameter[i]
        # Perimeter over area is 4 / D; h = St rho |u| cp.
        stanton = more_heat[i] * factor * 0.125 * PRANDTL_FACTOR
        film = 4.0 * per_diameter[i] * stanton * speed * (capacity[i] + constant[i])
        heating[i] = film * (wall[i] - t)


@kernel
def fastest_signal(flow, grid):
    """Largest (|u| + c) / length of all real cells [1/s]."""
    fastest = 0.0
    for pipe in range(len(grid.first)):
        for i in range(grid.first[pipe], grid.last[pipe] + 1):
            if flow.signal[i] > fastest:
                fastest = flow.signal[i]
    return fastest


@kernel
def limited_slopes(values, slopes):
    """What each value changes by from cell centre to right face, van Leer's harmonic limiter."""
    for i in range(1, len(values) - 1):
        before, after = values[i] - values[i - 1], values[i + 1] - values[i]
        product = before * after
        # At an extremum the slope is zero; its divisor is replaced, not branched around.
        rising = product > 0.0
        slopes[i] = (product if rising else 0.0) / (before + after if rising else 1.0)


@kernel
def half_step(flow, grid, step):
    """State of all cells half a ``step`` [s] ahead, from their slopes, walls and widening.

    Primitive form of the equations, cell by cell; the widening of the pipe acts like a velocity
    gradient, friction turns motion into heat.
    """
    velocity, temperature, pressure = flow.velocity, flow.temperature, flow.pressure
    constant, capacity = flow.gas_constant, flow.heat_capacity
    rate, heating, density, fraction = flow.friction_rate, flow.heating, flow.density, flow.fraction
    per_length, per_volume, widening = grid.per_length, grid.per_volume, grid.widening
    slope_t, slope_u, slope_p, slope_y = flow.slope[0], flow.slope[1], flow.slope[2], flow.slope[3]
    mid_t, mid_u, mid_p, mid_y = flow.middle[0], flow.middle[1], flow.middle[2], flow.middle[3]
    half = 0.5 * step
    for i in range(1, len(velocity) - 1):
        t, u, p, r, cv = temperature[i], velocity[i], pressure[i], constant[i], capacity[i]
        across = step * per_length[i]
        per_cv = 1.0 / cv
        ratio = r * per_cv
        slowing = half * rate[i] * u
        stretch = across * slope_u[i] + half * u * widening[i] * per_volume[i]
        heat = half * heating[i] + slowing * u
        mid_t[i] = t - across * u * slope_t[i] - ratio * t * stretch + heat * per_cv
        mid_u[i] = u - across * (slope_p[i] / density[i] + u * slope_u[i]) - slowing
        warmed = heat * ratio * density[i]
        mid_p[i] = p - across * u * slope_p[i] - (1.0 + ratio) * p * stretch + warmed
        mid_y[i] = fraction[i] - across * u * slope_y[i]


@kernel
def face_side(flow, charge, toward, shift, state):
    """State of all cells at one of their faces: ``toward`` -1 the left, +1 the right face.

    Written to ``state`` at face ``cell + shift``. Energy is taken along the tangent of e(T) in the
    cell, which is second-order right and keeps the polynomial out of this loop.
    """
    mid_t, mid_u, mid_p, mid_y = flow.middle[0], flow.middle[1], flow.middle[2], flow.middle[3]
    slope_t, slope_u, slope_p, slope_y = flow.slope[0], flow.slope[1], flow.slope[2], flow.slope[3]
    temperature, fraction, internal = flow.temperature, flow.fraction, flow.internal
    constant, capacity, mixing = flow.gas_constant, flow.heat_capacity, flow.mixing
    spread = charge.burned_R - charge.fresh_R
    rho, velocity, pressure = state[0][shift:], state[1][shift:], state[2][shift:]
    energy, sound, burned = state[3][shift:], state[4][shift:], state[5][shift:]
    for i in range(1, len(mid_t) - 1):
        r, cv = constant[i], capacity[i]
        t = mid_t[i] + toward * slope_t[i]
        u = mid_u[i] + toward * slope_u[i]
        p = mid_p[i] + toward * slope_p[i]
        y = mid_y[i] + toward * slope_y[i]
        r_face = r + spread * (y - fraction[i])
        e = internal[i] + cv * (t - temperature[i]) + mixing[i] * (y - fraction[i])
        density = p / (r_face * t)
        rho[i] = density
        velocity[i] = u
        pressure[i] = p
        energy[i] = density * (e + 0.5 * u * u)
        sound[i] = math.sqrt((1.0 + r / cv) * r_face * t)
        burned[i] = y


@kernel
def face_states(flow, grid, charge, step):
    """States on both sides of all faces half a ``step`` [s] ahead, from limited slopes."""
    limited_slopes(flow.temperature, flow.slope[0])
    limited_slopes(flow.velocity, flow.slope[1])
    limited_slopes(flow.pressure, flow.slope[2])
    limited_slopes(flow.fraction, flow.slope[3])
    half_step(flow, grid, step)
    face_side(flow, charge, -1.0, 0, flow.right)
    face_side(flow, charge, 1.0, 1, flow.left)


@kernel
def hllc_fluxes(flow):
    """HLLC fluxes of mass, momentum, energy and burned mass per area at all faces.

    Wave speeds by Davis; the three-wave state by Toro (2009) eqs. 10.37 to 10.39. Everything is
    written for the side the contact leaves, chosen by selection, so that no branch is left.
    """
    l_rho, l_u, l_p, l_e, l_c, l_y = (
        flow.left[0], flow.left[1], flow.left[2], flow.left[3], flow.left[4], flow.left[5],
    )  # fmt: skip
    r_rho, r_u, r_p, r_e, r_c, r_y = (
        flow.right[0], flow.right[1], flow.right[2], flow.right[3], flow.right[4], flow.right[5],
    )  # fmt: skip
    f_mass, f_momentum, f_energy, f_burned = flow.flux[0], flow.flux[1], flow.flux[2], flow.flux[3]
    for i in range(1, len(l_rho) - 1):
        low_l, low_r = l_u[i] - l_c[i], r_u[i] - r_c[i]
        high_l, high_r = l_u[i] + l_c[i], r_u[i] + r_c[i]
        slow = low_l if low_l < low_r else low_r
        fast = high_l if high_l > high_r else high_r
        push_l = l_rho[i] * (slow - l_u[i])
        push_r = r_rho[i] * (fast - r_u[i])
        contact = (r_p[i] - l_p[i] + l_u[i] * push_l - r_u[i] * push_r) / (push_l - push_r)
        from_left = contact >= 0.0
        rho = l_rho[i] if from_left else r_rho[i]
        u = l_u[i] if from_left else r_u[i]
        p = l_p[i] if from_left else r_p[i]
        e = l_e[i] if from_left else r_e[i]
        y = l_y[i] if from_left else r_y[i]
        wave = slow if from_left else fast
        push = push_l if from_left else push_r
        # A wave that runs away from the face (supersonic flow) does not act on it.
        left_wave = slow if slow < 0.0 else 0.0
        right_wave = fast if fast > 0.0 else 0.0
        acting = left_wave if from_left else right_wave
        star = push / (wave - contact)
        star_e = star * (e / rho + (contact - u) * (contact + p / push))
        mass = rho * u + acting * (star - rho)
        f_mass[i] = mass
        f_momentum[i] = rho * u * u + p + acting * (star * contact - rho * u)
        f_energy[i] = u * (e + p) + acting * (star_e - e)
        f_burned[i] = mass * y


@kernel
def advance(flow, grid, step):
    """Move the conserved state of all cells on by one ``step`` [s] with the fluxes at the faces."""
    density, momentum, energy, burned = flow.density, flow.momentum, flow.energy, flow.burned
    mass, impulse, power, spent = flow.flux[0], flow.flux[1], flow.flux[2], flow.flux[3]
    mid_u, mid_p, rate, heating = flow.middle[1], flow.middle[2], flow.friction_rate, flow.heating
    area, per_volume, widening = grid.area, grid.per_volume, grid.widening
    for i in range(1, len(density) - 1):
        by = step * per_volume[i]
        al, ar = area[i], area[i + 1]
        wall_push = mid_p[i] * widening[i]
        drag = step * rate[i] * mid_u[i] * density[i]
        momentum[i] += by * (al * impulse[i] - ar * impulse[i + 1] + wall_push) - drag
        energy[i] += by * (al * power[i] - ar * power[i + 1]) + step * heating[i] * density[i]
        density[i] += by * (al * mass[i] - ar * mass[i + 1])
        burned[i] += by * (al * spent[i] - ar * spent[i + 1])


@kernel
def stored(flow, grid):
    """Mass [kg], energy [J] and burned mass [kg] in all pipes."""
    mass, energy, burned = 0.0, 0.0, 0.0
    for pipe in range(len(grid.first)):
        for i in range(grid.first[pipe], grid.last[pipe] + 1):
            mass += flow.density[i] * grid.volume[i]
            energy += flow.energy[i] * grid.volume[i]
            burned += flow.burned[i] * grid.volume[i]
    return mass, energy, burned


@kernel
def wall_heat(flow, grid):
    """Heat flow from all pipe walls into the gas [W], as `advance` applies it."""
    heat = 0.0
    for pipe in range(len(grid.first)):
        for i in range(grid.first[pipe], grid.last[pipe] + 1):
            heat += flow.heating[i] * flow.density[i] * grid.volume[i]
    return heat
