"""Units by dimension, how people spell them, and the ones that are printed.

References
----------
BIPM, The International System of Units, 9th ed., 2019; NIST SP 811, 2008, appendix B.8 (exact inch,
pound, standard gravity, torr, horsepower; conventional inch of water at 4 degC; from memory).
"""

from __future__ import annotations

_INCH = 0.0254
_POUND = 0.453_592_37
_GRAVITY = 9.806_65
_LBF = _POUND * _GRAVITY
_PSI = _LBF / _INCH**2

_LENGTHS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "um": 1e-6, "in": _INCH, "thou": _INCH / 1000}
_VOLUMES = {"cc": 1e-6, "ml": 1e-6, "l": 1e-3, "m3": 1.0, "mm3": 1e-9, "cu in": _INCH**3}
_PRESSURES = {
    "bar": 1e5,
    "mbar": 100.0,
    "hPa": 100.0,
    "kPa": 1e3,
    "Pa": 1.0,
    "psi": _PSI,
    "inHg": 3386.389,
    "mmHg": 133.322_387,
    "atm": 101_325.0,
}
_WATER = {"inH2O": 249.082, "mmH2O": _GRAVITY}

UNITS: dict[str, dict[str, float]] = {
    "length": _LENGTHS,
    "area": {"mm2": 1e-6, "cm2": 1e-4, "m2": 1.0, "sq in": _INCH**2},
    "volume": _VOLUMES,
    "angle": {"deg crank": 1.0, "deg cam": 2.0},
    "plain angle": {"deg": 1.0},
    "sleeve rate": {
        "deg crank/mm": 1e3,
        "deg cam/mm": 2e3,
        "deg crank/in": 1 / _INCH,
        "deg cam/in": 2 / _INCH,
    },
    "absolute pressure": _PRESSURES,
    "barometer": _PRESSURES,
    "pressure difference": _PRESSURES | _WATER,
    "temperature": {"degC": 1.0, "degF": 5 / 9, "K": 1.0},
    "mass": {"g": 1e-3, "kg": 1.0, "lb": _POUND, "oz": _POUND / 16},
    "speed": {"rpm": 1.0, "1/min": 1.0},
    "velocity": {"m/s": 1.0, "mm/s": 1e-3, "ft/s": 0.3048, "ft/min": 0.3048 / 60},
    "torque": {"Nm": 1.0, "lb-ft": _LBF * 0.3048, "kgf m": _GRAVITY},
    "power": {"kW": 1e3, "W": 1.0, "hp": _LBF * 550 * 0.3048, "PS": 75 * _GRAVITY},
    "force": {"N": 1.0, "kN": 1e3, "lbf": _LBF, "kgf": _GRAVITY},
    "spring rate": {
        "N/mm": 1e3,
        "kN/mm": 1e6,
        "N/m": 1.0,
        "lbf/in": _LBF / _INCH,
        "kgf/mm": _GRAVITY * 1e3,
    },
    "frequency": {"Hz": 1.0, "cpm": 1 / 60},
    "volume flow": {"l/s": 1e-3, "m3/s": 1.0, "m3/h": 1 / 3600, "cfm": 0.3048**3 / 60},
    "specific fuel": {"g/kWh": 1e-3 / 3.6e6, "lb/hp-h": _POUND / (_LBF * 550 * 0.3048 * 3600)},
    "share": {"%": 1e-2},
    "water in air": {"g/kg": 1e-3},
    "friction per speed": {"bar/(m/s)": 1e5, "kPa/(m/s)": 1e3},
    "friction per speed squared": {"bar/(m/s)2": 1e5, "kPa/(m/s)2": 1e3},
}
"""Dimension -> unit -> SI for one of it (crank degrees for angles, rpm for speed)."""

OFFSETS = {"degC": 273.15, "degF": 459.67 * 5 / 9}

