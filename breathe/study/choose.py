"""What a caller asks to run, by name or number, checked: cam settings, engine speeds, throttle."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable

from breathe.engine.parts import Engine, Setting
from breathe.errors import BreatheError
from breathe.study.gear import gear_of

SLOWEST_RPM, FASTEST_RPM = 100.0, 25_000.0
_STEPS_RPM = (250.0, 500.0, 1000.0)
_MOST_BY_DEFAULT = 17


def setting_named(engine: Engine, text: str, where: str = "settings") -> Setting:
    """A setting of the engine by its label, or a further place its gear can reach.

    Parameters
    ----------
    engine : Engine
    text : str
        A label, the degree sign left out or not, or an intake duration in crank degrees; where
        an exhaust sleeve or a phaser is all that moves, an exhaust duration or a turn.
    where : str
        What the user knows the value as, for messages.

    Raises
    ------
    BreatheError
        A label the engine has not, with the nearest; a place beyond the gear.
    """
    known = {bare(setting.label): setting for setting in engine.settings}
    if bare(text) in known:
        return known[bare(text)]
    duration = _number(bare(text))
    reference = _sleeve_reference(engine)
    if duration is not None and reference is not None:
        return _by_sleeve(engine, duration, *reference, where)
    alone = _on_the_only_axis(engine, bare(text), where)
    if alone is not None:
        return alone
    close = difflib.get_close_matches(bare(text), known, n=1)
    hint = f"did you mean {known[close[0]].label!r}? " if close else ""
    raise BreatheError(
        f"{where}: found {text!r}; {hint}{engine.source_file or engine.name} has: "
        f"{labels(engine)}. Further ones are written there as [[setting]]."
    )


def settings_of(
    engine: Engine, wanted: Iterable[Setting | str] | str | None
) -> tuple[Setting, ...]:
    """The settings meant, each once, in the order given; None takes all of the engine file.

    Raises
    ------
    BreatheError
        None at all, a label the engine has not, something that is no setting, or two different
        settings of one label.
    """
    if wanted is None:
        return engine.settings
    parts = wanted.split(",") if isinstance(wanted, str) else wanted
    found: dict[str, Setting] = {}
    for part in parts:
        if not isinstance(part, Setting | str):
            raise BreatheError(
                f"settings: found {part!r}; expected labels such as {engine.settings[0].label!r}, "
                "or Setting objects"
            )
        setting = setting_named(engine, part.strip()) if isinstance(part, str) else part
        if found.setdefault(setting.label, setting) != setting:
            raise BreatheError(f"settings: two different ones are called {setting.label!r}")
    if not found:
        raise BreatheError(f"settings: found none; expected some of: {labels(engine)}")
    return tuple(found.values())


def speeds_of(wanted: Iterable[float]) -> tuple[float, ...]:
    """Engine speeds [rpm], each once, in the order given.

    Raises
    ------
    BreatheError
        None at all, or one that is no speed of an engine.
    """
    expected = "expected engine speeds in rpm, such as [2000, 3500, 5000]"
    if isinstance(wanted, str) or not isinstance(wanted, Iterable):
        raise BreatheError(f"speeds_rpm: found {wanted!r}; {expected}")
    speeds = tuple(dict.fromkeys(speed_of(speed) for speed in wanted))
    if not speeds:
        raise BreatheError(f"speeds_rpm: found none; {expected}")
    return speeds


def speed_of(wanted: float) -> float:
    """One engine speed [rpm].

    Raises
    ------
    BreatheError
        It is no speed of an engine.
    """
    try:
        speed = float(wanted)
    except (TypeError, ValueError):
        speed = math.nan
    if not SLOWEST_RPM <= speed <= FASTEST_RPM:
        raise BreatheError(
            f"speed in rpm: found {wanted!r}; expected a number from {SLOWEST_RPM:g} to "
            f"{FASTEST_RPM:.0f}"
        )
    return speed


def throttle_of(wanted: float) -> float:
    """Opening of the throttled pipe end, as a share of its area.

    Raises
    ------
    BreatheError
        Not above 0 and up to 1.
    """
    try:
        share = float(wanted)
    except (TypeError, ValueError):
        share = math.nan
    if not 0.0 < share <= 1.0:
        raise BreatheError(
            f"throttle: found {wanted!r}; expected a share of its area above 0 and up to 1"
        )
    return share


def default_speeds(engine: Engine) -> tuple[float, ...]:
    """Speeds [rpm] in round steps, from about a fifth of the engine's limit up to it."""
    for step in _STEPS_RPM:
        first = max(1, round(0.2 * engine.speed_limit_rpm / step))
        last = math.floor(engine.speed_limit_rpm / step + 1e-9)
        if last - first < _MOST_BY_DEFAULT:
            break
    return tuple(step * number for number in range(first, max(first, last) + 1))


