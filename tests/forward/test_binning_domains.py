"""Binning of charge and of numbers: signal to noise, where it clips, and how a mean is rounded."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from linesim.figures.budget import budget
from linesim.forward.binning import JoinNumbers
from linesim.forward.conversion import Conversion
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.metrics.flat.noise import flat_figures
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

LINES, WIDTH = 256, 128
EVEN = ArrayReference(data=np.ones((4, 4), dtype=np.float32), pixel_size_um=75.0)

BASE = plain_setup(
    "Binning domains",
    target={"pixel_size": "75 um", "width": "9 mm", "height": "9 mm"},
    light={"irradiance": "1 W/m^2", "illuminance": None},
    camera={
        "pixels": WIDTH,
        "read_noise": "10 e",
        "gain": "1 DN/e",
        "black_level": "200 DN",
        "full_well": "40 ke",
        "binned_full_well": "90 ke",
        "bit_depth": 16,
    },
    acquisition={"exposure": "15 us"},
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


def lift_dn(divided: int) -> float:
    """Mean of rounding half up over the fractions 0, 1/n, … (n − 1)/n: 1/2n where n is even."""
    fraction = np.arange(divided) / divided
    return float((np.floor(fraction + 0.5) - fraction).mean())


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
    the two domains stand over 50 of these apart.
    """
    setup = lit(binned(shape, domain, mode, along), pixel_e)
    joined = int(shape[0]) * int(shape[2])
    reads = joined if domain == "digital" else 1
    divided = joined if mode == "average" else 1
    noise_e2 = joined * pixel_e + reads * (100 + 1 / 12) + (divided**2 - 1) / 12
    found = flat_figures(image_of(setup))
    signal_dn = found.mean_dn - 200 - lift_dn(divided)
    snr = signal_dn / found.temporal_noise_dn
    expected = joined * pixel_e / np.sqrt(noise_e2)
    spread = np.sqrt((0.5 + 1 / expected**2) / (LINES * WIDTH))
    assert snr == pytest.approx(expected, rel=4 * spread)
    assert signal_dn == pytest.approx(
        joined * pixel_e / divided, rel=4 / (expected * np.sqrt(LINES * WIDTH))
    )


@pytest.mark.parametrize(
    ("pixel_e", "shape", "alone", "charge", "digital"),
    [
        (1000, "2x1", 30.1511, 43.6436, 42.6401),
        (1000, "2x2", 30.1511, 62.4695, 60.3023),
        (25, "1x2", 2.23607, 4.08248, 3.16228),
        (25, "2x2", 2.23607, 7.07107, 4.47214),
        (100, "2x2", 7.07107, 17.8885, 14.1421),
    ],
)
def test_table_of_gains(
    pixel_e: float, shape: str, alone: float, charge: float, digital: float
) -> None:
    """
    σ = 10 e: S/√(S + σ²), nS/√(nS + σ²), nS/√(nS + nσ²), calculated apart to six digits.

    From EMVA 1288 R4.0 RC, (21), with one σ_d or n. 1000 DN/e leave 1/(12K²) = 8e-8 e².
    """
    setups = {("1x1", "charge", "sum", "rows"): alone, (shape, *WAYS[0]): charge}
    setups |= {(shape, *way): digital for way in WAYS[1:]}
    for (each, domain, mode, along), snr in setups.items():
        fine = changed(binned(each, domain, mode, along), {"camera.gain": "1000 DN/e"})
        assert budget(lit(fine, pixel_e))["signal"]["snr_white"] == pytest.approx(snr, rel=5e-6)


@pytest.mark.parametrize(("domain", "power"), [("charge", 1.0), ("digital", 0.5)])
def test_limits_of_the_gains(domain: str, power: float) -> None:
    """
    Far under the read noise charge gains n and numbers √n; far over it every domain gains √n.

    The terms left out are S/σ² = 1e-5 and σ²/S = 1e-5 of the variance, times n.
    """
    for pixel_e, gain in ((1e-3, 9**power), (1e7, 3.0)):
        found = [
            float(
                budget(lit(changed(setup, {"camera.gain": "1000 DN/e"}), pixel_e))["signal"][
                    "snr_white"
                ]
            )
            for setup in (BASE, binned("3x3", domain))
        ]
        assert found[1] / found[0] == pytest.approx(gain, rel=9e-5)


