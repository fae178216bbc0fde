"""One setting against another in words that hold at every speed that was run.

What is said of a speed is what the tables mark there: helps, hurts, or no difference. Only the
place of a crossing, between two speeds, is worked out; it is told as a band.
"""

from __future__ import annotations

from collections.abc import Sequence

from breathe.study.crossings import NUMERICAL_ERROR, Crossing, Stretch

NONE_FOUND = f"below {NUMERICAL_ERROR * 100:g} %"
_ROUND_RPM = (50.0, 10.0, 1.0)
"""Steps that a crossing is rounded to: the first that keeps it between the speeds that decide."""


def sentence(found: Sequence[Stretch], crossed: Sequence[Crossing]) -> str:
    """All stretches of one comparison in words, with every crossing and its band.

    Parameters
    ----------
    found : sequence of Stretch
        Of one pair of curves, rising in speed.
    crossed : sequence of Crossing
        Of the same pair.

    Examples
    --------
    >>> from breathe.study.crossings import Crossing, Stretch
    >>> low = Stretch(1500, 3500, "hurts", -0.05, 1500)
    >>> high = Stretch(4500, 7500, "helps", 0.03, 7000)
    >>> crossing = Crossing(4000, 3875, 4125, 3500, 4500, True)
    >>> sentence([low, high], [crossing]).split("; ")[0]
    'hurts up to about 4000 rpm (3850 to 4150), worst -5.0 % at 1500 rpm'
    """
    if not found:
        return "no speed at which both settled."
    if all(stretch.verdict == "same" for stretch in found):
        return f"no difference found (all {NONE_FOUND})."
    at = {(one.below_rpm, one.above_rpm): one for one in crossed}
    parts = []
    for place, stretch in enumerate(found):
        before = found[place - 1] if place else None
        after = found[place + 1] if place + 1 < len(found) else None
        crossing = at.get((stretch.end_rpm, after.start_rpm)) if after else None
        told = _told(stretch, before, after, crossing)
        parts.append(f"{'then ' if place else ''}{told}")
    return "; ".join(parts) + "."


def _told(
    stretch: Stretch, before: Stretch | None, after: Stretch | None, crossing: Crossing | None
) -> str:
    if stretch.verdict == "same":
        return f"no difference ({NONE_FOUND}) {_at_or_from(stretch)}"
    if before is None and after is None:
        return f"{stretch.verdict} throughout{_most(stretch)}"
    # After a crossing the start is told already; after a tie the first speed is named.
    from_tie = before is not None and before.verdict == "same"
    alone = stretch.start_rpm == stretch.end_rpm
    if alone and crossing is None and (from_tie or after is not None):
        return _alone(stretch)
    start = f" from {stretch.start_rpm:.0f}" if from_tie else ""
    to = " to" if from_tie else " up to"
    if crossing is not None:
        end = f"{to} {whereabouts(crossing)}"
    elif after is not None:
        end = f"{to} {stretch.end_rpm:.0f} rpm"
    else:
        end = " rpm" if from_tie else ""
    return f"{stretch.verdict}{start}{end}{_most(stretch)}"


def _alone(stretch: Stretch) -> str:
    told = f" ({stretch.extreme * 100:+.1f} %)" if stretch.extreme == stretch.extreme else ""
    return f"{stretch.verdict} at {stretch.start_rpm:.0f} rpm{told}"


def _at_or_from(stretch: Stretch) -> str:
    if stretch.start_rpm == stretch.end_rpm:
        return f"at {stretch.start_rpm:.0f} rpm"
    return f"from {stretch.start_rpm:.0f} to {stretch.end_rpm:.0f} rpm"


def _most(stretch: Stretch) -> str:
    if stretch.extreme != stretch.extreme:
        return ""
    word = "most" if stretch.verdict == "helps" else "worst"
    return f", {word} {stretch.extreme * 100:+.1f} % at {stretch.extreme_rpm:.0f} rpm"


def whereabouts(crossing: Crossing) -> str:
    """Where two settings change places: 'about 4000 rpm (3850 to 4150)', or only its band."""
    low = _outward(crossing.low_rpm, -1, crossing)
    high = _outward(crossing.high_rpm, 1, crossing)
    if crossing.wide:
        return f"somewhere between {low} and {high} rpm"
    return f"about {_between(crossing)} rpm ({low} to {high})"


def _between(crossing: Crossing) -> str:
    for step in _ROUND_RPM:
        rounded = round(crossing.speed_rpm / step) * step
        if crossing.below_rpm < rounded < crossing.above_rpm:
            return f"{rounded:.0f}"
    return f"{crossing.speed_rpm:.4g}"


def _outward(edge: float, towards: int, crossing: Crossing) -> str:
    step = towards * _ROUND_RPM[0]
    rounded = -(-edge // step) * step
    return f"{min(max(rounded, crossing.below_rpm), crossing.above_rpm):.0f}"
