"""Every key an engine file may hold: its kind, the values it may take and those worth a question.

Outside ``refuse`` a value is a fault; outside ``ask`` it is a question with the likely slip, and
the run goes on. Ranges are common practice without a source unless a comment names one. Ratios
between keys are judged in `plausible`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Key:
    """What may stand behind one key."""

    kind: str
    """A dimension of `quantities.UNITS`, or text, file, choice, switch, whole, number, point,
    firing order, cylinders."""
    unit: str = ""
    """The natural unit of the ranges."""
    ask: Range | None = None
    refuse: Range | None = None
    slip: str = ""
    """The usual slip, as a question."""
    choices: tuple[str, ...] = ()
    many: Literal["one", "list", "either"] = "one"
    required: bool = False
    late: bool = False
    """Required, unless the row bears the name of a typical part, which then has it."""


Table = dict[str, "Key | Table | list[Table]"]
"""Key -> its rule, a table below it, or (in a list) the rule of a [[repeated]] table."""

CLASSES = (
    "utility 2V",
    "road 2V pushrod",
    "road 4V",
    "fast road 4V",
    "race 4V",
    "motorcycle 4V",
)
MOUTHS = ("bell mouth", "flared", "flush", "plain end")
SIDES = ("intake", "exhaust")
MATERIALS = ("steel on steel", "steel on iron", "iron on steel", "iron on iron")
"""Follower on lobe."""

_ENGINE: Table = {
    "name": Key("text"),
    "class": Key("choice", choices=CLASSES),
    "cylinders": Key("whole", ask=(1, 12), refuse=(1, 16), required=True),
    "firing_order": Key("firing order"),
    "firing_intervals": Key("angle", "deg crank", refuse=(0, 720), many="list"),
    "bore": Key(
        "length", "mm", (40, 130), (20, 250), "inches, or a radius for a diameter?", required=True
    ),
    "stroke": Key("length", "mm", (25, 140), (10, 400), "inches, or the throw?", required=True),
    "rod": Key("length", "mm", (45, 280), (20, 900), "centre to centre?"),
    "pin_offset": Key("length", "mm", (-3, 3), (-20, 20)),
    "compression_ratio": Key("number", "", (8, 13.5), (4, 25), "over 14: a diesel or a slip?"),
    "speed_limit": Key("speed", "rpm", (2500, 14000), (500, 25000)),
    "standard": Key("text"),
}

_FLOW: Table = {
    "file": Key("file"),
    "workbook_sheet": Key("text"),
    "lift": Key("length", "mm", refuse=(0, 40), many="list"),
    "lift_over_diameter": Key("number", "", refuse=(0, 1), many="list"),
    # 0.45-0.75 low, 0.30-0.65 high lift: from memory.
    "coefficient": Key(
        "number", "", (0.2, 0.8), (0.01, 0.95), "one valve or two, inches or mm?", many="list"
    ),
    "reverse_coefficient": Key("number", "", (0.2, 0.8), (0.01, 0.95), many="list"),
    "bench_flow": Key("volume flow", "cfm", refuse=(0, 3000), many="list"),
    "bench_pressure": Key("pressure difference", "kPa", (1.5, 7.5), (0.1, 25), "inH2O or kPa?"),
    "bench_valves": Key("whole", refuse=(1, 4)),
}

_VALVE: Table = {
    "count": Key("whole", ask=(1, 3), refuse=(1, 4)),
    "head_diameter": Key("length", "mm", (14, 65), (5, 130), "a radius for a diameter?"),
    "throat_diameter": Key("length", "mm", (11, 60), (4, 130), "a radius for a diameter?"),
    "stem_diameter": Key("length", "mm", (4, 12), (2, 25)),
    "seat_angle": Key("plain angle", "deg", (30, 55), (10, 70)),
    "seat_width": Key("length", "mm", (0.6, 3), (0.2, 8)),
    "flow": _FLOW,
}

_CAM: Table = {
    # Tuned engines without supercharging 270-310 or more: blog "Performance Camshafts".
    "duration": Key("angle", "deg crank", (200, 330), (120, 400), "cam degrees for crank?"),
    "checking_height": Key("length", "mm", (0.05, 1.5), (0.01, 5), "thou or mm?"),
    "second_duration": Key("angle", "deg crank", (140, 310), (60, 400), "cam degrees for crank?"),
    "second_height": Key("length", "mm", (0.2, 2), (0.02, 8), "thou or mm?"),
    "lift": Key("length", "mm", (5, 16), (1, 40), "lobe lift for valve lift?"),
    "lobe_lift": Key("length", "mm", (3.5, 12), (0.8, 40)),
    "rocker_ratio": Key("number", "", (1.0, 1.9), (0.5, 3)),
    "checked_at": Key("choice", choices=("valve", "lobe")),
    "lash": Key("length", "mm", (0.05, 0.5), (0, 1.0), "thou or mm? 0 is a hydraulic lifter"),
    "centreline": Key("point"),
    "opens": Key("point"),
    "closes": Key("point"),
    "lift_file": Key("file"),
    "lift_angles": Key("choice", choices=("cam", "crank")),
    "lift_column": Key("text"),
}

_SLEEVE: Table = {
    "travel": Key("length", "mm", (0, 20), (0, 60)),
    "range": Key("angle", "deg crank", (0, 90), (0, 200)),
    "rate": Key("sleeve rate", "deg crank/mm", (2, 10), (0.5, 40), "cam degrees for crank?"),
    "lead": Key("length", "mm", (72, 360), (18, 1440)),
    "hold": Key("choice", choices=("opening", "closing", "centre")),
    "closing_share": Key("number", "", refuse=(0, 1)),
    # The mechanism, for the mechanical check.
    "helix_radius": Key("length", "mm", (6, 25), (2, 80), "a diameter for a radius?"),
    "friction": Key("number", "", (0.03, 0.25), (0, 1)),
    "axial_play": Key("length", "mm", (0, 0.2), (0, 2)),
    "circumferential_play": Key("length", "mm", (0, 0.2), (0, 2)),
    "splines": Key("whole", ask=(3, 30), refuse=(1, 200)),
    "spline_height": Key("length", "mm", (0.8, 5), (0.1, 20)),
    "spline_length": Key("length", "mm", (8, 60), (1, 300)),
    "shaft_diameter": Key("length", "mm", (10, 35), (4, 100)),
    "shaft_bore": Key("length", "mm", (0, 25), (0, 95)),
    "twisted_length": Key("length", "mm", (20, 600), (1, 3000)),
}

_SPRING: Table = {
    # Worked examples: 445 N seat with 52.5 N/mm ("The Importance of Getting the Right Amount of
    # Spring Pressure"); 534 N seat, 1423 N open on a drag engine (builders' thread).
    "seat_load": Key("force", "N", (120, 700), (20, 2500), "of one valve, in N, lbf or kgf?"),
    "seat_height": Key("length", "mm", (25, 60), (8, 150), "the free height for the installed?"),
    "rate": Key("spring rate", "N/mm", (10, 130), (2, 600), "lbf/in for N/mm?"),
    "open_load": Key("force", "N", (220, 2200), (30, 6000), "of one valve, in N, lbf or kgf?"),
    "open_height": Key("length", "mm", (15, 55), (5, 140)),
    "wire_diameter": Key("length", "mm", (2, 7), (0.5, 15)),
    "coil_diameter": Key("length", "mm", (12, 45), (4, 120), "mean, not outside diameter?"),
    "active_coils": Key("number", "", (3, 9), (1, 30)),
    "coil_bind": Key("length", "mm", (12, 45), (3, 140)),
    "surge_frequency": Key("frequency", "Hz", (250, 1000), (30, 5000), "cpm for Hz?"),
    "mass": Key("mass", "g", (20, 250), (2, 3000)),
}

_TRAIN: Table = {
    "moving_mass": Key("mass", "g", (25, 400), (3, 4000), "of one valve, at the valve?"),
    "stiffness": Key("spring rate", "N/mm", (2000, 150_000), (100, 2e6)),
}

_FOLLOWER: Table = {
    "kind": Key("choice", choices=("flat tappet", "bucket", "finger", "roller")),
    "base_circle_radius": Key("length", "mm", (10, 30), (4, 120), "a diameter for a radius?"),
    "contact_width": Key("length", "mm", (5, 30), (1, 120)),
    "face_diameter": Key("length", "mm", (15, 45), (5, 150)),
    "face_radius": Key("length", "mm", (10, 200), (2, 5000)),
    "roller_radius": Key("length", "mm", (5, 20), (1, 80), "a diameter for a radius?"),
    "offset": Key("length", "mm", (-5, 5), (-40, 40)),
    "materials": Key("choice", choices=MATERIALS),
}

_CLEARANCE: Table = {
    "at_tdc": Key("length", "mm", (1, 12), (0, 60), "with the valve seated?"),
    "angle": Key("point", many="list"),
    "gap": Key("length", "mm", (1, 15), (0, 60), "with the valve seated?", many="list"),
    "measured": Key("choice", choices=("along the valve", "along the bore")),
    "valve_angle": Key("plain angle", "deg", (0, 35), (0, 60), "the angle between the valves?"),
    "floor": Key("choice", choices=("parallel to the valve", "square to the bore")),
}

_SHAFT_ROOM: Table = {
    "between_bearings": Key("length", "mm", (15, 200), (3, 2000)),
    "lobes": Key("whole", ask=(1, 4), refuse=(1, 24)),
    "fixed_per_lobe": Key("length", "mm", (6, 45), (1, 500)),
    "shared_sleeve": Key("switch"),
}

_PHASER: Table = {
    "earliest": Key("angle", "deg crank", refuse=(-180, 180)),
    "latest": Key("angle", "deg crank", refuse=(-180, 180)),
}

_SIDE: Table = {
    "phaser": _PHASER,
    "valve": _VALVE,
    "cam": _CAM,
    "sleeve": _SLEEVE,
    "shaft_room": _SHAFT_ROOM,
    "spring": _SPRING,
    "train": _TRAIN,
    "follower": _FOLLOWER,
    "clearance": _CLEARANCE,
}

_PIPE: Table = {
    "name": Key("text", required=True),
    "side": Key("choice", choices=SIDES, late=True),
    "each": Key("cylinders"),
    "from": Key("text", many="either", late=True),
    "to": Key("text", many="either", late=True),
    "length": Key("length", "mm", refuse=(2, 6000)),
    "stations": Key("length", "mm", refuse=(0, 6000), many="list"),
    "diameter": Key("length", "mm", (15, 130), (4, 300), many="either", late=True),
    "from_mouth": Key("choice", choices=MOUTHS),
    "to_mouth": Key("choice", choices=MOUTHS),
    "end_correction": Key("switch"),
    "wall": Key("temperature", "degC", (-10, 900), (-60, 1200), "degC or degF?"),
    "roughness": Key("length", "mm", (0, 0.5), (0, 3)),
    "heat_multiplier": Key("number", "", (0.5, 3), (0, 10)),
    "friction_multiplier": Key("number", "", (0.5, 3), (0, 10)),
}

_CHAMBER: Table = {
    "name": Key("text", required=True),
    "side": Key("choice", choices=SIDES, late=True),
    "each": Key("cylinders"),
    "volume": Key("volume", "cc", (80, 60_000), (5, 1e6), "litres for cc?", late=True),
    "wall": Key("temperature", "degC", (-10, 900), (-60, 1200), "degC or degF?"),
    "wall_area": Key("area", "cm2", (20, 20_000), (0, 1e6)),
}

_MOVE: Table = {
    "duration": Key("angle", "deg crank", (180, 345), (120, 420), "cam degrees for crank?"),
    "added": Key("angle", "deg crank", (0, 90), (0, 200), "cam degrees for crank?"),
    "travel": Key("length", "mm", (0, 20), (0, 60)),
    "shift": Key("angle", "deg crank", (-40, 40), (-180, 180)),
    "stretch": Key("number", "", (0.8, 1.3), (0.5, 2)),
    "cam": Key("text"),
}

ENGINE_FILE: Table = {
    "engine": _ENGINE,
    "intake": _SIDE,
    "exhaust": _SIDE,
    "valve_pair": {
        "seat_centre_distance": Key("length", "mm", (20, 70), (5, 250)),
        "intake_angle": Key("plain angle", "deg", (-5, 35), (-45, 60)),
        "exhaust_angle": Key("plain angle", "deg", (-5, 35), (-45, 60)),
        "edge_thickness": Key("length", "mm", (0.8, 2.5), (0, 8)),
    },
    # Cam 5 deg early and late is checked by hand: forum thread "Measuring Piston To Valve
    # Clearance".
    "tolerance": {
        "cam": Key("angle", "deg crank", (1, 6), (0, 20), "cam degrees for crank?"),
        "chain_slack": Key("angle", "deg crank", (0, 5), (0, 20)),
        "over_speed": Key("share", "%", (5, 25), (0, 100)),
    },
    "pipe": [_PIPE],
    "chamber": [_CHAMBER],
    "outside": [
        {
            "name": Key("text", required=True),
            "pressure": Key(
                "absolute pressure", "bar", (0.5, 3.5), (0.1, 20), "absolute or gauge?"
            ),
            "temperature": Key("temperature", "degC", (-40, 900), (-60, 1200)),
        }
    ],
    "throttle": {
        "pipe": Key("text", late=True),
        "end": Key("choice", choices=("from", "to")),
        "coefficient": Key("number", "", (0.6, 1), (0.05, 1)),
    },
    # Ask ranges: "Don't Trust Strangers! How Dynos Lie and When to Believe One" (article), the air
    # for which power corrections are meant.
    "air": {
        "pressure": Key("barometer", "mbar", (900, 1050), (500, 1100)),
        "altitude": Key("length", "m", (-100, 2500), (-500, 5000)),
        "temperature": Key("temperature", "degC", (15, 35), (-40, 60)),
        "relative_humidity": Key("share", "%", refuse=(0, 100)),
    },
    "fuel": {
        "name": Key("text"),
        "lambda": Key("number", "", (0.80, 0.95), (0.6, 1.3)),
        "octane": Key("number", "", (85, 110), (60, 130)),
    },
    "burn": {
        "duration_10_90": Key("angle", "deg crank", (12, 45), (5, 120)),
        "half_burned": Key("point"),
        "half_burned_best": Key("point"),
        "completeness": Key("number", "", (0.9, 1), (0.3, 1)),
        # J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, ch. 9: a 5, m 2, and the
        # duration with speed to the power of 0.15 to 0.33 (from memory).
        "wiebe_a": Key("number", "", (3, 8), (1, 20)),
        "wiebe_m": Key("number", "", (1, 4), (0.2, 8)),
        "speed_exponent": Key("number", "", (0.1, 0.5), (0, 1)),
    },
    "friction": {
        "constant": Key("pressure difference", "bar", (0.1, 1.5), (0, 5)),
        "per_peak_pressure": Key("number", "", (0, 0.02), (0, 0.1)),
        "per_piston_speed": Key("friction per speed", "bar/(m/s)", (0, 0.2), (0, 1)),
        "per_piston_speed_squared": Key(
            "friction per speed squared", "bar/(m/s)2", (0, 0.005), (0, 0.1)
        ),
    },
    "walls": {
        "head": Key("temperature", "degC", (100, 350), (0, 600)),
        "piston": Key("temperature", "degC", (120, 400), (0, 700)),
        "liner": Key("temperature", "degC", (70, 250), (0, 500)),
    },
    "setting": [{"label": Key("text"), "intake": _MOVE, "exhaust": _MOVE}],
    "other_cam": [
        {
            "name": Key("text", required=True),
            "side": Key("choice", choices=SIDES, required=True),
        }
        | _CAM
    ],
}
