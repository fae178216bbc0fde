"""What the mechanical check needs to know of an engine: frozen parts in SI.

Nothing here is assumed by class of engine: a part that the engine file leaves out is ``None``, and
the check says NOT CHECKED. Forces, masses and stiffness are *per valve* and *at the valve* unless a
name says lobe; angles are crank degrees as in `parts`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from breathe.engine.parts import Floats, Side

FollowerKind = Literal["flat tappet", "bucket", "finger", "roller"]
PocketFloor = Literal["parallel to the valve", "square to the bore"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spring:
    """The springs of one valve, as one."""

    seat_load_N: float
    """With the valve shut, at ``installed_height_m``."""
    installed_height_m: float
    rate_N_per_m: float
    coil_bind_height_m: float | None = None
    surge_frequency_Hz: float | None = None
    """First natural frequency of the coils between fixed ends."""
    mass_kg: float | None = None
    """Of the active coils; a third moves with the valve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Train:
    """What the spring has to move."""

    moving_mass_kg: float
    """At the valve: valve, retainer, locks, follower, rocker and pushrod reduced to the valve;
    without the spring."""
    stiffness_N_per_m: float | None = None
    """At the valve; None treats the train as rigid."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Follower:
    """What rides on the lobe. A roller has ``roller_radius_m``, a curved finger
    ``face_radius_m``; a flat face has neither."""

    kind: FollowerKind
    base_circle_radius_m: float
    contact_width_m: float
    """Along the shaft, where lobe and follower touch."""
    face_diameter_m: float | None = None
    """Of a flat tappet or bucket."""
    face_radius_m: float | None = None
    """Of a curved finger pad."""
    roller_radius_m: float | None = None
    offset_m: float = 0.0
    """Of a roller's line of motion from the cam axis."""
    lobe_modulus_Pa: float = 207e9
    follower_modulus_Pa: float = 207e9
    lobe_poisson: float = 0.30
    follower_poisson: float = 0.30
    rocker_ratio: float = 1.0
    """Valve lift over lobe lift."""
    materials: str = "steel on steel"


@dataclass(frozen=True, slots=True, kw_only=True)
class PistonGap:
    """Room between a seated valve and the piston, measured *along the valve*."""

    angle_deg: Floats
    """(n,) rising, crank degrees from overlap TDC; one reading at 0 will do: the piston's own
    motion gives the rest."""
    gap_m: Floats
    """(n,)"""
    valve_angle_deg: float
    """Between valve and bore axis."""
    floor: PocketFloor = "parallel to the valve"
    """How the piston lies under the valve's face: as a pocket sunk along the valve, or as a flat
    crown. The pocket gives the smaller gap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ValvePair:
    """Where intake and exhaust valve lie to each other, in the plane of their two stems."""

    seat_centre_distance_m: float
    """Between the centres of the two heads, both seated."""
    intake_angle_deg: float
    """Between valve and bore axis, leaning outwards positive."""
    exhaust_angle_deg: float
    edge_thickness_m: float = 0.0
    """Of both heads, from the face to the edge of the seat; 0 takes heads as thin discs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SleeveParts:
    """The mechanism of a dwell sleeve."""

    helix_radius_m: float | None = None
    """Mean radius of the helical splines."""
    friction: float | None = None
    """Coefficient in the splines."""
    axial_play_m: float | None = None
    circumferential_play_m: float | None = None
    """At the helix radius."""
    spline_count: int | None = None
    spline_height_m: float | None = None
    spline_length_m: float | None = None
    shaft_diameter_m: float | None = None
    shaft_bore_m: float = 0.0
    twisted_length_m: float | None = None
    """Length of shaft that winds up between lobe and drive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftRoom:
    """Room along the shaft between two bearing faces."""

    between_bearings_m: float
    lobes: int
    """Lobes between those faces."""
    fixed_per_lobe_m: float
    """Lobe, collar and what else does not move, each lobe."""
    shared_sleeve: bool = False
    """One sleeve serves all the lobes between the faces; otherwise each lobe has its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideMechanics:
    """The mechanics of one side."""

    spring: Spring | None = None
    train: Train | None = None
    follower: Follower | None = None
    piston_gap: PistonGap | None = None
    sleeve: SleeveParts | None = None
    room: ShaftRoom | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """What a built engine may differ by; the check repeats its questions at these."""

    cam_timing_deg: float = 2.0
    """Cam early or late, crank degrees."""
    chain_slack_deg: float = 0.0
    """Added to late timing: a slack chain or belt."""
    over_speed: float = 1.10
    """Speed reached by a missed shift over the limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mechanics:
    """What is known of an engine's mechanics."""

    intake: SideMechanics = field(default_factory=SideMechanics)
    exhaust: SideMechanics = field(default_factory=SideMechanics)
    valve_pair: ValvePair | None = None
    tolerances: Tolerances = field(default_factory=Tolerances)

    def of(self, side: Side) -> SideMechanics:
        """The mechanics of one side."""
        return self.intake if side == "intake" else self.exhaust