SMALL = {"camera.full_well": "5 ke"}
# name, setup, what is full [e], which limit
FULL = [
    ("charge, wells", changed(binned("2x2", "charge"), SMALL), 20_000, "pixel"),
    ("sum, wells", changed(binned("2x2", "digital"), SMALL), 20_000, "pixel"),
    ("average, wells", changed(binned("2x2", "digital", "average"), SMALL), 20_000, "pixel"),
    ("lines, wells", changed(binned("1x2", "digital", "sum", "lines"), SMALL), 10_000, "pixel"),
    ("numbers meet no node",
     changed(binned("2x1", "digital"), {**SMALL, "camera.binned_full_well": "6 ke"}),
     10_000, "pixel"),
    ("charge, node", changed(binned("2x2", "charge"), {"camera.binned_full_well": "30 ke"}),
     30_000, "binned"),
    ("charge, node larger than a well",
     changed(binned("2x2", "charge"),
      {"camera.full_well": "10 ke", "camera.binned_full_well": "30 ke"}), 30_000, "binned"),
    ("charge, scale", binned("2x2", "charge"), 65_335, "scale"),
    ("sum, scale", binned("2x2", "digital"), 65_335, "scale"),
    ("lines, scale", binned("2x2", "digital", "sum", "lines"), 65_335, "scale"),
    ("average, scale", changed(binned("2x2", "digital", "average"), {"camera.full_well": "90 ke"}),
     4 * 65_335, "scale"),
    ("8 stages, one pixel", changed(BASE, {"camera.tdi_stages": 8}), 40_000, "pixel"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("setup", "full_e", "limit"), [case[1:] for case in FULL], ids=[case[0] for case in FULL]
)
def test_the_named_limit_is_where_the_image_clips(setup: Setup, full_e: float, limit: str) -> None:
    """
    The least of n wells, node (charge) and full scale: 10 % below all is kept, 20 % above no more.

    1 DN/e; the shot noise of 5 ke and more leaves every pixel over 6σ on its own side of the limit.
    The mean of N samples is known to σ/√N; full, a well leaves the read noise, a word none.
    """
    numbers = station(setup)
    divided, joined = float(numbers.sensor.averaged), float(numbers.geometry.pixels_joined)
    for share, kept in ((0.9, 0.9), (1.2, 1.0)):
        bright = lit(setup, share * full_e / joined)
        told = budget(bright)["signal"]
        assert told["saturation_limit"] == limit
        assert told["saturation_white"] == pytest.approx(share, rel=1e-9)
        noise_e2 = share * full_e + float(numbers.reads) * 100
        mean_dn = image_of(bright, 64).mean(dtype=np.float64) - 200
        expected_dn = kept * full_e / divided
        spread_dn = np.sqrt(noise_e2) / divided / np.sqrt(64 * WIDTH)
        assert told["dn_white"] == pytest.approx(200 + expected_dn, rel=1e-9)
        lift = lift_dn(int(divided)) if (kept, limit) != (1.0, "scale") else 0.0
        assert mean_dn == pytest.approx(expected_dn + lift, abs=4 * spread_dn)


def test_a_full_word_is_full_everywhere() -> None:
    """Past full scale every sample is 65535, in every domain; not one wraps around."""
    for name, setup, full_e, limit in FULL:
        if limit == "scale":
            joined = float(station(setup).geometry.pixels_joined)
            image = image_of(lit(setup, 1.2 * full_e / joined), 64)
            assert_array_equal(image, 65_535, err_msg=name)


def test_numbers_are_joined_with_one_black_level() -> None:
    """By hand, black 10: 12+15+13+10 − 40 = 10, 9+10+10+30 − 40 = 19, and black put back once."""
    pixels = np.array([[[12, 15, 9, 10]], [[13, 10, 10, 30]]], dtype=np.uint16)
    line = Conversion(gain_dn_e=1.0, black_level_dn=10.0, full_scale_dn=255)
    for across, average, wanted in (
        (2, False, [20, 29]),
        (2, True, [13, 15]),  # 12.5 and 14.75, halves up
        (1, True, [13, 13, 10, 20]),  # 12.5, 12.5, 9.5, 20
    ):
        join = JoinNumbers(across=across, average=average, conversion=line)
        assert_array_equal(join(pixels, 0), [wanted])


def test_rounding_a_mean_by_the_exact_sum() -> None:
    """
    Mean and variance of floor(mean of two + ½), from the law of each whole number.

    Each number is N(μ, σ²) rounded, σ = 0.8 DN, μ = 200.3 DN: its probabilities are differences of
    the normal law, those of two are their convolution. Within 4σ of mean and variance; the fourth
    moment of that law gives the latter's spread.
    """
    from scipy.stats import norm  # noqa: PLC0415 -- for this check alone

    setup = changed(
        binned("2x1", "digital", "average"),
        {
            "camera.read_noise": "0.8 e",
            "camera.black_level": "200 DN",
            "light.irradiance": "0 W/m^2",
        },
    )
    value = np.arange(190, 211)
    law = np.diff(norm.cdf(np.append(value - 0.5, 210.5), 200.0, 0.8))
    pair, mean = np.convolve(law, law), np.floor(np.arange(380, 421) / 2 + 0.5)
    centre = float(pair @ mean)
    moments = [float(pair @ (mean - centre) ** power) for power in (2, 4)]
    image = image_of(setup)
    assert centre == pytest.approx(200.25, abs=0.01)  # half up lifts a mean of two by 1/4
    assert image.mean(dtype=np.float64) == pytest.approx(
        centre, abs=4 * np.sqrt(moments[0] / image.size)
    )
    spread = np.sqrt((moments[1] - moments[0] ** 2) / image.size)
    assert image.var(dtype=np.float64) == pytest.approx(moments[0], abs=4 * spread)


def test_binning_keeps_the_light() -> None:
    """On one random target, domains and modes expect the same electrons of the same pixels."""
    target = ArrayReference(
        data=np.random.default_rng(4).random((200, 300)).astype(np.float32), pixel_size_um=75.0
    )
    charge = render(binned("2x2", "charge"), target, 64, 1).expected_e
    digital = render(binned("2x2", "digital"), target, 64, 1).expected_e
    average = render(binned("2x2", "digital", "average"), target, 64, 1).expected_e
    # the two split their lens for different Nyquist frequencies
    assert_allclose(digital, charge, rtol=2e-3)
    assert_array_equal(average, digital)