SPELLINGS = {
    "inch": "in",
    "inches": "in",
    '"': "in",
    "thousandths": "thou",
    "µm": "um",
    "μm": "um",
    "micron": "um",
    "cm3": "cc",
    "cm³": "cc",
    "ccm": "cc",
    "litre": "l",
    "litres": "l",
    "liter": "l",
    "L": "l",
    "dm3": "l",
    "m³": "m3",
    "in3": "cu in",
    "cui": "cu in",
    "° crank": "deg crank",
    "°crank": "deg crank",
    "crank deg": "deg crank",
    "° cam": "deg cam",
    "°cam": "deg cam",
    "cam deg": "deg cam",
    "°": "deg",
    "degrees": "deg",
    "degree": "deg",
    "deg.": "deg",
    "° crank/mm": "deg crank/mm",
    "° cam/mm": "deg cam/mm",
    "°/mm": "deg/mm",
    "°C": "degC",
    "C": "degC",
    "°F": "degF",
    "F": "degF",
    "lbs": "lb",
    "rev/min": "rpm",
    "RPM": "rpm",
    "N m": "Nm",
    "lb ft": "lb-ft",
    "lbf ft": "lb-ft",
    "ft-lb": "lb-ft",
    "ft lb": "lb-ft",
    "PSI": "psi",
    "lb/in": "lbf/in",
    "kg/mm": "kgf/mm",
    "hz": "Hz",
    "cycles/min": "cpm",
    "percent": "%",
    "mm²": "mm2",
    "cm²": "cm2",
    "bar/(m/s)²": "bar/(m/s)2",
    "kPa/(m/s)²": "kPa/(m/s)2",
}

EXAMPLES: dict[str, str] = {
    "length": "9.8 mm",
    "area": "850 mm2",
    "volume": "900 cc",
    "angle": "260 deg crank",
    "plain angle": "45 deg",
    "sleeve rate": "5.0 deg crank/mm",
    "absolute pressure": "1.02 bar abs",
    "barometer": "1013 mbar",
    "pressure difference": "28 inH2O",
    "temperature": "25 degC",
    "mass": "95 g",
    "speed": "6500 rpm",
    "velocity": "40 mm/s",
    "torque": "150 Nm",
    "power": "90 kW",
    "force": "250 N",
    "spring rate": "32 N/mm",
    "frequency": "500 Hz",
    "volume flow": "64.1 cfm",
    "specific fuel": "270 g/kWh",
    "share": "55 %",
    "water in air": "8 g/kg",
    "friction per speed": "0.09 bar/(m/s)",
    "friction per speed squared": "0.0009 bar/(m/s)2",
}
"""One well-written quantity of each dimension, for messages."""

PRINTED: dict[str, tuple[str, str]] = {
    "length": ("mm", "in"),
    "area": ("mm2", "sq in"),
    "volume": ("cc", "cu in"),
    "angle": ("deg crank", "deg crank"),
    "plain angle": ("deg", "deg"),
    "sleeve rate": ("deg crank/mm", "deg crank/in"),
    "absolute pressure": ("bar", "psi"),
    "barometer": ("mbar", "inHg"),
    "pressure difference": ("bar", "psi"),
    "temperature": ("degC", "degF"),
    "mass": ("g", "oz"),
    "speed": ("rpm", "rpm"),
    "velocity": ("m/s", "ft/s"),
    "torque": ("Nm", "lb-ft"),
    "power": ("kW", "hp"),
    "force": ("N", "lbf"),
    "spring rate": ("N/mm", "lbf/in"),
    "frequency": ("Hz", "cpm"),
    "volume flow": ("l/s", "cfm"),
    "specific fuel": ("g/kWh", "lb/hp-h"),
    "share": ("%", "%"),
    "water in air": ("g/kg", "g/kg"),
    "friction per speed": ("bar/(m/s)", "bar/(m/s)"),
    "friction per speed squared": ("bar/(m/s)2", "bar/(m/s)2"),
}
