"""Cautions, short, for the result they concern."""

from __future__ import annotations

HAND_TURN = (
    "An estimate is not a clearance check: turn the engine two full turns by hand with light "
    "springs at every end of travel, and with the cam 5° early and late, before it fires."
)
CLEARANCE = (
    "Valve to piston and valve to valve: NOT CHECKED at any setting here; `breathe check` looks at "
    f"them. {HAND_TURN}"
)
ACTUATOR = (
    "Failed actuator: the position the sleeve goes to without power must clear, and run at any "
    "speed. See that it is one of the settings above."
)
FALLBACK = (
    "Failed actuator: the position it goes to without power must clear, and run at any speed. No "
    "map is exported without it."
)
FAILED_SWITCH = (
    "Failed switch: the step the cam goes to without power must clear, and run at any speed. A "
    "step that engages on one cylinder or valve only, or half, can break parts: the lock decides "
    "at which speeds it may be switched, and nothing here checks that."
)
LATE_CLOSING = (
    "Late closing: cooler, weaker compression burns slower, so spark and steadiness change. Charge "
    "blown back heats and upsets metering, most with carburettors or an airflow meter."
)
VACUUM = (
    "Vacuum: running with little throttle takes away brake-servo, crankcase-ventilation and purge "
    "vacuum. A brake servo wants roughly half a bar. Brakes first: fit a pump or keep some "
    "throttle (--keep-vacuum)."
)
MISSED_SHIFT = (
    "Over-speed: the limits are for {limit:.0f} rpm, and a missed shift goes beyond. Once a "
    "follower leaves its lobe no gap above holds. Exhaust valves are chased by the piston, so "
    "float shows there first. Longer duration may invite more speed than rods, springs and pump "
    "stand."
)
HAND_WORK = (
    "By hand: compressed springs fly; plugs out and ignition dead while the engine is turned."
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
