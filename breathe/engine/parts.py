"""What an engine is made of: frozen parts in SI, as every other room sees them.

Angles are crank degrees with 0 at firing TDC and 360 at overlap TDC, unless a name says cam.
Pressures are absolute. Nothing here reads files, knows user units or computes flow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from breathe.engine.mechanics import Mechanics

Floats = NDArray[np.float64]
Side = Literal["intake", "exhaust"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """One value the tool filled in for the user."""

    key: str
    """Where it belongs, such as ``intake.valve.throat``."""
    value: str
    """The value with its unit, as shown to the user."""
    reason: str
    source: str
    """Author, title, year; or 'common practice, no source'; or 'from memory'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """One cylinder and its slider-crank; all cylinders of an engine are alike."""

    bore_m: float
    stroke_m: float
    rod_m: float
    compression_ratio: float
    pin_offset_m: float = 0.0
    """Gudgeon pin offset towards the thrust side; positive moves TDC after crank top."""
    head_wall_K: float = 470.0
    piston_wall_K: float = 500.0
    liner_wall_K: float = 420.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchFlow:
    """The rows of a flow sheet that coefficients were worked out from, as the user knows them."""

    file: str
    area: str
    """The reference area in words."""
    lift_m: Floats
    """(n,) rising."""
    flow: Floats
    """(n,) in ``flow_unit``, through all valves measured."""
    flow_unit: str
    coefficient: Floats
    """(n,) bench convention [-]: flow over area times sqrt(2 dp / rho)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowCoefficients:
    """Discharge coefficients of one valve on curtain area (pi * head diameter * lift)."""

    lift_over_diameter: Floats
    """(n,) rising, valve lift / head diameter [-]. Held outside its ends."""
    forward: Floats
    """(n,) into the cylinder at an intake valve, out of it at an exhaust valve [-]."""
    reverse: Floats
    """(n,) the other way [-]."""
    bench: BenchFlow | None = None
    """Where they come from, if from a flow sheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Valve:
    """The valves of one side of one cylinder (``count`` equal ones)."""

    count: int
    head_diameter_m: float
    throat_diameter_m: float
    stem_diameter_m: float
    seat_angle_deg: float
    seat_width_m: float
    coefficients: FlowCoefficients


