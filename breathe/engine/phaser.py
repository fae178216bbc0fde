"""The phaser of a cam: how far it can be turned while the engine runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from breathe.engine.cams import ReadCam
from breathe.engine.findings import Findings
from breathe.engine.parts import Phaser, Side

_USUAL_DEG = 60.0
"""Turn to either side of a cam phaser, crank degrees (common practice, no source)."""


def with_phaser(
    read: ReadCam, given: Mapping[str, Any] | None, side: Side, findings: Findings
) -> ReadCam:
    """The same cam with its phaser, if the file gives one."""
    if given is None or f"{side}.phaser" in findings.faulty:
        return read
    place = f"[{side}.phaser]"
    earliest, latest = given.get("earliest", 0.0), given.get("latest", 0.0)
    wrong = _wrong(earliest, latest)
    if wrong:
        findings.fault(place, wrong)
        return read
    for key, end in (("earliest", earliest), ("latest", latest)):
        if key not in given:
            reason = f"the file gives the other end alone; it turns no {key[:-3]}er"
            findings.assume(f"{side}.phaser.{key}", "0 deg crank", reason)
        if abs(end) > _USUAL_DEG:
            text = (
                f"found {end:g} deg crank ({end / 2:g} deg cam); cam phasers turn {_USUAL_DEG:g} "
                "deg crank at most to either side, usually. Crank degrees?"
            )
            findings.ask(f"{place} {key}", text)
    phaser = Phaser(earliest_deg=earliest, latest_deg=latest)
    return replace(read, cam=replace(read.cam, phaser=phaser))


def _wrong(earliest: float, latest: float) -> str:
    """Why a phaser cannot turn so; empty if it can."""
    found = f"found earliest {earliest:g} and latest {latest:g} deg crank"
    example = 'earliest = "-20 deg crank", latest = "20 deg crank"'
    if earliest > latest:
        return f"{found}; the other way round? Earlier is negative, such as {example}"
    if earliest == latest:
        return f"{found}, which is no turn at all; expected a range, such as {example}"
    if not earliest <= 0.0 <= latest:
        return (
            f"{found}; expected a range that holds the place the cam card gives, which is 0, such "
            f"as {example}"
        )
    return ""
