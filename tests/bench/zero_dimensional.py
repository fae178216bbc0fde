"""One cylinder between plenums: our kernels beside cantera and scipy, in one process.

The rival is what an engineer writes with good libraries in an afternoon: cantera Solution objects
for the fresh and the burned gas, scipy's solve_ivp with LSODA at 1e-6, the same equations, events,
first guess and tolerance on the cycle. Burned gas is frozen there and in equilibrium here (which is
the dearer), so results are compared with our frozen variant. Times are the best of several runs,
taken in turns. The error of ours is against itself at 1e-7.

    python -m tests.bench.zero_dimensional
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable

import cantera as ct
import numpy as np
from scipy.integrate import solve_ivp

from breathe.cycle.plenums import PlenumCase, PlenumCycle, run_plenums
from tests.cycle.plenum_engine import small_engine

POINTS = [(1000, 0.4), (2000, 1.0), (6000, 1.0), (12000, 1.0)]  # rev/min, intake bar
RIVAL_RELATIVE, OUR_RELATIVE, CYCLE_TOLERANCE = 1e-6, 1e-4, 1e-3
DRY_AIR = {"O2": 0.20946, "N2": 0.78084, "Ar": 0.00934, "CO2": 0.00036}


class Gas:
    """One gas of fixed composition, as a cantera object."""

    def __init__(self, solution: ct.Solution, moles: dict[str, float]) -> None:
        self.solution = solution
        solution.TPX = 300.0, ct.one_atm, moles
        self.R = ct.gas_constant / solution.mean_molecular_weight
        self.moles = moles

    def u_cv(self, T: float, p: float) -> tuple[float, float]:
        self.solution.TP = T, p
        return self.solution.int_energy_mass, self.solution.cv_mass


def gases() -> tuple[Gas, Gas]:
    """Stoichiometric iso-octane in dry air, and what it burns to."""
    names = ["C8H18,isooctane", "O2", "N2", "Ar", "CO2", "H2O"]
    chosen = [s for s in ct.Species.list_from_file("nasa_gas.yaml") if s.name in names]

    def solution() -> ct.Solution:
        return ct.Solution(thermo="ideal-gas", species=chosen)

    air = 12.5 / DRY_AIR["O2"]
    fresh = {name: x * air for name, x in DRY_AIR.items()}
    burned = fresh | {"O2": 0.0, "CO2": fresh["CO2"] + 8.0, "H2O": 9.0}
    return Gas(solution(), fresh | {names[0]: 1.0}), Gas(solution(), burned)


class Rival:
    """The cycle in plain Python; unknowns: mass, T, burned mass, work, fresh charge in."""

    def __init__(self, case: PlenumCase) -> None:
        self.case = case
        self.fresh, self.burned = gases()
        self.bore_area = math.pi / 4 * case.crank.bore_m**2
        self.swept = self.bore_area * 2 * case.crank.crank_m
        self.speed = 4 * case.crank.crank_m * case.speed_rpm / 60
        self.intake = self.plenum(self.fresh, case.intake)
        self.exhaust = self.plenum(self.burned, case.exhaust)

    @staticmethod
    def plenum(gas: Gas, state) -> tuple[float, float, float, float, float]:
        u, cv = gas.u_cv(state.temperature_K, state.pressure_Pa)
        h = u + gas.R * state.temperature_K
        return state.pressure_Pa, state.temperature_K, gas.R, 1 + gas.R / cv, h

    def volume(self, angle: float) -> tuple[float, float, float]:
        """Volume, its slope per degree, piston travel."""
        crank, rod = self.case.crank.crank_m, self.case.crank.rod_m
        a = math.radians(angle)
        upright = math.sqrt(rod**2 - (crank * math.sin(a)) ** 2)
        x = crank + rod - crank * math.cos(a) - upright
        slope = crank * math.sin(a) * (1 + crank * math.cos(a) / upright) * math.pi / 180
        return self.case.crank.clearance_m3 + self.bore_area * x, self.bore_area * slope, x

    @staticmethod
    def area(table: np.ndarray, angle: float) -> float:
        place = (angle % 720.0) * (len(table) / 720.0)
        i = int(place)
        left, right = table[i], table[(i + 1) % len(table)]
        return float(left + (place - i) * (right - left))

    @staticmethod
    def nozzle(area: float, up: tuple[float, ...], p_down: float) -> float:
        """Mass flow [kg/s] from (p, T, R, gamma, h) to a lower pressure."""
        p, T, R, g = up[:4]
        r = max(p_down / p, (2 / (g + 1)) ** (g / (g - 1)))
        speed = 2 * g / (g - 1) * (1 - r ** ((g - 1) / g))
        return area * p / math.sqrt(R * T) * r ** (1 / g) * math.sqrt(max(speed, 0.0))

    def heat(self, p: float, T: float, V: float, x: float, swirl: float, fire: float) -> float:
        """Woschni [W]."""
        p1, T1, V1 = self.shut
        rise = max(p - p1 * (V1 / V) ** 1.32, 0.0)
        w = swirl * self.speed + fire * self.swept * T1 / (p1 * V1) * rise
        bore, walls = self.case.crank.bore_m, self.case.walls
        h = 3.26 * bore**-0.2 * (p / 1e3) ** 0.8 * T**-0.55 * w**0.8
        flow = walls.head_m2 * (T - walls.head_K) + walls.piston_m2 * (T - walls.piston_K)
        return h * (flow + math.pi * bore * x * (T - walls.liner_K))

    def rates(
        self,
        angle: float,
        y: np.ndarray,
        burns: bool,
        opened: tuple[bool, bool],
        swirl: float,
        heating: float,
    ) -> list[float]:
        m, T, mb = y[:3]
        x = mb / m
        V, dV, depth = self.volume(angle)
        R = self.fresh.R + x * (self.burned.R - self.fresh.R)
        p = m * R * T / V
        uf, cvf = self.fresh.u_cv(T, p)
        ub, cvb = self.burned.u_cv(T, p)
        u, cv = uf + x * (ub - uf), cvf + x * (cvb - cvf)
        here = (p, T, R, 1 + R / cv, u + R * T)
        per_degree = 1 / (6 * self.case.speed_rpm)
        mass = burned = enthalpy = fresh_in = 0.0
        for side, plenum, plenum_x, areas in (
            (0, self.intake, 0.0, self.case.intake_valve),
            (1, self.exhaust, 1.0, self.case.exhaust_valve),
        ):
            if not opened[side]:
                continue
            if p < plenum[0]:
                flow = self.nozzle(self.area(areas.forward, angle), plenum, p) * per_degree
                carried_x, carried_h = plenum_x, plenum[4]
            else:
                flow = -self.nozzle(self.area(areas.reverse, angle), here, plenum[0]) * per_degree
                carried_x, carried_h = x, here[4]
            mass += flow
            burned += flow * carried_x
            enthalpy += flow * carried_h
            fresh_in += flow * (1 - carried_x) * (side == 0)
        if burns:
            fire = self.case.fire
            share = min(max((angle - self.fire_start) / fire.duration_deg, 0.0), 1.0)
            burned += (m - mb) * fire.a * (fire.m + 1) * share**fire.m / fire.duration_deg
        heat = self.heat(p, T, V, depth, swirl, heating) * per_degree
        dx = (burned - x * mass) / m
        dT = (enthalpy - heat - p * dV - u * mass - m * (ub - uf) * dx) / (m * cv)
        return [mass, dT, burned, p * dV, fresh_in]

    def cycle(self, y: np.ndarray) -> tuple[np.ndarray, float]:
        """One cycle from intake closing: the state after it, and the highest pressure."""
        intake, exhaust, fire = self.case.intake_valve, self.case.exhaust_valve, self.case.fire
        begin = intake.closes_deg
        self.fire_start = begin + (fire.start_deg - begin) % 720
        blowdown = begin + (exhaust.opens_deg - begin) % 720
        last = [begin + (e - begin) % 720 for e in (exhaust.closes_deg, intake.opens_deg)]
        burnt = self.fire_start + fire.duration_deg
        marks = sorted([begin, self.fire_start, burnt, blowdown, *last, begin + 720])
        V = self.volume(begin)[0]
        R = self.fresh.R + y[2] / y[0] * (self.burned.R - self.fresh.R)
        self.shut = (y[0] * R * y[1] / V, y[1], V)
        peak = 0.0
        for a, b in itertools.pairwise(marks):
            middle = (a + b) / 2
            burns = self.fire_start < middle < burnt
            opened = (
                (middle - intake.opens_deg) % 720 < intake.closes_deg - intake.opens_deg,
                (middle - exhaust.opens_deg) % 720 < exhaust.closes_deg - exhaust.opens_deg,
            )
            swirl = 2.28 if middle < blowdown else 6.18
            heating = 3.24e-3 if self.fire_start < middle < blowdown else 0.0
            run = solve_ivp(
                self.rates,
                (a, b),
                y,
                method="LSODA",
                rtol=RIVAL_RELATIVE,
                atol=RIVAL_RELATIVE * np.array([1e-5, 10.0, 1e-5, 1.0, 1e-5]),
                args=(burns, opened, swirl, heating),
            )
            y = run.y[:, -1]
            if burns:
                V_all = np.array([self.volume(t)[0] for t in run.t])
                x = run.y[2] / run.y[0]
                R = self.fresh.R + x * (self.burned.R - self.fresh.R)
                peak = max(peak, float(np.max(run.y[0] * R * run.y[1] / V_all)))
        return y, peak

    def run(self) -> tuple[float, float]:
        """Volumetric efficiency and net mean effective pressure [Pa] of the settled cycle."""
        p, T = self.case.intake.pressure_Pa, self.case.intake.temperature_K
        V = self.volume(self.case.intake_valve.closes_deg)[0]
        m = p * V / (self.fresh.R * (T + 40))
        y = np.array([m, T + 40, 0.04 * m, 0.0, 0.0])
        for _ in range(60):
            start = y.copy()
            y[3:] = 0.0
            y, _ = self.cycle(y)
            moved = np.abs(y[:3] - start[:3])
            if max(moved[0] / m, moved[2] / m, moved[1] / start[1]) <= CYCLE_TOLERANCE:
                break
        density = p / (self.fresh.R * T)
        return y[4] / (density * self.swept), y[3] / self.swept


def timed(work: Callable[[], object]) -> float:
    """Time of one run [s]."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main() -> None:
    print("                  time in ms          ours        rival and ours    error of ours")
    print("rev/min  bar |  rival   ours  ratio | us/step |    VE      IMEP  |   VE      IMEP")
    for speed, bar in POINTS:
        frozen, hot = small_engine(speed, bar), small_engine(speed, bar, frozen=False)
        rival = Rival(frozen)

        def run(case: PlenumCase) -> PlenumCycle:
            return run_plenums(case, OUR_RELATIVE, CYCLE_TOLERANCE)

        efficiency, imep = rival.run()
        cold, ours, tight = run(frozen), run(hot), run_plenums(hot, 1e-7, 1e-6)
        slow, fast = math.inf, math.inf
        for _ in range(5):
            slow = min(slow, timed(rival.run))
            fast = min(fast, *(timed(lambda hot=hot: run(hot)) for _ in range(20)))
        print(
            f"{speed:7d} {bar:4.1f} | {slow * 1e3:6.1f} {fast * 1e3:6.3f} {slow / fast:6.1f} | "
            f"{fast / ours.steps_total * 1e6:7.2f} | "
            f"{cold.volumetric_efficiency / efficiency - 1:+.1e} {cold.imep_net / imep - 1:+.1e} | "
            f"{ours.volumetric_efficiency / tight.volumetric_efficiency - 1:+.1e} "
            f"{ours.imep_net / tight.imep_net - 1:+.1e}"
        )


if __name__ == "__main__":
    main()
