"""
How often the 95 % intervals of a measured camera hold the truth: 400 looks at one camera.

Run by hand: ``.venv/bin/python tests/bench/camera_intervals.py``. Each look is a series of
simulated frames with a seed of its own, written to files and read by `measure_camera`; the camera,
its fixed pattern included, stays. An interval of 95 % holds the truth in 380 of 400 looks, and in
362 to 396 within 4 standard deviations of the binomial law, √(400·0.95·0.05) = 4.36. A figure whose
truth is 0 and that cannot be less misses on one side only: 97.5 %, 390 of 400, 377 to 400.
"""

import csv
import sys
import tempfile
from pathlib import Path

import numpy as np

from linesim.files.images_out import write_tiff
from linesim.forward.collect import pattern
from linesim.forward.station import station
from linesim.metrics.interval import Interval
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.camera.study import measure_camera
from linesim.studies.scan.study import scan

LOOKS, LINES, WIDTH = 400, 48, 96
SHARES = (0.04, 0.08, 0.15, 0.25, 0.35, 0.45, 0.5, 0.55, 0.65, 0.75, 0.85, 0.9, 1.1)
DARKS_US = (20.0, 40.0, 60.0, 75.0)
SATURATED = 0.9
BOTH_SIDES, ONE_SIDE = (362, 396), (377, 400)

CAMERA = setup_from(
    {
        "title": "Looked at 400 times",
        "target": {"image": "flat", "pixel_size": "75 um", "width": "10 mm", "height": "10 mm"},
        "transport": {"speed": "60 m/min"},
        "lens": {"magnification": 0.1},
        "light": {"irradiance": "1 W/m^2", "spectrum": {"peak": "530 nm", "width": "20 nm"}},
        "camera": {
            "pixels": WIDTH,
            "pixel_width": "7.5 um",
            "quantum_efficiency": 0.5,
            "read_noise": "15 e",
            "dark_current": "2 Me/s",
            "gain": "0.1 DN/e",
            "black_level": "100 DN",
            "full_well": "60 ke",
            "dsnu": "20 e",
            "prnu": 0.01,
            "pattern_seed": 5,
        },
        "acquisition": {"lines": 2 * LINES, "exposure": "20 us"},
    }
)


def write_look(folder: Path, seed: int) -> Path:
    """Write the frames of one look and their table."""
    numbers = station(CAMERA)
    per_watt = float(numbers.electrons_white), float(numbers.irradiance_sensor_w_m2)
    full_e = float(numbers.saturation_e)
    rows: list[tuple[object, ...]] = []
    for place, share in enumerate(SHARES):
        watt = full_e * share / per_watt[0]
        lit = changed(CAMERA, {"light.irradiance": f"{watt!r} W/m^2"})
        rows += frames(folder, lit, seed * 100 + place, ("flat", 20.0, watt * per_watt[1]))
    for place, exposure_us in enumerate(DARKS_US):
        dark = {"light.irradiance": "0 W/m^2", "acquisition.exposure": f"{exposure_us} us"}
        shut = changed(CAMERA, dark)
        rows += frames(folder, shut, seed * 100 + 50 + place, ("dark", exposure_us, 0))
    table = folder / "series.csv"
    with table.open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(("file", "kind", "exposure_us", "irradiance_w_m2"))
        writer.writerows(rows)
    return table


def frames(
    folder: Path, setup: Setup, seed: int, cells: tuple[object, ...]
) -> list[tuple[object, ...]]:
    """Write two frames of the same light; give their rows of the table."""
    halves = scan(setup, seed=seed, workers=1).image.reshape(2, LINES, WIDTH)
    names = [f"{seed % 100:02d}_{half}.tif" for half in range(2)]
    for name, image in zip(names, halves, strict=True):
        write_tiff(folder / name, image)
    return [(name, *cells) for name in names]


