"""The phaser of a cam: how far it can be turned while the engine runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from breathe.engine.cams import ReadCam
from breathe.engine.findings import Findings
from breathe.engine.parts import Phaser, Side


def with_phaser(
    read: ReadCam, given: Mapping[str, Any] | None, side: Side, findings: Findings
) -> ReadCam:
    """The same cam with its phaser, if the file gives one."""
    if given is None:
        return read
    place = f"[{side}.phaser]"
    earliest, latest = given.get("earliest", 0.0), given.get("latest", 0.0)
    if not earliest <= 0.0 <= latest or earliest == latest:
        findings.fault(
            place,
            f"found earliest {earliest:g} and latest {latest:g} deg crank; expected a range round "
            'the cam\'s own place, such as earliest = "-20 deg crank", latest = "20 deg crank"',
        )
        return read
    phaser = Phaser(earliest_deg=earliest, latest_deg=latest)
    return replace(read, cam=replace(read.cam, phaser=phaser))
