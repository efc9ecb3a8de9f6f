"""
Print what each binning pattern and domain costs and gives, from the closed forms.

``python -m tests.bench.binning_table`` prints the table of ``linesim/forward/README.md``. Light and
SNR in the dark are at one exposure time for all patterns; what a full exposure at the matched rate
adds is a column of its own, and the MTF is at full exposure.
"""

from functools import cache
from pathlib import Path
from typing import Any

from linesim.figures.budget import Budget, budget
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup

SPEED_MM_S = 1000.0
DARK_E, BRIGHT_SHARE = 25.0, 0.9
METRE_UM = 1e6
EXPOSURE = "70 us"
"""The same for all patterns, within the 75 us that a single pixel has at the matched rate."""

STATION: dict[str, Any] = {
    "title": "binning table",
    "target": {"image": "flat", "pixel_size": "20 um", "white_reflectance": 0.8},
    "transport": {"speed": f"{SPEED_MM_S} mm/s"},
    "lens": {"magnification": 0.1, "f_number": 4.0},
    "light": {"illuminance": "1 klx"},
    "camera": {
        "pixels": 2048,
        "pixel_width": "7.5 um",
        "rows": 4,
        "read_noise": "10 e",
        "full_well": "40 ke",
        "binned_full_well": "80 ke",
        "bit_depth": 14,
        "gain": "0.2 DN/e",
    },
    "acquisition": {"exposure": EXPOSURE},
}
PATTERNS = (
    ("1x1", "rows"),
    ("2x1", "rows"),
    ("1x2", "rows"),
    ("2x2", "rows"),
    ("1x2", "lines"),
    ("2x2", "lines"),
    ("4x4", "rows"),
)
DOMAINS = (("charge", "sum"), ("digital", "sum"), ("digital", "average"))
COLUMNS = (
    "pattern",
    "domain",
    "light",
    "light, full exposure",
    "SNR in the dark",
    "SNR at 90 %",
    "which is (limit)",
    "width px",
    "matched Hz",
    "square Hz",
    "lines a metre",
    "MTF across",
    "MTF along",
)


def electrons(setup: Setup) -> float:
    """Signal of a delivered pixel on white. [e]."""
    return budget(setup).number("signal", "electrons_white")


@cache
def single_e(exposure: str = EXPOSURE) -> float:
    """Signal of a single pixel in a kilolux. [e]."""
    return electrons(changed(setup_from(STATION, Path()), {"acquisition.exposure": exposure}))


def at_light(setup: Setup, share: float) -> Budget:
    """Work out the budget in so many times the light of the dark case."""
    lux = share * DARK_E / (single_e() / 1000)
    return budget(changed(setup, {"light.illuminance": f"{lux:.9g} lx"}))


def row(pattern: tuple[str, str], domain: tuple[str, str]) -> str:
    """Work out one row."""
    setup = changed(
        setup_from(STATION, Path()),
        {
            "acquisition.binning": pattern[0],
            "acquisition.binning_along": pattern[1],
            "acquisition.binning_domain": domain[0],
            "acquisition.binning_mode": domain[1],
        },
    )
    dark = at_light(setup, 1.0)
    bright = at_light(setup, BRIGHT_SHARE / dark.number("signal", "saturation_white"))
    full = budget(changed(setup, {"acquisition.exposure": "full"}))
    ways = f" {pattern[1]}" if pattern[0][-1] != "1" else ""
    place, limit = dark["geometry"], bright["signal"]["saturation_limit"]
    cells = (
        pattern[0] + ways,
        domain[0] + ("" if domain[0] == "charge" else f" {domain[1]}"),
        f"{dark.number('signal', 'electrons_white') / DARK_E:.3g}",
        f"{full.number('signal', 'electrons_white') / single_e('full'):.3g}",
        f"{dark.number('signal', 'snr_white'):.2f}",
        f"{bright.number('signal', 'snr_white'):.0f}",
        f"{bright.number('signal', 'electrons_white') / 1000:.3g} ke ({limit})",
        f"{place['image_width_px']}",
        f"{place['matched_line_rate_hz']:.0f}",
        f"{place['square_line_rate_hz']:.0f}",
        f"{METRE_UM / dark.number('geometry', 'line_advance_um'):.0f}",
        f"{full.number('resolution', 'mtf_nyquist_x'):.2f}",
        f"{full.number('resolution', 'mtf_nyquist_y'):.2f}",
    )
    return "| " + " | ".join(cells) + " |"


def table() -> list[str]:
    """Work out all rows; a pattern that a domain cannot have is left out."""
    rows = [f"| {' | '.join(COLUMNS)} |", "|" + "---|" * len(COLUMNS)]
    for pattern in PATTERNS:
        for domain in DOMAINS:
            alone = pattern[0] == "1x1" and domain[0] == "digital"
            if not alone and not (pattern[1] == "lines" and domain[0] == "charge"):
                rows.append(row(pattern, domain))
    return rows


if __name__ == "__main__":
    print("\n".join(table()))  # noqa: T201 -- a program for the console
