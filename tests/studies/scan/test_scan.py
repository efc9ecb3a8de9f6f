"""The main job: target, render, measure; what it measures is what the budget says."""

import json
import re

import numpy as np
import pytest
from numpy.testing import assert_array_equal

import linesim
from linesim.forward.reference import ArrayReference
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.scan.study import Scan, scan
from tests.stations import plain_setup

BASE = plain_setup(
    "Scan",
    target={"image": "edge", "pixel_size": "18.75 um", "width": "20 mm", "height": "20 mm"},
    light={"illuminance": "100 klx"},
    camera={"read_noise": "10 e"},
    acquisition={"lines": 256},
)


# enough light for a step to noise ratio of some 400, and wells that hold it
BRIGHT = changed(
    BASE, {"light.illuminance": "1 Mlx", "camera.full_well": "400 ke", "camera.bit_depth": 14}
)


def told(found: Scan, name: str) -> tuple[float, float]:
    """One figure measured, and the same from the closed form."""
    return float(found.measured[name]), float(found.budget["resolution"][name])


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"acquisition.exposure": "20 us"},
        {"lens.f_number": 11.0},
        {"lens.blur": "4 um"},
        {"lens.defocus": "2.5 mm", "lens.f_number": 5.6},
        {"lens.magnification": 0.0991},
        {"acquisition.line_rate": "11 kHz"},  # 23 mm of lines on 20 mm of target
        {"target.width": "14 mm"},  # on a line of 19 mm
        {
            "acquisition.binning": "2x2",
            "camera.pixels": 512,
            "target.width": "40 mm",
            "target.height": "40 mm",
            "light.illuminance": "120 klx",
        },
    ],
    ids=["plain", "short", "f/11", "blur", "defocus", "odd scale", "odd rate", "narrow", "2x2"],
)
@pytest.mark.parametrize(("axis", "angle"), [("x", "5 deg"), ("y", "85 deg")])
def test_resolution_read_off_an_edge(changes: dict[str, object], axis: str, angle: str) -> None:
    """
    MTF50 within 2 % and the MTF at Nyquist within 0.015 of the closed form, noise and all.

    Without noise both are good to 0.003 there (the edge is 5° off the axis, and its reading has a
    bias of its own). 256 lines at a step to noise ratio of 100 (f/11) to 400 have a standard
    deviation of 0.0015 to 0.003 at Nyquist; four of these. At MTF50 the slope is near 1 a cycle.
    """
    setup = changed(BRIGHT, {"target.angle": angle, **changes})
    found = scan(setup, seed=2)
    nyquist, closed = told(found, f"mtf_nyquist_{axis}")
    assert nyquist == pytest.approx(closed, abs=0.015)
    half, closed = told(found, f"mtf50_{axis}_lp_mm")
    assert half == pytest.approx(closed, rel=0.02)


def test_a_coarse_reference_is_undone() -> None:
    """
    An edge on pixels of 30 µm, 2.5 in an object pixel: still the station's own MTF.

    An edge is averaged over each reference pixel, and that value then fills it: sinc² of 0.4/2
    cycles, 0.87 at Nyquist, is divided out. (At exactly two pixels in an object pixel, where the
    caution begins, the two grids keep step across the line and 0.03 is left.)
    """
    found = scan(changed(BRIGHT, {"target.pixel_size": "30 um"}), seed=2)
    nyquist, closed = told(found, "mtf_nyquist_x")
    assert nyquist == pytest.approx(closed, abs=0.015)


def test_an_edge_that_cannot_be_read_gives_no_figure() -> None:
    """Too dark, or clipped on the bright side: the scan stands, resolution is left out."""
    for light in ("5 lx", "10 Mlx"):
        found = scan(changed(BASE, {"light.illuminance": light}))
        assert "mtf50_x_lp_mm" not in found.measured
        assert found.image.shape == (256, 256)


def test_flat_needs_lines_enough() -> None:
    """Fewer than 16 lines tell no noise; more do."""
    flat = changed(BASE, {"target.image": "flat"})
    assert "snr_white" not in scan(changed(flat, {"acquisition.lines": 15})).measured
    assert "snr_white" in scan(changed(flat, {"acquisition.lines": 16})).measured


