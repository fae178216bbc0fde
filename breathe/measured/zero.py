"""Where a wheel's zero is in the cycle, and which side the lobe on it is."""

from __future__ import annotations

from dataclasses import dataclass

from breathe.engine.parts import Side
from breathe.measured.lift_words import Wheel, Zero


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Where the lobe stands in the cycle."""

    shift_deg: float
    """To add to crank degrees of the wheel so that overlap TDC is 360 (or the nose 0)."""
    zero: Zero
    sure: bool
    """The sheet or the user said it, rather than where the nose lies."""
    side: Side | None
    words: str


def place_zero(
    nose_deg: float, *, asked: Zero | None, said: Zero | None, side: Side | None, wheel: Wheel
) -> Placed:
    """Where the wheel's zero is in the cycle, and which side the lobe is.

    An intake nose lies 60 to 160 after overlap TDC and an exhaust nose as far before it, so a
    crank wheel set to firing or overlap TDC shows by its nose; a cam wheel's zero is arbitrary
    unless said.
    """
    stated = asked or said
    per, turn = (2.0, 360.0) if wheel == "cam" else (1.0, 720.0)
    nose = nose_deg / per
    shown = f"{nose % turn if not -turn / 2 <= nose <= turn else nose:.1f} deg {wheel}"
    if stated in ("firing", "overlap"):
        shift = 0.0 if stated == "firing" else 360.0
        after = (nose_deg + shift - 360.0 + 360.0) % 720.0 - 360.0
        found: Side = "intake" if after > 0 else "exhaust"
        return Placed(
            shift_deg=360.0 + after - nose_deg,
            zero=stated,
            sure=True,
            side=side or found,
            words=f"0 is {stated} TDC, nose {told_from_overlap(after)}",
        )
    if stated in ("nose", "arbitrary") or (abs(nose_deg) < 4.0 and not stated):
        named = stated or "nose"
        why = "" if stated else f", for the nose is at {shown}".replace("-0.0", "0.0")
        words = "0 is the nose" if named == "nose" else f"0 is arbitrary, nose at {shown}"
        return Placed(
            shift_deg=-nose_deg, zero=named, sure=bool(stated), side=side, words=words + why
        )
    if wheel == "crank":
        guesses: tuple[Zero, Zero] = ("firing", "overlap")
        for zero in guesses:
            turned = nose_deg % 720.0 - (360.0 if zero == "firing" else 0.0)
            after = (turned + 360.0) % 720.0 - 360.0
            if 60 <= abs(after) <= 160 and (side is None or (after > 0) == (side == "intake")):
                guess: Side = "intake" if after > 0 else "exhaust"
                return Placed(
                    shift_deg=360.0 + after - nose_deg,
                    zero=zero,
                    sure=False,
                    side=guess,
                    words=(
                        f"nose at {shown}: fits an {guess} lobe {told_from_overlap(after)} "
                        f"if 0 is {zero} TDC; say otherwise with --zero"
                    ),
                )
    return Placed(
        shift_deg=-nose_deg,
        zero="arbitrary",
        sure=False,
        side=side,
        words=(
            f"nose at {shown} of the wheel; where its 0 is in the cycle is not known, so "
            "neither is the centreline; say it with --zero firing or --zero overlap"
        ),
    )


def told_from_overlap(after_deg: float) -> str:
    """'110.0 ATDC' for degrees after overlap TDC."""
    return f"{abs(after_deg):.1f} {'ATDC' if after_deg >= 0 else 'BTDC'}"
