"""Which cam settings a command line asks for."""

from __future__ import annotations

import difflib
import math

from breathe.engine.parts import Engine, Setting
from breathe.errors import BreatheError


def chosen(engine: Engine, text: str | None) -> tuple[tuple[Setting, ...], list[str]]:
    """Settings by label, in the order typed, the standard among them for comparison.

    Parameters
    ----------
    engine : Engine
    text : str or None
        Labels between commas, the degree sign left out or not, or further intake durations within
        the sleeve's travel; None takes all of the file.

    Returns
    -------
    tuple of Setting
    list of str
        What to tell the user: settings merged or added.

    Raises
    ------
    BreatheError
        A label the engine has not, with the nearest.
    """
    if text is None:
        return engine.settings, []
    found: list[Setting] = []
    told = []
    for part in (part.strip() for part in text.split(",")):
        if not part:
            continue
        setting = _by_label(engine, part)
        if setting in found:
            told.append(f"Setting {setting.label} was named twice and is taken once.")
        else:
            found.append(setting)
    if not found:
        raise BreatheError(f"--settings: found nothing; expected some of: {_labels(engine)}")
    if all(setting.label != engine.standard for setting in found):
        found.append(_by_label(engine, engine.standard))
        told.append(f"The standard, {engine.standard}, is added to compare with.")
    return tuple(found), told


def _by_label(engine: Engine, text: str) -> Setting:
    known = {_bare(setting.label): setting for setting in engine.settings}
    if _bare(text) in known:
        return known[_bare(text)]
    duration = _number(_bare(text))
    reference = _sleeve_reference(engine)
    if duration is not None and reference is not None:
        return _by_sleeve(engine, duration, *reference)
    close = difflib.get_close_matches(_bare(text), known, n=1)
    hint = f"did you mean {known[close[0]].label!r}? " if close else ""
    raise BreatheError(
        f"--settings: found {text!r}; {hint}{engine.source_file or engine.name} has: "
        f"{_labels(engine)}. Further ones are written there as [[setting]]."
    )


def _sleeve_reference(engine: Engine) -> tuple[float, Setting] | None:
    """A setting of the file whose label is its duration and that only moves the intake sleeve."""
    if engine.intake_cam.sleeve is None:
        return None
    for setting in engine.settings:
        named = _number(_bare(setting.label))
        alone = Setting(label=setting.label, intake_travel_m=setting.intake_travel_m)
        if named is not None and setting == alone:
            return named, setting
    return None


def _by_sleeve(engine: Engine, duration: float, named: float, setting: Setting) -> Setting:
    sleeve = engine.intake_cam.sleeve
    assert sleeve is not None
    travel = setting.intake_travel_m + (duration - named) / sleeve.crank_deg_per_m
    if travel < -1e-9:
        shortest = named - setting.intake_travel_m * sleeve.crank_deg_per_m
        raise BreatheError(
            f"--settings: {duration:g}° is shorter than {shortest:g}°, which the sleeve gives at "
            "travel 0"
        )
    if travel > sleeve.travel_max_m * (1 + 1e-9):
        raise BreatheError(
            f"--settings: {duration:g}° needs {travel * 1e3:.1f} mm of sleeve travel, the sleeve "
            f"has {sleeve.travel_max_m * 1e3:.1f} mm"
        )
    return Setting(label=f"{duration:g}°", intake_travel_m=max(travel, 0.0))


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and 0 < value < 720 else None


def _labels(engine: Engine) -> str:
    return ", ".join(setting.label for setting in engine.settings)


def _bare(label: str) -> str:
    low = label.lower().replace("°", "").replace("degrees", "").replace("deg", "")
    return " ".join(low.split())
