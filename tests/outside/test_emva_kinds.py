"""
Cameras of every binning pattern, evaluated as EMVA 1288 R4.0 RC (March 2021) evaluates a camera.

Series of simulated flat frames go through photon transfer (18)(50), dark noise (53) and the split
of the spatial variance (33) to (44); what comes out must be what the setup says (derived). First,
the evaluation itself meets verification data set 003 of the working group: its frames, reduced by
(16) and (18) to means and variances, and what the group's own open-source evaluation read off them
(run once; its version was not noted).
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from linesim.forward.collect import pattern
from linesim.forward.station import Station, station
from linesim.metrics.camera.transfer import dark_noise, photon_transfer, responsivity
from linesim.metrics.flat.noise import Estimate, frame_figures
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from tests.emva import CameraFigures, camera_figures
from tests.stations import plain_setup

LINES, WIDTH = 320, 192

# 15 e of read noise are 1.5 DN, so that rounding is a plain 1/12 DN² in every pattern below
BASE = plain_setup(
    "Camera kinds",
    target={"pixel_size": "75 um", "width": "15 mm", "height": "15 mm"},
    light={"irradiance": "1 W/m^2", "illuminance": None},
    camera={
        "pixels": WIDTH,
        "read_noise": "15 e",
        "gain": "0.1 DN/e",
        "black_level": "100 DN",
        "full_well": "40 ke",
        "dsnu": "20 e",
        "prnu": 0.01,
        "pattern_seed": 5,
    },
    acquisition={"lines": 2 * LINES, "exposure": "20 us"},
)

# mean [DN] and temporal variance [DN²] against photons, the first 33 of the set (0 to 70 %)
SET_003 = np.array(
    [
        (0.0, 29.40627441, 9.07799974),
        (1659.7, 111.45609, 17.24754),
        (3319.3, 193.51130, 25.42961),
        (4979.0, 275.56074, 33.70036),
        (6638.6, 357.62198, 41.96479),
        (8298.3, 439.66475, 49.94953),
        (9958.0, 521.71494, 58.28404),
        (11617.6, 603.74386, 66.23714),
        (13277.3, 685.76569, 74.22349),
        (14936.9, 767.79824, 82.85276),
        (16596.6, 849.81616, 91.02812),
        (18256.3, 931.80554, 99.14376),
        (19915.9, 1013.78166, 107.10808),
        (21575.6, 1095.71567, 115.22036),
        (23235.2, 1177.63693, 123.21677),
        (24894.9, 1259.53685, 132.04777),
        (26554.6, 1341.37897, 139.82285),
        (28214.2, 1423.18764, 147.82017),
        (29873.9, 1504.98880, 155.57228),
        (31533.5, 1586.68341, 163.62653),
        (33193.2, 1668.34640, 171.47236),
        (34852.9, 1749.93929, 179.28918),
        (36512.5, 1831.50106, 187.10766),
        (38172.2, 1912.93607, 195.16190),
        (39831.8, 1994.31242, 202.27792),
        (41491.5, 2075.57141, 210.05833),
        (43151.2, 2156.74884, 216.90956),
        (44810.8, 2237.82293, 224.94632),
        (46470.5, 2318.79765, 232.08060),
        (48130.1, 2399.58324, 239.04034),
        (49789.8, 2480.32383, 246.51645),
        (51449.5, 2560.88240, 253.87863),
        (53109.1, 2641.26149, 260.72673),
        (54768.8, 2721.48584, 267.95912),
    ]
)


def test_verification_set_of_the_standard() -> None:
    """
    Set 003 (η 0.5, K 0.1, σ_d 30 e, slightly non-linear), 640 x 480 pixels.

    Its working group's open evaluation gives K 0.0978587929, R 0.0492903166 DN/photon, QE 50.3688 %
    and σ_d 30.6473 e from the frames; means and variances are rounded here to 8 digits, which
    moves K by 6e-9 of itself.
    """
    photons, mean_dn, variance_dn2 = SET_003.T
    gain = photon_transfer(mean_dn, variance_dn2, saturation_dn=1e4, samples=640 * 480)
    response = responsivity(mean_dn, photons, saturation_dn=1e4)
    assert gain.value == pytest.approx(0.0978587929, rel=1e-8)
    assert response == pytest.approx(0.0492903166, rel=3e-9)
    assert 100 * response / gain.value == pytest.approx(50.3688, abs=5e-5)
    dark = dark_noise(Estimate(value=9.07799974, sd=0.0), gain)
    assert dark.value == pytest.approx(30.6473, abs=5e-5)


def lit(setup: Setup, signal_e: float) -> Setup:
    """Turn the light until white gives a delivered pixel a wanted signal."""
    per_watt_e = station(changed(setup, {"light.irradiance": "1 W/m^2"})).electrons_white
    return changed(setup, {"light.irradiance": f"{float(signal_e / per_watt_e)!r} W/m^2"})


def two_frames(setup: Setup, signal_e: float, seed: int) -> NDArray[np.uint16]:
    """Render two frames of the same light, shape (2, lines, columns). [DN]."""
    image = scan(lit(setup, signal_e), seed=seed).image
    return image.reshape(2, LINES, -1)


def series(setup: Setup) -> list[NDArray[np.uint16]]:
    """Render frames in the dark and at five steps up to 60 % of saturation, the fourth at half."""
    full_e = float(station(setup).saturation_e)
    return [
        two_frames(setup, full_e * step, k) for k, step in enumerate((0, 0.1, 0.2, 0.3, 0.5, 0.6))
    ]


def binned(shape: str, domain: str, mode: str = "sum", along: str = "rows") -> Setup:
    """Give a variant of the camera that delivers as many columns as before."""
    return changed(
        BASE,
        {
            "acquisition.binning": shape,
            "acquisition.binning_domain": domain,
            "acquisition.binning_mode": mode,
            "acquisition.binning_along": along,
            "camera.pixels": WIDTH * int(shape[0]),
        },
    )


def staged(setup: Setup) -> Setup:
    """Give a variant with four stages of time-delay integration."""
    return changed(setup, {"camera.tdi_stages": 4})


# name, setup, pixels and stages joined, successive lines joined, conversions, divided by
SHAPES = (("2x1", 2, 1), ("1x2", 1, 2), ("2x2", 2, 2))
KINDS = [
    ("1x1", BASE, 1, 1, 1, 1),
    ("8 stages", changed(BASE, {"camera.tdi_stages": 8}), 8, 1, 1, 1),
    ("4 stages, charge 2x2", staged(binned("2x2", "charge")), 16, 1, 1, 1),
    ("4 stages, average 2x1", staged(binned("2x1", "digital", "average")), 8, 1, 2, 2),
    *((f"charge {s}", binned(s, "charge"), x * y, 1, 1, 1) for s, x, y in SHAPES),
    *((f"sum {s}", binned(s, "digital"), x * y, 1, x * y, 1) for s, x, y in SHAPES),
    *(
        (f"average {s}", binned(s, "digital", "average"), x * y, 1, x * y, x * y)
        for s, x, y in SHAPES
    ),
    ("lines 1x2", binned("1x2", "digital", "sum", "lines"), 1, 2, 2, 1),
    ("lines 2x2", binned("2x2", "digital", "sum", "lines"), 2, 2, 4, 1),
    ("lines 2x2, average", binned("2x2", "digital", "average", "lines"), 2, 2, 4, 4),
]


def as_drawn(setup: Setup, lines: int, signal_e: float) -> tuple[float, float]:
    """DSNU [e] and PRNU that the drawn pattern of the rows that join gives its columns."""
    drawn = pattern(setup, 0).joined(setup.acquisition.binning.across)
    response, offset_e = drawn.response[0], lines * drawn.offset_e[0]
    shared = np.cov(response, offset_e, bias=True)
    prnu = np.sqrt(shared[0, 0] + 2 * shared[0, 1] / signal_e) / response.mean()
    return float(offset_e.std()), float(prnu)


@pytest.mark.parametrize(
    ("setup", "joined", "lines", "reads", "divided"),
    [k[1:] for k in KINDS],
    ids=[k[0] for k in KINDS],
)
def test_a_camera_is_what_its_setup_says(
    setup: Setup, joined: int, lines: int, reads: int, divided: int
) -> None:
    """
    K, σ_d, DSNU and PRNU within 4 standard errors, pattern in the columns, none elsewhere.

    K is the setup's, over n for an average of n. In the dark σ_y² = (K/a)²·r·σ² + r/(12a²), a what
    the sum is divided by and r the conversions, and (1 − 1/a²)/12 from rounding a mean of a whole
    numbers, whose fraction takes the a values 0, 1/a, … alike; (53) takes one 1/12 off. DSNU and
    PRNU of the columns are the drawn pattern's own: d offsets and r responses give
    S²·var r + 2·S·cov(r, d) between dark and half saturation. They must also be those of the make,
    √n·DSNU and PRNU/√n for n independent pixels, and successive lines share theirs: within
    4/√(2·192), the spread of a standard deviation from 192 columns. So must the closed form.
    """
    numbers = station(setup)
    full_e, gain = float(numbers.saturation_e), 0.1 / divided
    dark, *steps = series(setup)
    found = camera_figures(dark, steps, saturation_dn=gain * full_e)
    dark_dn2 = gain**2 * reads * 15**2 + reads / (12 * divided**2) + (1 - divided**-2) / 12
    near(found.gain_dn_e, gain)
    near(found.dark_noise_e, np.sqrt(dark_dn2 - 1 / 12) / gain)
    dsnu_e, prnu = as_drawn(setup, lines, full_e / 2)
    for split, truth in ((found.dsnu_e, dsnu_e), (found.prnu, prnu)):
        near(split.column, truth)
        near(split.total, truth)
    for frames in (dark, *steps):
        has_columns_only(frames)
    make = 4 / np.sqrt(2 * WIDTH)
    assert found.dsnu_e.column.value == pytest.approx(20 * lines * np.sqrt(joined), rel=make)
    assert found.prnu.column.value == pytest.approx(0.01 / np.sqrt(joined), rel=make)
    closed_form_agrees(numbers, found, full_e / 2)
    assert (gain * numbers.noise_e(0.0)) ** 2 == pytest.approx(dark_dn2, rel=1e-12)


def near(found: Estimate, truth: float) -> None:
    """Hold a figure to 4 of its standard errors, and these to be small enough to tell."""
    assert found.value == pytest.approx(truth, abs=4 * found.sd)
    assert found.sd < 0.03 * truth


def has_columns_only(frames: NDArray[np.uint16]) -> None:
    """Hold the spatial variance of rows and of pixels to 0, within 4 standard errors."""
    parts = frame_figures(frames).spatial_dn2
    for part in (parts.row, parts.pixel):
        assert part.value == pytest.approx(0.0, abs=4 * part.sd)
    assert parts.column.value > 20 * parts.column.sd


def closed_form_agrees(numbers: Station, found: CameraFigures, half_e: float) -> None:
    """Hold the closed form's fixed pattern, dark and lit, to the spread of 192 columns."""
    for signal_e in (0.0, half_e):
        fixed_e = np.sqrt(numbers.total_noise_e(signal_e) ** 2 - numbers.noise_e(signal_e) ** 2)
        seen_e = np.hypot(found.dsnu_e.column.value, found.prnu.column.value * signal_e)
        assert seen_e == pytest.approx(fixed_e, rel=4 / np.sqrt(2 * WIDTH))
