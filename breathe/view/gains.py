"""What a cam that follows the best of the settings would gain, in sentences."""

from __future__ import annotations

import pandas as pd

from breathe.engine.quantities import System, from_si, user_unit
from breathe.study.follow import Following, Gain, follow_best
from breathe.view.stretch_words import NONE_FOUND


def following(torque: pd.DataFrame, reference: str, system: System = "metric") -> list[str]:
    """One paragraph on following the best setting at each speed; empty where nothing is known.

    Parameters
    ----------
    torque : DataFrame
        One row per speed, one column per setting [Nm]; nan where a case did not settle.
    reference : str
        Label of the setting that the others are compared with.
    """
    found = follow_best(torque, reference)
    if found is None:
        return []
    if len(found.speeds_rpm) == 1:
        return ["At a single speed a fixed setting is as good as one that changes, by definition."]
    settings = torque.shape[1]
    left_out = len(torque) - len(found.speeds_rpm)
    told = (
        f"A cam that followed the best of these {settings} settings at each speed: mean torque "
        f"{_torque(found.mean_Nm, system)} over the {len(found.speeds_rpm)} speeds"
        f"{f' at which all settled ({left_out} left out)' if left_out else ' run'}, "
        f"{_gain(found.over_reference, system)} over {reference}{_span(found.over_reference)}. "
        f"{_over_fixed(found, reference, system)} "
        "This is among these settings only, each speed counting the same."
    )
    return [told]


def _over_fixed(found: Following, reference: str, system: System) -> str:
    best, *others = found.best_fixed
    as_good = f" ({', '.join(others)} {'is' if len(others) == 1 else 'are'} as good)"
    named = f"the best single one of them, {best}{as_good if others else ''}"
    if best == reference:
        return f"No single one of them has a larger mean than {best}{as_good if others else ''}."
    gain = found.over_best_fixed
    if gain.none:
        return (
            f"Over {named}: {_gain(gain, system)}, so it is not shown to be worth it in the mean."
        )
    return f"Over {named}: {_gain(gain, system)}{_span(gain)}."


def _gain(gain: Gain, system: System) -> str:
    if gain.none:
        return f"no difference ({NONE_FOUND})"
    return f"{gain.share * 100:+.1f} % ({_torque(gain.mean_Nm, system, sign='+')})"


def _span(gain: Gain) -> str:
    if gain.none and gain.least_none and round(gain.most * 100, 1) == 0.0:
        return ""
    least = f"no difference ({NONE_FOUND})" if gain.least_none else f"{gain.least * 100:+.1f} %"
    return (
        f": most {gain.most * 100:+.1f} % at {gain.most_rpm:.0f} rpm, least {least} at "
        f"{gain.least_rpm:.0f} rpm"
    )


def _torque(value: float, system: System, sign: str = "") -> str:
    unit = user_unit("torque", system)
    return f"{from_si(value, 'torque', unit):{sign}.1f} {unit}"
