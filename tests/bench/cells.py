"""What the one-dimensional model costs: per cell and step, per case, per comparison.

Run on a quiet machine: ``python -m tests.bench.cells``. Machines differ and are noisy, so each
figure is the best of several in this one run, and what matters is printed as a ratio within it.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from breathe.cycle import layout, march, start
from breathe.cycle.result import simulate
from breathe.engine.parts import Engine, Operating, Setting
from breathe.engine.read import read_engine
from breathe.gas.pipe import advance, face_states, hllc_fluxes, recover, wall_rates
from breathe.kernel import kernel
from breathe.study.compare import default_speeds, plan, run_cases
from breathe.valvetrain.dwell import case

ENGINES = Path(__file__).parents[2] / "engines"
NAMES = ("single_400", "road_four_sleeve", "pushrod_eight")


@kernel
def cell_loops(flow, grid, charge, times):
    """The loops over cells of ``times`` steps, without ends and volumes; nothing moves."""
    for _ in range(times):
        recover(flow, grid, charge)
        wall_rates(flow, grid)
        face_states(flow, grid, charge, 1e-12)
        hllc_fluxes(flow)
        advance(flow, grid, 0.0)


def best(run: Callable[[], object], times: int = 7) -> float:
    """Shortest wall time of several [s]."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        run()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def ready(engine: Engine, setting: Setting, speed: float) -> layout.Model:
    return layout.model(case(engine, setting, Operating(speed_rpm=speed)))


def per_cell(name: str, engine: Engine) -> None:
    model = ready(engine, engine.settings[2], 0.6 * engine.speed_limit_rpm)
    state = start.cold_start(model, 8.0)
    cells = len(model.grid.volume)
    for _ in range(3):
        march.march_cycle(model, state)
    whole = best(lambda: march.march_cycle(model, state))
    steps = float(state.books[march.STEPS])
    times = 2000
    cell_loops(state.flow, model.grid, model.charge, 1)
    loops = best(lambda: cell_loops(state.flow, model.grid, model.charge, times)) / times
    all_in, alone = whole / steps / cells, loops / cells
    print(
        f"{name:18s} {cells:5d} cells  {steps:6.0f} steps a cycle  {whole * 1e3:7.1f} ms a cycle  "
        f"{all_in * 1e9:5.1f} ns a cell and step, loops alone {alone * 1e9:5.1f} "
        f"(ratio {all_in / alone:.2f})"
    )


def settling(name: str, engine: Engine) -> None:
    cold, speed_next, setting_next = [], [], []
    limit = engine.speed_limit_rpm
    for share in (0.25, 0.4, 0.55, 0.7, 0.85):
        here, there = engine.settings[1], engine.settings[2]
        job = case(engine, here, Operating(speed_rpm=share * limit))
        figures, state = simulate(job)
        cold.append(figures.cycles)
        near = case(engine, here, Operating(speed_rpm=(share + 0.07) * limit))
        speed_next.append(simulate(near, start=state)[0].cycles)
        near = case(engine, there, Operating(speed_rpm=share * limit))
        setting_next.append(simulate(near, start=state)[0].cycles)
    print(
        f"{name:18s} cycles to settle: cold {np.mean(cold):.1f}, from a neighbouring speed "
        f"{np.mean(speed_next):.1f}, from a neighbouring setting {np.mean(setting_next):.1f}"
    )


def comparison(name: str, engine: Engine) -> None:
    jobs = plan(engine, default_speeds(engine), engine.settings[:6])
    taken = {}
    for threads in (1, 2):
        taken[threads] = best(lambda n=threads: run_cases(jobs, threads=n), times=2)  # type: ignore[misc]
    print(
        f"{name:18s} {len(jobs)} cases: one thread {taken[1]:.2f} s, two {taken[2]:.2f} s "
        f"(ratio {taken[1] / taken[2]:.2f})"
    )


def finer(name: str, engine: Engine) -> None:
    times = []
    for cell in (0.020, 0.010, 0.005):
        resolution = layout.Resolution(cell, 2 * cell)
        job = case(engine, engine.settings[2], Operating(speed_rpm=0.5 * engine.speed_limit_rpm))
        times.append(best(lambda r=resolution, j=job: simulate(j, resolution=r), times=3))  # type: ignore[misc]
    print(
        f"{name:18s} one case with 20 / 10 / 5 mm intake cells: "
        + " / ".join(f"{t * 1e3:.0f}" for t in times)
        + f" ms (ratios {times[1] / times[0]:.1f}, {times[2] / times[1]:.1f}; 4 is the square)"
    )


def main() -> None:
    engines = {name: read_engine(ENGINES / f"{name}.toml") for name in NAMES}
    for measure in (per_cell, settling, comparison, finer):
        for name, engine in engines.items():
            measure(name, engine)
    if sys.platform == "win32":
        return
    import resource

    # Kilobytes on Linux, bytes on macOS.
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"peak memory {peak / (1e3 if sys.platform != 'darwin' else 1e6):.0f} MB")


if __name__ == "__main__":
    main()
