"""Binning of charge and of numbers: signal to noise, where it clips, and how a mean is rounded."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from linesim.budget.budget import budget
from linesim.forward.binning import join_numbers
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.metrics.noise import flat_figures
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup

LINES, WIDTH = 256, 128
EVEN = ArrayReference(data=np.ones((4, 4), dtype=np.float32), pixel_size_um=75.0)

BASE = setup_from(
    {
        "title": "Binning domains",
        "target": {"image": "flat", "pixel_size": "75 um", "width": "9 mm", "height": "9 mm"},
        "transport": {"speed": "60 m/min"},
        "lens": {"magnification": 0.1},
        "light": {"irradiance": "1 W/m^2"},
        "camera": {
            "pixels": WIDTH,
            "pixel_width": "7.5 um",
            "read_noise": "10 e",
            "gain": "1 DN/e",
            "black_level": "200 DN",
            "full_well": "40 ke",
            "binned_full_well": "90 ke",
            "bit_depth": 16,
        },
        "acquisition": {"exposure": "15 us"},
    }
)


def lit(setup: Setup, pixel_e: float) -> Setup:
    """Turn the light until a physical pixel on white gets so many electrons."""
    per_watt_e = station(changed(setup, {"light.irradiance": "1 W/m^2"})).pixel_white_e
    return changed(setup, {"light.irradiance": f"{float(pixel_e / per_watt_e)!r} W/m^2"})


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


def image_of(setup: Setup, lines: int = LINES, seed: int = 1) -> NDArray[np.uint16]:
    """Render some lines of an even white target."""
    return render(setup, EVEN, lines, seed).image


WAYS = [
    ("charge", "sum", "rows"),
    ("digital", "sum", "rows"),
    ("digital", "average", "rows"),
    ("digital", "sum", "lines"),
    ("digital", "average", "lines"),
]


@pytest.mark.parametrize("pixel_e", [25.0, 1000.0])
@pytest.mark.parametrize("shape", ["2x1", "1x3", "3x2", "4x4"])
@pytest.mark.parametrize(("domain", "mode", "along"), WAYS)
def test_signal_to_noise_in_the_image(
    domain: str, mode: str, along: str, shape: str, pixel_e: float
) -> None:
    """
    σ = 10 e, n pixels of S electrons: nS/√(nS + σ²) for charge, nS/√(nS + nσ²) for numbers.

    1 DN/e adds 1/12 e² a conversion, and rounding a mean of n whole numbers (n² − 1)/12 e². The
    image's SNR is known to √(1/2N + 1/(SNR²·N)) of itself, N samples; within 4 of these. At S = 25
    the two domains then stand 25 of these apart at the least.
    """
    setup = lit(binned(shape, domain, mode, along), pixel_e)
    joined = int(shape[0]) * int(shape[2])
    reads = joined if domain == "digital" else 1
    divided = joined if mode == "average" else 1
    noise_e2 = joined * pixel_e + reads * (100 + 1 / 12) + (divided**2 - 1) / 12
    found = flat_figures(image_of(setup))
    # half up: the values 0, 1/n, … (n − 1)/n of a mean's fraction are rounded by 1/2n on average
    signal_dn = found.mean_dn - 200 - (divided - 1) / divided**1 * 0.5 / max(divided - 1, 1)
    snr = signal_dn / found.temporal_noise_dn
    expected = joined * pixel_e / np.sqrt(noise_e2)
    spread = np.sqrt((0.5 + 1 / expected**2) / (LINES * WIDTH))
    assert snr == pytest.approx(expected, rel=4 * spread)
    assert signal_dn == pytest.approx(
        joined * pixel_e / divided, rel=4 / (expected * np.sqrt(LINES * WIDTH))
    )
