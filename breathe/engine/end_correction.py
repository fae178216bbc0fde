"""The air just beyond an open pipe end swings with the air inside: the pipe acts longer than it is.

The values are those of sound in still gas, of a round pipe with thin walls that opens into a space
wide against its bore; a strong jet out of the end leaves less of them (common practice). No value
in general use is known for flared ends and bell mouths, so those get none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from breathe.engine.findings import Findings
from breathe.engine.parts import Pipe

END_CORRECTION: Mapping[str, float] = {"plain end": 0.6133, "flush": 0.8216}
"""Length of the air beyond a mouth over the radius of the pipe [-]."""
SOURCE = (
    "H. Levine and J. Schwinger, Physical Review 73, 1948, 383 (tube end in the open); A. N. "
    "Norris and I. C. Sheng, Journal of Sound and Vibration 135, 1989, 85 (hole in a wall); both "
    "from memory"
)
_NOTED = "end_correction"


def corrected(pipe: Pipe, findings: Findings) -> Pipe:
    """The pipe with its open ends lengthened; the assumption is noted once for all pipes."""
    start = END_CORRECTION.get(pipe.start.mouth, 0.0) * pipe.diameter_m[0] / 2
    end = END_CORRECTION.get(pipe.end.mouth, 0.0) * pipe.diameter_m[-1] / 2
    if start == end == 0.0:
        return pipe
    if not any(one.key == _NOTED for one in findings.assumed):
        plain, flush = END_CORRECTION["plain end"], END_CORRECTION["flush"]
        findings.assume(
            _NOTED,
            f"{plain:.2f} x radius at a plain end, {flush:.2f} x radius at a flush one",
            "pipes act longer by the air beyond such ends; end_correction = false leaves it off",
            SOURCE,
        )
    station = [start + place for place in pipe.station_m]
    diameter = list(pipe.diameter_m)
    if start > 0.0:
        station, diameter = [0.0, *station], [diameter[0], *diameter]
    if end > 0.0:
        station, diameter = [*station, station[-1] + end], [*diameter, diameter[-1]]
    return replace(
        pipe,
        station_m=tuple(station),
        diameter_m=tuple(diameter),
        end_correction_m=(start, end),
    )
