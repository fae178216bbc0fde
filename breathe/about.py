"""What a printed page says besides the numbers; stored with a run so that it prints again alone.

Plain values only: no engine, no arrays, so that an old run opens without what made it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingNote:
    """A cam setting as a printed page names it."""

    label: str
    intake_duration_deg: float | None = None
    """Crank degrees above the checking height of `About.checking_height_m`."""
    exhaust_duration_deg: float | None = None
    overlap_deg: float | None = None
    """Crank degrees both valves are open, at the same height."""
    effective_compression_ratio: float | None = None
    """From the closing of the intake valve, at the same height."""
    how: str = ""
    """How it differs from the engine's own cams, such as 'intake sleeve 7.2 mm'."""
    does_not_clear: str = ""
    """The worst gap in words, if a valve touches or comes too close at this setting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What a printed page must say besides the numbers."""

    engine: str
    source_file: str
    standard: str
    """Label of the setting that the others are compared with."""
    settings: tuple[SettingNote, ...]
    """In printing order."""
    speeds_rpm: tuple[float, ...]
    throttle: float
    outside_pressure_Pa: float
    outside_temperature_K: float
    speed_limit_rpm: float
    checking_height_m: float
    ca50_best_deg: float | None = None
    """Where half-burned gives best torque, after firing TDC; None if the user holds it fixed."""
    assumed: tuple[dict[str, str], ...] = ()
    """Each with key, value, reason, source."""
    questions: tuple[str, ...] = ()
    unknown_clearances: tuple[str, ...] | None = None
    """Clearances the engine file tells too little of, such as 'valve to valve'; None where none
    was looked at."""

    @classmethod
    def from_json(cls, found: Mapping[str, Any]) -> About:
        """From what `dataclasses.asdict` became in a JSON file."""
        plain: dict[str, Any] = {
            name: tuple(value) if isinstance(value, list) else value
            for name, value in found.items()
        }
        plain["settings"] = tuple(SettingNote(**note) for note in found["settings"])
        return cls(**plain)
