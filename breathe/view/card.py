"""Cam cards as they were read, to be held against the paper."""

from __future__ import annotations

from breathe.engine.events import written_point
from breathe.engine.parts import CardEvents, Engine
from breathe.engine.quantities import from_si
from breathe.study.describe import card_compression_ratio


def cards_as_read(engine: Engine) -> list[str]:
    """Words for each cam whose card gives its events or duration, and the compression they make.

    Lengths in mm and in, as cards are in either.
    """
    told = [_as_read(engine, card) for card in engine.cards]
    ratio = card_compression_ratio(engine)
    if ratio is not None:
        told.append(f"effective CR from the card's IVC, at zero lash: {ratio:.2f}")
    return told


def _as_read(engine: Engine, card: CardEvents) -> str:
    cam = engine.intake_cam if card.side == "intake" else engine.exhaust_cam
    opens, closes = ("IVO", "IVC") if card.side == "intake" else ("EVO", "EVC")
    lift = float(cam.lobe.lift_m.max())
    at_rest = ", sleeve at travel 0" if cam.sleeve else ""
    lash = f"before lash of {_both(cam.lash_m)}" if cam.lash_m else "without lash"
    return (
        f"{card.side} card read as {opens} {written_point(card.opens_deg, card.side)},"
        f" {closes} {written_point(card.closes_deg, card.side)}: "
        f"{card.closes_deg - card.opens_deg:.4g} deg crank at {_both(card.checking_height_m)} "
        f"valve lift{at_rest}; lift {_both(lift)} {lash}"
    )


def _both(length_m: float) -> str:
    return f"{length_m * 1e3:.3g} mm ({from_si(length_m, 'length', 'in'):.3f} in)"
