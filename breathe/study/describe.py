"""What can be said of an engine and its cam settings without simulating."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from breathe.about import About, SettingNote
from breathe.cycle.compression import compression_from, effective_compression_ratio
from breathe.engine.parts import Cam, Case, Engine, Operating, Setting, Side
from breathe.errors import BreatheError
from breathe.valvetrain.dwell import added_dwell_deg, case
from breathe.valvetrain.timing import (
    SEAT_HEIGHT_M,
    Timing,
    lift_area_m_deg,
    lobe_separation_cam_deg,
    overlap_deg,
    seat_timing,
    timing,
)

CHECKING_HEIGHTS_M = (SEAT_HEIGHT_M, 1.524e-4, 1.0e-3, 1.27e-3)
"""0.1 mm, 0.006 in, 1.0 mm and 0.050 in, the usual ones of cam cards (common practice)."""
CRANKING_EXPONENTS = (1.25, 1.30)
"""Polytropic exponents of a cranked, warm engine, heat and leakage in (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingFacts:
    """One cam setting without simulating."""

    setting: Setting
    intake: tuple[Timing | None, ...]
    """At each of `CHECKING_HEIGHTS_M`; None where the lift does not reach it."""
    exhaust: tuple[Timing | None, ...]
    overlap_deg: tuple[float | None, ...]
    intake_dwell_deg: float
    exhaust_dwell_deg: float
    intake_area_m_deg: float
    lobe_separation_cam_deg: float
    effective_compression_ratio: float
    cranking_pressure_Pa: tuple[float, float]
    """Absolute, for the two `CRANKING_EXPONENTS`."""


def case_of(engine: Engine, setting: Setting) -> Case:
    """The valve events of a setting, at no particular speed.

    Raises
    ------
    BreatheError
        The cams cannot stand this way.
    """
    try:
        return case(engine, setting, Operating(speed_rpm=1000.0))
    except ValueError as error:
        raise BreatheError(f"{engine.source_file or engine.name}: {error}") from error


def facts(engine: Engine, setting: Setting) -> SettingFacts:
    """Events, durations, overlap, lobe separation, effective compression, cranking pressure."""
    events = case_of(engine, setting)
    at_seat = seat_timing(events.intake, "intake")
    exhaust_at_seat = seat_timing(events.exhaust, "exhaust")
    intake = tuple(_timing(events, "intake", height) for height in CHECKING_HEIGHTS_M)
    exhaust = tuple(_timing(events, "exhaust", height) for height in CHECKING_HEIGHTS_M)
    overlap = tuple(
        overlap_deg(events.intake, events.exhaust, height) if one and other else None
        for height, one, other in zip(CHECKING_HEIGHTS_M, intake, exhaust, strict=True)
    )
    ratio = effective_compression_ratio(engine.cylinder, events.intake)
    return SettingFacts(
        setting=setting,
        intake=intake,
        exhaust=exhaust,
        overlap_deg=overlap,
        intake_dwell_deg=_dwell(setting.intake_cam or engine.intake_cam, setting, "intake"),
        exhaust_dwell_deg=_dwell(setting.exhaust_cam or engine.exhaust_cam, setting, "exhaust"),
        intake_area_m_deg=lift_area_m_deg(events.intake),
        lobe_separation_cam_deg=lobe_separation_cam_deg(
            at_seat.centreline_deg, exhaust_at_seat.centreline_deg
        ),
        effective_compression_ratio=ratio,
        cranking_pressure_Pa=cranking_pressure(engine.air.pressure_Pa, ratio),
    )


def card_compression_ratio(engine: Engine) -> float | None:
    """Effective compression from the closing point of the intake card, or None without one.

    At zero lash, as the card counts; `facts` has that of the running valve.
    """
    closes = [card.closes_deg for card in engine.cards if card.side == "intake"]
    return compression_from(engine.cylinder, closes[0]) if closes else None


def cranking_pressure(outside_Pa: float, effective_ratio: float) -> tuple[float, float]:
    """Pressure a gauge should show when cranking with the throttle open, p0 * ratio^n, absolute.

    Parameters
    ----------
    outside_Pa : float
        Air pressure p0; the cylinder is taken to be at it when the intake valve closes.
    effective_ratio : float
        Compression ratio from intake closing.

    Returns
    -------
    float, float
        For n of `CRANKING_EXPONENTS` [Pa].
    """
    low, high = (outside_Pa * effective_ratio**exponent for exponent in CRANKING_EXPONENTS)
    return low, high


def _timing(events: Case, side: Side, height: float) -> Timing | None:
    event = events.intake if side == "intake" else events.exhaust
    return timing(event, side, height) if event.lift_m.max() > height else None


def _dwell(cam: Cam, setting: Setting, side: Side) -> float:
    travel = setting.intake_travel_m if side == "intake" else setting.exhaust_travel_m
    return added_dwell_deg(cam, travel, side)


def how(engine: Engine, setting: Setting) -> str:
    """How a setting differs from the engine's own cams at rest, in words."""
    parts = []
    own = {"intake": engine.intake_cam, "exhaust": engine.exhaust_cam}
    for side, cam, travel, stretch, shift in (
        (
            "intake",
            setting.intake_cam,
            setting.intake_travel_m,
            setting.intake_stretch,
            setting.intake_shift_deg,
        ),
        (
            "exhaust",
            setting.exhaust_cam,
            setting.exhaust_travel_m,
            setting.exhaust_stretch,
            setting.exhaust_shift_deg,
        ),
    ):
        told = ["other cam"] if cam else []
        told += [sleeve_at(own[side], travel)] if travel else []
        told += [f"lobe stretched x {stretch:.3f}"] if stretch != 1.0 else []
        told += [f"{abs(shift):.0f}° {'later' if shift > 0 else 'earlier'}"] if shift else []
        if told:
            parts.append(f"{side} {', '.join(told)}")
    return "; ".join(parts) or "as the engine file has it"


def sleeve_at(cam: Cam, travel_m: float) -> str:
    """Where a sleeve stands: its travel, or what it adds where the travel is not known."""
    if cam.sleeve is not None and not cam.sleeve.law_known:
        return f"sleeve adding {travel_m * cam.sleeve.crank_deg_per_m:.0f}°"
    return f"sleeve at {travel_m * 1e3:.1f} mm"


def about(
    engine: Engine, settings: Sequence[Setting], speeds_rpm: Sequence[float], throttle: float
) -> About:
    """What a printed comparison must say besides its numbers; ``throttle`` is the opening as a
    share of its area [-]."""
    return About(
        engine=engine.name,
        source_file=engine.source_file,
        standard=engine.standard,
        settings=tuple(_note(engine, setting) for setting in settings),
        speeds_rpm=tuple(float(speed) for speed in speeds_rpm),
        throttle=throttle,
        outside_pressure_Pa=engine.air.pressure_Pa,
        outside_temperature_K=engine.air.temperature_K,
        speed_limit_rpm=engine.speed_limit_rpm,
        checking_height_m=SEAT_HEIGHT_M,
        ca50_best_deg=engine.burn.ca50_best_deg if engine.burn.ca50_deg is None else None,
        assumed=tuple(
            {"key": one.key, "value": one.value, "reason": one.reason, "source": one.source}
            for one in engine.assumed
        ),
        questions=engine.questions,
    )


def _note(engine: Engine, setting: Setting) -> SettingNote:
    events = case_of(engine, setting)
    intake = _timing(events, "intake", SEAT_HEIGHT_M)
    exhaust = _timing(events, "exhaust", SEAT_HEIGHT_M)
    both = intake is not None and exhaust is not None
    return SettingNote(
        label=setting.label,
        intake_duration_deg=intake.duration_deg if intake else None,
        exhaust_duration_deg=exhaust.duration_deg if exhaust else None,
        overlap_deg=overlap_deg(events.intake, events.exhaust, SEAT_HEIGHT_M) if both else None,
        effective_compression_ratio=effective_compression_ratio(engine.cylinder, events.intake)
        if intake
        else None,
        how=how(engine, setting),
    )
