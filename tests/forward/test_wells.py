"""What is full: the physical pixel, the place where charge is summed, or the delivered number."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.budget import budget
from linesim.forward.binning import JoinCharge, Wells
from linesim.forward.capture import capturer, keeps_pixels_apart
from linesim.forward.channels import channels
from linesim.forward.expose import exposer
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup

# 100 um pixels at m = 1 behind f/0.5: the lens blurs by under a hundredth of a pixel
BASE = setup_from(
    {
        "title": "Wells",
        "target": {"image": "flat", "pixel_size": "100 um", "white_reflectance": 1.0},
        "transport": {"speed": "1 m/s"},
        "lens": {"magnification": 1.0, "f_number": 0.5},
        "light": {"irradiance": "1 W/m^2"},
        "camera": {
            "pixels": 64,
            "pixel_width": "100 um",
            "read_noise": "0 e",
            "full_well": "10 ke",
            "gain": "0.1 DN/e",
            "black_level": "32 DN",
        },
        "acquisition": {"exposure": "10 us"},
    }
)
EVEN = np.ones((70, 70), dtype=np.float32)
STRIPES = np.zeros((70, 64), dtype=np.float32)
STRIPES[:, ::2] = 1


def lit(setup: Setup, pixel_e: float) -> Setup:
    """Turn the light until a physical pixel on white gets so many electrons."""
    per_watt_e = station(changed(setup, {"light.irradiance": "1 W/m^2"})).pixel_white_e
    return changed(setup, {"light.irradiance": f"{float(pixel_e / per_watt_e)!r} W/m^2"})


def image_of(
    setup: Setup, target: np.ndarray[tuple[int, int], np.dtype[np.float32]]
) -> np.ndarray[tuple[int, ...], np.dtype[np.uint16]]:
    """Render 64 lines of a target of 100 µm pixels."""
    return render(setup, ArrayReference(data=target, pixel_size_um=100.0), 64, seed=1).image


# name, changes, electrons a pixel, what is full [e], which limit
LIMITS = [
    ("1x1", {}, 15e3, 10e3, "pixel"),
    ("2x1, node as the pixel", {"acquisition.binning": "2x1"}, 8e3, 10e3, "binned"),
    ("2x2, node as the pixel", {"acquisition.binning": "2x2"}, 4e3, 10e3, "binned"),
    ("2x1, larger node", {"acquisition.binning": "2x1", "camera.binned_full_well": "15 ke"},
     9e3, 15e3, "binned"),
    ("2x1, node of two pixels", {"acquisition.binning": "2x1", "camera.binned_full_well": "30 ke"},
     15e3, 20e3, "pixel"),
    ("scale", {"camera.full_well": "90 ke"}, 60e3, 40.63e3, "scale"),
    ("scale, binned",
     {"acquisition.binning": "2x1", "camera.binned_full_well": "90 ke",
      "camera.full_well": "90 ke"}, 30e3, 40.63e3, "scale"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "pixel_e", "full_e", "limit"),
    [case[1:] for case in LIMITS],
    ids=[case[0] for case in LIMITS],
)
def test_white_stops_at_the_nearest_limit(
    changes: dict[str, object], pixel_e: float, full_e: float, limit: str
) -> None:
    """No read noise: every sample is the limit itself, in image and budget alike."""
    setup = lit(changed(BASE, changes), pixel_e)
    full_dn = np.floor(32 + 0.1 * full_e + 0.5)
    assert_array_equal(image_of(setup, EVEN), full_dn)
    found = budget(setup)["signal"]
    assert found["saturation_limit"] == limit
    assert found["dn_white"] == pytest.approx(32 + 0.1 * full_e, rel=1e-12)
    joined = station(setup).geometry.pixels_joined
    assert found["saturation_white"] == pytest.approx(joined * pixel_e / full_e, rel=1e-9)


@pytest.mark.parametrize(
    ("changes", "pixel_e"), [(case[1], 0.8 * case[3]) for case in LIMITS[:1] + LIMITS[5:6]]
)
def test_below_the_limit_nothing_is_cut(changes: dict[str, object], pixel_e: float) -> None:
    """At 80 % the mean is the signal, within 4 σ/√n."""
    setup = lit(changed(BASE, changes), pixel_e)
    image = image_of(setup, EVEN)
    sd_dn = np.sqrt(0.01 * pixel_e + 1 / 12)
    mean = image.mean(dtype=np.float64)
    assert mean == pytest.approx(32 + 0.1 * pixel_e, abs=4 * sd_dn / np.sqrt(image.size))


BINNED = changed(BASE, {"acquisition.binning": "2x2", "camera.binned_full_well": "40 ke"})


def test_when_pixels_must_be_kept_apart() -> None:
    """Only where the node holds more than a pixel and a pixel may come within 6σ of its well."""
    near_e = 10_000 - 6 * np.sqrt(10_000)  # the signal that lies 6σ below 10 ke is 9417.8 e
    for setup, apart in (
        (lit(BINNED, 9500.0), True),
        (lit(BINNED, near_e + 30), True),
        (lit(BINNED, near_e - 30), False),
        (lit(changed(BINNED, {"camera.binned_full_well": "10 ke"}), 9500.0), False),
        (lit(changed(BINNED, {"camera.binned_full_well": None}), 9500.0), False),
        (lit(changed(BINNED, {"acquisition.binning": "1x1"}), 9500.0), False),
        (lit(changed(BINNED, {"camera.prnu": 0.01}), near_e - 30), True),
        (lit(changed(BINNED, {"camera.dark_current": "10 Me/s"}), near_e - 30), True),
        (lit(changed(BINNED, {"target.white_reflectance": 0.9}), near_e - 30), True),
    ):
        assert keeps_pixels_apart(setup, station(setup)) == apart


def test_both_ways_agree_far_from_the_wells() -> None:
    """
    Pixels kept apart and pixels joined first, 2x2 on a random target far from any well.

    The same expected electrons (the two split their lens for different Nyquist frequencies, hence
    2e-3); from the same light a noise of the same mean (4σ/√n) and of the same variance, which is
    known to √(2/n).
    """
    setup = lit(
        changed(BINNED, {"camera.read_noise": "15 e", "camera.dark_current": "20 Me/s"}), 3000.0
    )
    target = ArrayReference(
        data=np.random.default_rng(2).random((140, 64)).astype(np.float32), pixel_size_um=100.0
    )
    (mono,) = channels(setup, station(setup))
    apart = exposer(setup, target, mono, physical=True).strip(1, 0, 64)
    summed = apart.sum(axis=0).reshape(64, 32, 2).sum(axis=2)
    assert apart.shape == (2, 64, 64)
    assert_allclose(exposer(setup, target, mono).strip(1, 0, 64)[0], summed, rtol=2e-3)
    variance = 0.01 * (float(summed.mean()) + 4 * 200 + 15**2) + 1 / 12
    noise = {}
    for physical, expected in ((True, apart), (False, summed[None])):
        keep = capturer(setup, 1, 0, physical=physical)
        frames = [keep.strip(expected.copy(), strip) for strip in range(16)]
        left = np.asarray(frames, dtype=np.float64) - 32 - 0.1 * (summed + 4 * 200.0)
        assert left.mean() == pytest.approx(0, abs=4 * np.sqrt(variance / left.size))
        assert left.var() == pytest.approx(variance, rel=4 * np.sqrt(2 / left.size))
        noise[physical] = left
    assert noise[True].var() == pytest.approx(
        noise[False].var(), rel=4 * np.sqrt(4 / noise[True].size)
    )
    assert np.mean(noise[True] != noise[False]) > 0.9  # two ways indeed


def test_one_bright_pixel_of_two_fills_its_own_well() -> None:
    """
    Black and white columns a pixel wide, joined two by two: 18 ke on one pixel, a well of 10 ke.

    The sum of 18 ke is under the node's 30 ke, but the bright pixel keeps 10 ke only; the dark one
    adds what the lens sends it. On an even grey of 9 ke a pixel the same sum is kept.
    """
    setup = changed(BASE, {"acquisition.binning": "2x1", "camera.binned_full_well": "30 ke"})
    bright = lit(setup, 18_000.0)
    (mono,) = channels(bright, station(bright))
    target = ArrayReference(data=STRIPES, pixel_size_um=100.0)
    pixel_e = exposer(bright, target, mono, physical=True).strip(1, 0, 64)[0]
    assert pixel_e[:, ::2].min() > 10_000 + 6 * np.sqrt(10_000)
    dark_e = float(pixel_e[:, 1::2].mean(dtype=np.float64))
    image = image_of(bright, STRIPES)
    mean = (image.mean(dtype=np.float64) - 32) / 0.1
    sd = np.sqrt((dark_e + 100 / 12) / image.size)
    assert mean == pytest.approx(10_000 + dark_e, abs=4 * sd)
    even = image_of(lit(setup, 9_000.0), EVEN)
    mean = (even.mean(dtype=np.float64) - 32) / 0.1
    assert mean == pytest.approx(18_000, abs=4 * np.sqrt(18_100 / even.size))


def test_charge_is_summed_after_the_wells() -> None:
    """By hand: wells of 10, a node of 25, two rows of two columns."""
    pixels = np.array([[[12, 3, 10, 10]], [[4, 30, 9, 1]]], dtype=np.float32)
    for across, place_e, wanted in (
        (2, 25.0, [25, 25]),
        (2, 100.0, [27, 30]),
        (1, 15.0, [14, 13, 15, 11]),
    ):
        held_e = Wells(full_well_e=10.0)(pixels.copy(), 0)
        assert_array_equal(JoinCharge(across=across, place_e=place_e)(held_e, 0), [wanted])
