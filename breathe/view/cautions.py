"""Cautions, short, for the result they concern."""

from __future__ import annotations

CLEARANCE = (
    "Valve to piston and valve to valve: NOT CHECKED at any setting. An estimate is not a "
    "clearance check: turn the engine two full turns by hand with light springs at every end of "
    "travel, and with the cam 5° early and late, before it fires."
)
LEAN = (
    "Fuel: other duration, other air. An ECU fuelled from rpm and throttle or MAP does not know "
    "the cam moved: correct the fuel before load, and watch lambda at every new setting."
)
KNOCK = (
    "Spark: shorter duration at low speed traps more charge and raises the effective compression "
    "ratio; late closing lowers it. Start retarded, listen, creep. The knock figures promise "
    "nothing."
)
OVER_SPEED = (
    "Speed: {told} above the engine file's limit of {limit:.0f} rpm. Rods, "
    "springs and pump set that limit, and nothing here checks them."
)
DOUBT = (
    "A difference below {error:g} % is called a tie: grid, steps and settling can make as much. "
    "How sure the inputs are is not in it: intake length and valve timing move the best duration "
    "most, so measure those before trusting a close winner."
)