def truths() -> dict[str, float]:
    """Say what the camera is, its drawn pattern's own deviations and means included."""
    drawn = pattern(CAMERA, 0)
    response, offset_e = drawn.response[0], drawn.offset_e[0]
    full_e = float(station(CAMERA).saturation_e)
    mean = float(response.mean())
    half_e = SATURATED / 2 * full_e
    shared = np.cov(response, offset_e, bias=True)
    nearest_e = full_e * min(SHARES, key=lambda share: abs(share * full_e - half_e))
    dark_e2 = 15.0**2 + 40.0
    dark_dn2 = 0.01 * dark_e2 + 1 / 12
    threshold = float(np.sqrt(dark_dn2 / 0.01 + 0.25) + 0.5)
    saturation = SATURATED * full_e * mean
    return {
        "gain_dn_e": 0.1,
        "gain_free_offset_dn_e": 0.1,
        "responsivity_dn": 0.1 * 0.5 * mean,
        "efficiency": 0.5 * mean,
        "dark_noise_dn": float(np.sqrt(dark_dn2)),
        "dark_noise_e": float(np.sqrt(dark_e2)),
        "read_noise_e": 15.0,
        "black_level_dn": 100 + 0.1 * float(offset_e.mean()),
        "dark_current_mean_e_s": 2e6,
        "dark_current_variance_e_s": 2e6,
        "dark_current_gap_e_s": 0.0,
        "threshold_e": threshold,
        "threshold_light": threshold / (0.5 * mean),
        "threshold_release_3_e": float(np.sqrt(dark_dn2 / 0.01)) + 0.5,
        "saturation_e": saturation,
        "saturation_dn": 0.1 * saturation,
        "snr_max": float(np.sqrt(saturation)),
        "snr_max_db": float(10 * np.log10(saturation)),
        "dynamic_range": saturation / threshold,
        "dynamic_range_db": float(20 * np.log10(saturation / threshold)),
        "linearity_error": 0.0,
        "dsnu total": float(offset_e.std()),
        "dsnu column": float(offset_e.std()),
        "dsnu row": 0.0,
        "dsnu pixel": 0.0,
        "prnu total": float(np.sqrt(shared[0, 0] + 2 * shared[0, 1] / nearest_e) / mean),
        "prnu column": float(np.sqrt(shared[0, 0] + 2 * shared[0, 1] / nearest_e) / mean),
        "prnu row": 0.0,
        "prnu pixel": 0.0,
    }


def told(found: MeasuredCamera) -> dict[str, Interval]:
    """Give the intervals under the names of the truths."""
    assert found.transfer.saturation.rule == "share"
    assert found.linearity is not None
    parts = {
        f"{name} {part}": getattr(split, part)
        for name, split in (("dsnu", found.dsnu_e), ("prnu", found.prnu))
        for part in ("total", "column", "row", "pixel")
    }
    line = found.linearity.linearity_error
    return {**found.transfer.figures, "linearity_error": line, **parts}


def look_at(seed: int) -> dict[str, Interval]:
    """Make the frames of one look, and measure them."""
    with tempfile.TemporaryDirectory() as folder:
        table = write_look(Path(folder), seed)
        return told(measure_camera(table, wavelength_nm=530, pixel_width_um=7.5))


def row(name: str, truth: float, looks: list[Interval]) -> tuple[str, bool]:
    """Count the looks that hold the truth; tell whether that many do."""
    held = sum(each.low <= truth <= each.high for each in looks)
    errors = [
        2 * (each.value - truth) / (each.high - each.low) for each in looks if each.high > each.low
    ]
    low, high = BOTH_SIDES if truth or "gap" in name else ONE_SIDE
    right = len(looks) != LOOKS or low <= held <= high
    numbers = f"{truth:>14.6g}{held:>6}{np.mean(errors):>9.3f}{np.std(errors):>8.3f}"
    return f"{name:<28}{numbers}  {'' if right else f'OUT of {low} to {high}'}".rstrip(), right


def main(looks: int) -> int:
    """Look, count, print the table; give 1 where a count is out of its range."""
    seen = [look_at(seed) for seed in range(looks)]
    table = [row(name, truth, [each[name] for each in seen]) for name, truth in truths().items()]
    head = f"{'figure':<28}{'truth':>14}{'held':>6}  error / half-interval: mean, sd"
    lines = [head, *(line for line, _ in table)]
    print("\n".join(lines))  # noqa: T201 -- the table is the output
    return int(not all(right for _, right in table))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else LOOKS))
