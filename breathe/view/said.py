"""What went wrong, short or out of the ordinary in single cases, each told once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from breathe.about import About

NOT_SETTLED = "n/s"
NOT_RUN = "-"

WORST_BALANCE = 1e-6
"""Share of mass or energy unaccounted for in a cycle that is worth a word; round-off is 1e-13."""
_KNOCKS_SOON = 0.9
"""Index from which a later burn is put down to knock."""
_LATER_DEG = 0.5
_SLOW_RPM = 1500.0
"""Below, end gas taken as warm as if it lost no heat has long to react (from memory)."""
_EXAMPLES = 4


def said(table: pd.DataFrame, about: About) -> list[str]:
    """Sentences below the tables; each needs only the columns it speaks of.

    Parameters
    ----------
    table : DataFrame
        One row per setting and speed, SI, units in the column names.
    about : About
    """
    told = [*_missing(table, about), *_broken(table), *_not_settled(table), *_remarks(table)]
    return [*told, *_choked(table), *_spark(table, about), *_balance(table)]


def unsettled(table: pd.DataFrame) -> pd.DataFrame:
    """Rows marched to the end without repeating; those without figures are not among them."""
    if "settled" not in table:
        return table.iloc[:0]
    return table[~table["settled"].astype(bool) & ~without_figures(table)]


def without_figures(table: pd.DataFrame) -> pd.Series:
    """Where a case could not be computed."""
    if "torque_Nm" not in table:
        return pd.Series(False, index=table.index)
    return table["torque_Nm"].isna()


def _cases(count: int) -> str:
    return "1 case" if count == 1 else f"{count} cases"


def _case(row: pd.Series) -> str:
    return f"{row['speed_rpm']:.0f} rpm {row['setting']}"


def _listed(where: Sequence[str]) -> str:
    return f"{', '.join(where[:_EXAMPLES])}{' ...' if len(where) > _EXAMPLES else ''}"


def _number(table: pd.DataFrame, column: str) -> pd.Series:
    return pd.to_numeric(table[column], errors="coerce").astype(float)


def _missing(table: pd.DataFrame, about: About) -> list[str]:
    short = len(about.settings) * len(about.speeds_rpm) - len(table)
    if short <= 0:
        return []
    are = "is" if short == 1 else "are"
    return [f"{_cases(short)} {are} not computed yet, shown as {NOT_RUN}."]


def _broken(table: pd.DataFrame) -> list[str]:
    count = int(without_figures(table).sum())
    if not count:
        return []
    has = "has" if count == 1 else "have"
    return [f"{_cases(count)} {has} no figures, shown as {NOT_RUN}; a remark below says why."]


def _not_settled(table: pd.DataFrame) -> list[str]:
    failed = unsettled(table)
    if len(failed) == 0:
        return []
    it = "It shows" if len(failed) == 1 else "They show"
    wins = "wins" if len(failed) == 1 else "win"
    where = _listed([_case(row) for _, row in failed.iterrows()])
    return [
        f"{len(failed)} of {len(table)} cases did not come to repeat cycle after cycle ({where})"
        f"{_still_changing(failed)}. {it} as {NOT_SETTLED} and {wins} nothing."
    ]


def _still_changing(failed: pd.DataFrame) -> str:
    if not {"cycles", "settling_residual"} <= set(failed.columns):
        return ""
    change = _number(failed, "settling_residual")
    cycles = f"after {_number(failed, 'cycles').max():.0f} engine cycles"
    worst = float(change.where(np.isfinite(change)).max())
    if not np.isfinite(worst):
        return f": {cycles} they still change"
    percent = max(worst * 100, 0.01)
    return f": {cycles} they still change by up to {percent:.2g} % from one to the next"


def _remarks(table: pd.DataFrame) -> list[str]:
    """Remarks of the cycles, those told elsewhere here left out."""
    if "remark" not in table:
        return []
    elsewhere = ("not settled in",) + (("intake valve chokes",) if "choked_deg" in table else ())
    told: dict[str, list[str]] = {}
    for _, row in table.iterrows():
        for text in str(row["remark"] or "").split("; "):
            if text.strip() not in ("", "nan", "None") and not text.startswith(elsewhere):
                told.setdefault(text.strip(), []).append(_case(row))
    return [
        f"{text[0].upper()}{text[1:]}: {_cases(len(where))} ({_listed(where)})."
        for text, where in told.items()
    ]


def _choked(table: pd.DataFrame) -> list[str]:
    if "choked_deg" not in table:
        return []
    choked = table[_number(table, "choked_deg") > 0]
    if len(choked) == 0:
        return []
    longest = choked.sort_values("choked_deg", ascending=False, kind="stable")
    where = [f"{_case(row)} for {_degrees(row['choked_deg'])}" for _, row in longest.iterrows()]
    return [
        f"Intake valve chokes (flow at the speed of sound): {_cases(len(choked))}, longest first: "
        f"{_listed(where)}."
    ]


def _degrees(angle: float) -> str:
    return "less than 1 deg crank" if angle < 1 else f"{angle:.0f} deg crank"


def _spark(table: pd.DataFrame, about: About) -> list[str]:
    """Where burning is later than best torque asks, to hold the knock index."""
    if about.ca50_best_deg is None or not {"knock_index", "ca50_deg"} <= set(table.columns):
        return []
    later = _number(table, "ca50_deg") - about.ca50_best_deg
    held = (later > _LATER_DEG) & (_number(table, "knock_index") > _KNOCKS_SOON)
    if not held.any():
        return []
    worst = table[later == later[held].max()].iloc[0]
    told = (
        f"Spark retarded from best torque to hold the knock index at 1: "
        f"{int(held.sum())} of {len(table)} cases, by up to {later[held].max():.0f} deg crank "
        f"({_case(worst)}). An estimate for octane as assumed or given, no guarantee."
    )
    if float(worst["speed_rpm"]) < _SLOW_RPM:
        told += f" Below {_SLOW_RPM:.0f} rpm the index sees too much knock rather than too little."
    return [told]


def _balance(table: pd.DataFrame) -> list[str]:
    """Only where what comes in, goes out and stays does not add up."""
    columns = [name for name in ("mass_closure", "energy_closure") if name in table]
    if not columns:
        return []
    worst = pd.concat([_number(table, name).abs() for name in columns], axis=1).max(axis=1)
    bad = worst > WORST_BALANCE
    if not bad.any():
        return []
    where = _listed([_case(row) for _, row in table[bad].iterrows()])
    return [
        f"Mass or energy does not add up over the cycle, by up to {worst.max() * 100:.1g} %, in "
        f"{_cases(int(bad.sum()))} ({where}). Do not trust these; please report them."
    ]
