"""The flow sheets of an engine as small tables: lift, flow as measured, coefficient."""

from __future__ import annotations

from breathe.engine.parts import BenchFlow, Engine
from breathe.engine.quantities import from_si
from breathe.view.console import Grid, Item, Piece

_EFFECT = (
    "What a sheet changes against the typical port takes runs to see: take its table out of a copy "
    "of the engine file; then `breathe compare` with both files, or `breathe try` with the copy "
    "and a column such as intake.valve.flow.file, one row blank and one naming the sheet."
)


def bench_tables(engine: Engine) -> list[Piece]:
    """A table for each side whose file names a flow sheet; nothing for an engine without."""
    page: list[Piece] = []
    for side, valve in (("intake", engine.intake_valve), ("exhaust", engine.exhaust_valve)):
        bench = valve.coefficients.bench
        if bench is not None:
            page += [_table(side, bench), ""]
    return [*page[:-1], Item(_EFFECT), ""] if page else []


def _table(side: str, bench: BenchFlow) -> Grid:
    rows = [
        (*_lifts(lift), f"{flow:.1f}", f"{coefficient:.2f}")
        for lift, flow, coefficient in zip(bench.lift_m, bench.flow, bench.coefficient, strict=True)
    ]
    held = ("above", "above", "-", f"{bench.coefficient[-1]:.2f} held")
    return Grid(
        title=f"Flow bench, {side}: {bench.file}, coefficient on {bench.area}",
        header=("lift mm", "lift in", f"flow {bench.flow_unit}", "coefficient"),
        rows=(*rows, held),
        lead=2,
    )


def _lifts(lift_m: float) -> tuple[str, str]:
    return f"{lift_m * 1e3:.2f}", f"{from_si(lift_m, 'length', 'in'):.3f}"
