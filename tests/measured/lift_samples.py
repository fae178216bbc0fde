"""Whole lift sheets in the layouts people use, INVENTED, all of lobes whose durations are known.

The lobe is 9.5 mm * cos(90 deg * c / 68.33)^1.556, c cam degrees from the nose: 264 deg crank at
0.10 mm and 232 at 1.0 mm (closed form, recomputed in the tests).
"""

from __future__ import annotations

import numpy as np

LIFT_MM, BASE_CAM_DEG, EXPONENT = 9.5, 68.33, 1.556


def lift_mm(cam_deg):
    """Lift in mm at cam degrees from the nose."""
    inside = np.clip(np.abs(cam_deg) / BASE_CAM_DEG, 0, 1)
    return LIFT_MM * np.cos(np.radians(90 * inside)) ** EXPONENT * (inside < 1)


def duration_deg(height_mm: float) -> float:
    """Crank degrees above a height, closed form."""
    share = np.degrees(np.arccos((height_mm / LIFT_MM) ** (1 / EXPONENT))) / 90
    return float(4 * BASE_CAM_DEG * share)


def bench_sheet(seed: int = 3, *, ordered: bool = True) -> str:
    """71 rows at 2 deg cam, gauge noise 0.012 mm, four rows missing, three in inches, one spike."""
    random = np.random.default_rng(seed)
    cam = np.arange(-74.0, 75.0, 2.0)
    noisy = lift_mm(cam) + random.normal(0, 0.012, len(cam))
    lines = ["# bench, intake, plain follower" if ordered else "# bench", "angle,lift"]
    for angle, lift in zip(cam, noisy, strict=True):
        if angle in (20, 22, 34, 36):
            continue
        if angle in (-30, -28, 30):
            lines.append(f"{angle:g},{lift / 25.4:.3f}")
        elif angle == -46:
            lines.append(f"{angle:g},{lift + 0.4:.2f}")
        else:
            lines.append(f"{angle:g},{lift:.2f}")
    return "\n".join(lines) + "\n"


def european_sheet(seed: int = 1) -> str:
    """Byte-order mark, semicolons, decimal commas, cam degrees, a remark column, one blank."""
    random = np.random.default_rng(seed)
    lines = ["\ufeff# Nocke 3 Einlass, Stößel flach", "Winkel [°NW];Hub [mm];Bemerkung"]
    for cam in np.arange(-70.0, 71.0, 4.0):
        text = f"{lift_mm(cam) + random.normal(0, 0.006):.2f}"
        remark = {-58.0: "Flanke auf", -50.0: "vergessen"}.get(float(cam), "")
        lines.append(f"{cam:.1f};{'' if cam == -50 else text};{remark}".replace(".", ","))
        if cam == -58:
            lines.append("")
    return "\n".join(lines) + "\n"


def bench_notes(seed: int = 2) -> str:
    """Crank positions in words, inches and thou, a repeat, a blank and a total."""
    random = np.random.default_rng(seed)
    lines = ["Intake #1 - hot lash .008, checked both ways", "crank pos, lift"]
    for after_tdc in range(-40, 281, 5):
        inches = (lift_mm((after_tdc - 110) / 2) + random.normal(0, 0.008)) / 25.4
        if after_tdc < 0:
            where = f"{-after_tdc} BTDC"
        elif after_tdc <= 90:
            where = f"{after_tdc} ATDC" if after_tdc else "TDC"
        elif after_tdc <= 180:
            where = f"{180 - after_tdc} BBDC" if after_tdc < 180 else "BDC"
        else:
            where = f"{after_tdc - 180} ABDC"
        lines.append(f"{where}, {1000 * inches:.0f} thou" if after_tdc == -25 else
                     f"{where}, {inches:.3f}".replace(" 0.", " ."))  # fmt: skip
        if after_tdc == 10:
            lines += [f"{where}, {inches + 0.001:.3f}".replace(" 0.", " ."), ", "]
    return "\n".join([*lines, "max, .374"]) + "\n"


def several_lobes(step: int = 4, start: int = 0, *, seed: int = 4) -> str:
    """Tabs, the whole cycle from firing TDC, two intake lobes and the exhaust, missing as dash."""
    random = np.random.default_rng(seed)
    lines = ["crank_deg\tint_A_mm\tint_B_mm\texh_mm"]
    for crank in range(start, start + 720, step):
        cells = []
        for nose in (470, 471, 250):
            away = (crank - nose + 360) % 720 - 360
            cells.append(f"{max(lift_mm(away / 2) + random.normal(0, 0.006), 0):.2f}")
        if crank in (336, 500):
            cells[1] = "-"
        lines.append("\t".join([str(crank), *cells]))
    return "\n".join(lines) + "\n"