def labels(engine: Engine) -> str:
    """All settings of the file, as a message lists them."""
    return ", ".join(setting.label for setting in engine.settings)


def bare(label: str) -> str:
    """A label as it is compared: no capitals, no degree sign, no word for it."""
    low = label.lower().replace("°", "").replace("degrees", "").replace("deg", "")
    return " ".join(low.split())


def _sleeve_reference(engine: Engine) -> tuple[float, Setting] | None:
    """A setting of the file whose label is its duration and that only moves the intake sleeve."""
    if engine.intake_cam.sleeve is None:
        return None
    for setting in engine.settings:
        named = _number(bare(setting.label))
        alone = Setting(label=setting.label, intake_travel_m=setting.intake_travel_m)
        if named is not None and setting == alone:
            return named, setting
    return None


def _by_sleeve(
    engine: Engine, duration: float, named: float, setting: Setting, where: str
) -> Setting:
    sleeve = engine.intake_cam.sleeve
    assert sleeve is not None
    travel = setting.intake_travel_m + (duration - named) / sleeve.crank_deg_per_m
    if travel < -1e-9:
        shortest = named - setting.intake_travel_m * sleeve.crank_deg_per_m
        raise BreatheError(
            f"{where}: {duration:g}° is shorter than {shortest:g}°, which the sleeve gives at "
            "travel 0"
        )
    if travel > sleeve.travel_max_m * (1 + 1e-9):
        if not sleeve.law_known:
            left = sleeve.travel_max_m - setting.intake_travel_m
            longest = named + left * sleeve.crank_deg_per_m
            raise BreatheError(
                f"{where}: {duration:g}° is longer than {longest:g}°, the end of the sleeve's range"
            )
        raise BreatheError(
            f"{where}: {duration:g}° needs {travel * 1e3:.1f} mm of sleeve travel, the sleeve "
            f"has {sleeve.travel_max_m * 1e3:.1f} mm"
        )
    return Setting(label=f"{duration:g}°", intake_travel_m=max(travel, 0.0))


def _on_the_only_axis(engine: Engine, text: str, where: str) -> Setting | None:
    """A number on an exhaust sleeve or a phaser that is all that moves; None if it is no such."""
    gear = gear_of(engine)
    try:
        value = float(text)
    except ValueError:
        return None
    if len(gear.axes) != 1 or not math.isfinite(value):
        return None
    (axis,) = gear.axes
    start = 0.0
    if axis.kind == "dwell":
        cards = [card for card in engine.cards if card.side == axis.side]
        if axis.side == "intake" or not cards:
            return None
        start = cards[0].closes_deg - cards[0].opens_deg
    if not axis.low_deg - 1e-6 <= value - start <= axis.high_deg + 1e-6:
        what = f"the {axis.side} {'duration' if start else 'turn'}"
        raise BreatheError(
            f"{where}: found {text}; {what} goes from {start + axis.low_deg:g} to "
            f"{start + axis.high_deg:g} deg crank"
        )
    label = f"{value:g}°" if start or not value else f"{value:+g}°"
    return gear.setting([value - start], label=label)


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and 0 < value < 720 else None
