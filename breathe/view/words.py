"""The figures a run can show: what each is called, its column, its unit and how sure it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from breathe.engine.parts import Floats
from breathe.engine.quantities import System, from_si, user_unit
from breathe.study.crossings import NUMERICAL_ERROR


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One figure of a case, as a column of the tidy table and as words."""

    column: str
    """In the tidy table, SI."""
    title: str
    dimension: str = ""
    """A dimension of engine.quantities; empty for a plain number, whose unit is ``unit``."""
    unit: str = ""
    decimals: int | None = None
    """Fixed decimals; None takes them from the numerical error of the largest value shown."""
    most_wins: bool = False
    """Whether the largest of a row is marked as its winner."""
    of_setting: bool = False
    """Whether it is geometry of the setting, the same at every speed."""

    def printed_unit(self, system: System) -> str:
        return user_unit(self.dimension, system) if self.dimension else self.unit

    def in_user_units(self, values: Floats, system: System) -> Floats:
        """SI values (any shape) in the printed unit."""
        if not self.dimension:
            return values
        return from_si(values, self.dimension, user_unit(self.dimension, system))

    def digits(self, printed: Floats) -> int:
        """Decimals that the numerical error leaves meaning in, 0 to 3."""
        if self.decimals is not None:
            return self.decimals
        finite = np.abs(printed[np.isfinite(printed)])
        largest = float(finite.max()) if len(finite) else 0.0
        if largest == 0.0:
            return 1
        return min(3, max(0, math.ceil(-math.log10(2 * NUMERICAL_ERROR * largest))))


_MEP = "pressure difference"


def _share(column: str, title: str, *, most_wins: bool = False) -> Quantity:
    """A share, printed in percent with one decimal."""
    return Quantity(column=column, title=title, dimension="share", decimals=1, most_wins=most_wins)


QUANTITIES: dict[str, Quantity] = {
    "torque": Quantity(
        column="torque_Nm", title="Torque at the crank", dimension="torque", most_wins=True
    ),
    "power": Quantity(
        column="power_W", title="Power at the crank", dimension="power", most_wins=True
    ),
    "ve": _share(
        "volumetric_efficiency_ambient",
        "Volumetric efficiency: air drawn in over displaced air of the outside state",
        most_wins=True,
    ),
    "ve-plenum": _share(
        "volumetric_efficiency_plenum",
        "Volumetric efficiency: air drawn in over displaced air of the mean plenum state",
    ),
    "air": Quantity(
        column="air_kg_per_cycle",
        title="Dry air drawn in per cycle, whole engine",
        dimension="mass",
        decimals=3,
    ),
    "bmep": Quantity(
        column="bmep_Pa", title="Brake mean effective pressure", dimension=_MEP, most_wins=True
    ),
    "imep": Quantity(
        column="imep_net_Pa",
        title="Net indicated mean effective pressure (whole cycle)",
        dimension=_MEP,
    ),
    "pmep": Quantity(
        column="pmep_Pa", title="Pumping mean effective pressure", dimension=_MEP, decimals=2
    ),
    "fmep": Quantity(
        column="fmep_Pa", title="Friction mean effective pressure", dimension=_MEP, decimals=2
    ),
    "trapped": _share(
        "trapped_air_ratio",
        "Trapped air: air kept in the cylinder over air drawn in",
    ),
    "residual": _share(
        "residual_fraction",
        "Residual: burnt gas kept, share of the charge by mass",
    ),
    "reversion": _share(
        "pushed_back_fraction",
        "Reversion: charge pushed back before intake closing, over charge trapped",
    ),
    "mach": Quantity(
        column="intake_mach_peak", title="Peak flow Mach number at the intake valve", decimals=2
    ),
    "ivc-pressure": Quantity(
        column="pressure_at_ivc_Pa",
        title="Cylinder pressure at intake closing, absolute",
        dimension="absolute pressure",
        decimals=2,
    ),
    "cr": Quantity(
        column="effective_compression_ratio",
        title="Effective compression ratio from the closing of the intake valve",
        unit=":1",
        decimals=2,
        of_setting=True,
    ),
    "peak": Quantity(
        column="peak_pressure_Pa",
        title="Peak cylinder pressure, absolute",
        dimension="absolute pressure",
        decimals=0,
    ),
    "ca50": Quantity(
        column="ca50_deg", title="Half burned, after firing TDC", unit="deg crank", decimals=0
    ),
    "burn": Quantity(
        column="burn_10_90_deg", title="Burn from 10 to 90 %", unit="deg crank", decimals=0
    ),
    "knock": Quantity(
        column="knock_index",
        title="Knock index: self-ignition is estimated at 1, where the spark is retarded to hold "
        "it; no guarantee below",
        decimals=2,
    ),
    "bsfc": Quantity(
        column="bsfc_kg_per_J",
        title="Brake specific fuel consumption",
        dimension="specific fuel",
    ),
    "exhaust": Quantity(
        column="exhaust_temperature_K",
        title="Exhaust gas temperature behind the valve",
        dimension="temperature",
        decimals=0,
    ),
    "cycles": Quantity(
        column="cycles", title="Engine cycles computed until they repeat", decimals=0
    ),
}
"""What may stand after ``--show``, besides 'difference'."""

ALWAYS = ("torque", "difference", "ve")
"""Shown when nothing is asked for."""