def test_fall_off_is_left_out_of_the_white_level() -> None:
    """A light 40 % down at the ends: signal and noise on white are those of the middle."""
    setup = changed(BASE, {"target.image": "flat", "light.edge_falloff": 0.4})
    found = scan(setup, seed=4)
    signal = found.budget["signal"]
    noise, white = float(signal["noise_white_e"]), float(signal["electrons_white"])
    # columns with over 0.995 of the light: a ninth of the line, and 0.5 % x 1/3 too dark on average
    count = 256 * np.sqrt(0.005 / 0.4) * 256
    bias = 0.005 / 3
    assert found.measured["electrons_white"] == pytest.approx(
        white * (1 - bias), abs=4 * noise / np.sqrt(count) + 0.001 * white
    )
    assert found.measured["noise_white_e"] == pytest.approx(
        noise, rel=4 / np.sqrt(2 * count) + bias
    )


def test_a_reference_array_stands_in_for_the_image() -> None:
    """Reflectance 0.5 everywhere: half of white; the array decides the number of lines."""
    setup = changed(BASE, {"acquisition.lines": None, "target.image": "flat"})
    found = scan(setup, reference=np.full((400, 1100), 0.5))
    white = float(found.budget["signal"]["electrons_white"])
    assert found.image.shape == (100, 256)
    np.testing.assert_allclose(found.expected_e, 0.5 * white, rtol=2e-6)
    assert "electrons_white" not in found.measured  # nothing says that the array is white


def test_a_reference_object_is_used_as_it_is() -> None:
    """The same bytes from an array and from a reference of it."""
    data = np.random.default_rng(1).random((400, 1100)).astype(np.float32)
    one = scan(BASE, reference=data)
    other = scan(BASE, reference=ArrayReference(data=data, pixel_size_um=18.75))
    assert_array_equal(one.image, other.image)


def test_metrics_nest_by_group() -> None:
    """All groups of the budget, what was measured, the seed; cautions and verdicts last."""
    found = scan(BASE, seed=7).metrics()
    assert list(found)[-4:] == ["measured", "seed", "cautions", "verdicts"]
    assert found["seed"] == 7
    groups = {"geometry", "exposure", "signal", "camera", "resolution", "detection"}
    assert groups <= set(found)
    json.dumps(found, allow_nan=False)


def test_the_public_scan_is_this_one() -> None:
    """`linesim.scan`: the same bytes for the same seed, others for another."""
    small = changed(BASE, {"acquisition.lines": 64})
    first, again, other = linesim.scan(small, 1), scan(small, 1), scan(small, 2)
    assert_array_equal(first.image, again.image)
    assert np.mean(first.image != other.image) > 0.9
    assert_array_equal(first.expected_e, other.expected_e)


@pytest.mark.parametrize("kind", ["mono", "prism"])
def test_a_scan_larger_than_memory_is_refused(kind: str) -> None:
    """10⁹ lines of 131072 pixels are 786 TB of 6 bytes a sample, three times that in colour."""
    setup = changed(
        BASE, {"camera.kind": kind, "camera.pixels": 131_072, "acquisition.lines": 10**9}
    )
    told = {"mono": "(7.86e+05 GB for samples", "prism": "(2.36e+06 GB for samples"}[kind]
    with pytest.raises(InputError, match=re.escape(told)):
        scan(setup)


def test_the_fall_of_the_light_is_no_fixed_pattern_of_the_camera() -> None:
    """
    SNR 436 at a fall-off of 30 %: the 34 columns read are alike to 0.16 % rms, 0.7 of the noise.

    The total noise would be 1.2 times what the closed form says. A deviation of N = 34 · 256
    samples is known to 1/√2N; 5 of that.
    """
    bright = {"light.illuminance": "900 klx", "camera.read_noise": "10 e"}
    flat = {"target.image": "flat", "target.repeat": True, "light.edge_falloff": 0.3}
    found = scan(changed(BRIGHT, {**bright, **flat}), seed=4)
    wanted = found.budget.number("signal", "snr_total_white")
    assert wanted == pytest.approx(436, rel=0.01)
    seen = found.measured["snr_total_white"]
    assert seen == pytest.approx(wanted, rel=5 / np.sqrt(2 * 34 * 256))