@dataclass(frozen=True, slots=True, kw_only=True)
class Lobe:
    """Lift over crank angle from the nose, at zero lash, as lift *at the valve* (rocker applied).

    An opening flank, a nose at angle 0, a closing flank. A sleeve opens a dwell at the nose.
    """

    angle_deg: Floats
    """(n,) rising, crank degrees from the nose; negative is the opening flank."""
    lift_m: Floats
    """(n,) valve lift at zero lash; first and last are 0."""
    made_from: str
    """How it came about, in the user's words: 'cam card: ...', 'measured: file.csv'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sleeve:
    """A dwell sleeve: axial travel opens dwell between two flanks that never change."""

    travel_max_m: float
    crank_deg_per_m: float
    """Added duration for each metre of travel."""
    closing_share: float
    """Share of the added dwell that delays closing (1: opening point held; 0: closing held)."""
    law_known: bool = True
    """Whether travel is the user's; if not, it only stands for added degrees and is never told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Phaser:
    """Turns the whole cam while it runs."""

    earliest_deg: float
    """Crank degrees from the cam's own place, negative earlier."""
    latest_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CardEvents:
    """When a cam card has a valve open, at travel 0 and zero lash; only told, not computed with."""

    side: Side
    opens_deg: float
    """With 360 at overlap TDC, as `closes_deg`."""
    closes_deg: float
    checking_height_m: float
    """Lift at the valve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cam:
    """The cam of one side."""

    lobe: Lobe
    centreline_deg: float
    """Crank degrees from overlap TDC to the nose at zero travel: positive after TDC for intake,
    positive *before* TDC for exhaust (both as written on a cam card)."""
    lash_m: float
    """Valve clearance when running, at the valve; taken off the lift."""
    sleeve: Sleeve | None = None
    phaser: Phaser | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """One end of a pipe and what it opens into."""

    node: str
    """Name of an outside air, a chamber, or 'intake valve N' / 'exhaust valve N' (N from 1)."""
    out_coefficient: float = 1.0
    """Effective area over pipe area for flow leaving the pipe [-]. Ignored at a valve."""
    in_coefficient: float = 1.0
    """Effective area over pipe area for flow entering the pipe [-]. Ignored at a valve."""
    mouth: str = ""
    """What the engine file calls its shape where it opens into a volume; empty at a valve or
    joint."""
    throttled: bool = False
    """The load control closes this end: its coefficients are scaled by the throttle opening."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipe:
    """A round pipe, straight taper between given stations."""

    name: str
    side: Side
    station_m: tuple[float, ...]
    """Distances from the start, rising, first 0, last the length; end corrections included."""
    diameter_m: tuple[float, ...]
    """Inside diameter at each station."""
    start: End
    end: End
    wall_K: float
    roughness_m: float
    heat_multiplier: float = 1.0
    """Pipe-wall heat transfer over the smooth steady-flow value (ports pulsate: above 1)."""
    friction_multiplier: float = 1.0
    """Wall friction over the straight-pipe value (bends)."""
    end_correction_m: tuple[float, float] = (0.0, 0.0)
    """What ``station_m`` holds for the air beyond start and end."""

    @property
    def length_m(self) -> float:
        return self.station_m[-1]

    @property
    def built_length_m(self) -> float:
        """Without end corrections."""
        return self.length_m - sum(self.end_correction_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chamber:
    """A volume without waves: plenum, airbox, collector, silencer."""

    name: str
    side: Side
    volume_m3: float
    wall_K: float | None = None
    """Wall temperature; None means no heat is exchanged."""
    wall_area_m2: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """Air at rest that never changes; intake mouths and tailpipe ends open into one."""

    name: str
    pressure_Pa: float
    temperature_K: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The day."""

    pressure_Pa: float = 101_325.0
    temperature_K: float = 298.15
    humidity_kg_per_kg: float = 0.0
    """Water vapour per dry air."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fuel:
    """What is burned and how rich."""

    name: str = "gasoline"
    """A supplied fuel of gas.mixture."""
    lambda_full_load: float = 0.88
    octane: float = 95.0
    """Research octane number for the knock index."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """How fast and when the charge burns."""

    duration_10_90_deg: float = 24.0
    """At the reference point of cycle.burn (2000 rpm, full load)."""
    ca50_deg: float | None = None
    """Crank degrees after firing TDC of half burned; None: best torque, retarded until the knock
    index allows it."""
    ca50_best_deg: float = 8.0
    speed_exponent: float = 1.0 / 3.0
    wiebe_a: float = 6.908
    wiebe_m: float = 2.0
    completeness: float = 0.97
    """Share of the trapped fresh charge that burns."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Friction:
    """Friction mean effective pressure, without pumping, SI: Pa, Pa/Pa, Pa/(m/s), Pa/(m/s)^2."""

    constant_Pa: float = 0.4e5
    per_peak_pressure: float = 0.005
    per_piston_speed: float = 0.09e5
    per_piston_speed_squared: float = 0.0009e5


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """A whole engine. ``settings`` are the cam settings its file asks to compare."""

    name: str
    cylinder: Cylinder
    cylinder_count: int
    fires_at_deg: tuple[float, ...]
    """(cylinder_count,) crank angle 0..720 at which each cylinder fires, cylinder 1 at 0."""
    intake_valve: Valve
    exhaust_valve: Valve
    intake_cam: Cam
    exhaust_cam: Cam
    pipes: tuple[Pipe, ...]
    chambers: tuple[Chamber, ...]
    outsides: tuple[Outside, ...]
    air: Air
    fuel: Fuel
    burn: Burn
    friction: Friction
    settings: tuple[Setting, ...]
    standard: str
    """Label of the setting the others are compared with."""
    speed_limit_rpm: float
    mechanics: Mechanics | None = None
    """For the mechanical check; None when the file says nothing of it."""
    assumed: tuple[Assumed, ...] = ()
    questions: tuple[str, ...] = ()
    """Plausibility questions to the user that do not stop the run."""
    notes: tuple[str, ...] = ()
    """What was noticed and asks nothing."""
    cards: tuple[CardEvents, ...] = ()
    """Of each cam whose card gives events or a duration."""
    source_file: str = ""

    @property
    def displacement_m3(self) -> float:
        return self.cylinder_count * self.swept_volume_m3

    @property
    def swept_volume_m3(self) -> float:
        return math.pi / 4 * self.cylinder.bore_m**2 * self.cylinder.stroke_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One way the cams can stand: what `compare` puts in a column."""

    label: str
    """Short, at most 10 characters, such as '264°' or 'std'."""
    intake_travel_m: float = 0.0
    exhaust_travel_m: float = 0.0
    intake_shift_deg: float = 0.0
    """Phaser: crank degrees the whole intake lift is moved, positive later."""
    exhaust_shift_deg: float = 0.0
    intake_stretch: float = 1.0
    """The lobe's angles multiplied about its nose: the same lobe ground longer."""
    exhaust_stretch: float = 1.0
    intake_cam: Cam | None = None
    """A swapped cam; None keeps the engine's own."""
    exhaust_cam: Cam | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftEvent:
    """Valve lift of one side through the cycle, lash taken off, on a uniform grid."""

    lift_m: Floats
    """(n,) at crank angles ``arange(n) * 720 / n`` from firing TDC."""
    opens_deg: float
    """First angle with lift, 0..720."""
    closes_deg: float
    """Last angle with lift, may exceed 720 so that closes > opens."""

    @property
    def angle_deg(self) -> Floats:
        return np.linspace(0.0, 720.0, len(self.lift_m), endpoint=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Operating:
    """Speed and load of one case."""

    speed_rpm: float
    throttle: float = 1.0
    """Opening of the throttled pipe end, 0..1 of its area; 1 is full load."""
    lambda_: float | None = None
    """Air ratio; None takes the fuel's full-load value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything that decides one simulated cycle."""

    engine: Engine
    setting: Setting
    operating: Operating
    intake: LiftEvent = field(repr=False)
    exhaust: LiftEvent = field(repr=False)
