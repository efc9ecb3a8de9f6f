"""
Figures of natural images, read off scans of a picture of gravel through a whole station.

The picture is scikit-image's, CC0 by its docstring. Motion of b object pixels during the exposure
multiplies amplitudes by |sinc(b f)| (closed form named in Opt. Eng. 31 (1992), 581).
"""

from functools import cache

import numpy as np
import pytest
import skimage.data
from numpy.testing import assert_allclose

from linesim.metrics.scene.figures import Scene
from linesim.setup.load import changed
from linesim.studies.measure.scene.study import MeasuredScene, measure_scene
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

BASE = plain_setup(
    "Gravel",
    target={"pixel_size": "0.2 mm"},
    transport={"speed": "120 m/min"},
    lens={"magnification": 0.0175},
    light={"illuminance": "60 klx"},
    camera={
        "pixel_width": "7 um",
        "read_noise": "20 e",
        "full_well": "90 ke",
        "prnu": 0.005,
        "black_level": "32 DN",
    },
    acquisition={"lines": 256},
)
BLACK_DN, PERIOD_US = 32.0, 200.0


@cache
def measured(exposure_us: float, illuminance: str = "60 klx") -> MeasuredScene:
    """Scan gravel at an object pixel of two of its own pixels, and measure."""
    codes = np.asarray(getattr(skimage.data, "gravel")(), dtype=np.float64)  # noqa: B009 -- untyped
    setup = changed(
        BASE, {"acquisition.exposure": f"{exposure_us} us", "light.illuminance": illuminance}
    )
    image = scan(setup, 1, reference=codes / 255).image
    return measure_scene(image, black_dn=BLACK_DN, bit_depth=12)


def only(found: MeasuredScene) -> Scene:
    """Give the only channel."""
    return found.channels["grey"]


@pytest.mark.parametrize(("shorter_us", "longer_us"), [(50.0, 200.0), (100.0, 200.0)])
def test_motion_takes_what_the_sinc_takes(shorter_us: float, longer_us: float) -> None:
    """
    The same gravel at two exposures: along over across falls by (sinc(b f)/sinc(a f))².

    Motion blur is 1 object pixel at the whole period of 200 µs. Tolerance: the wedge of 15° spans
    3.4 % of f, on average 1.2 %, where the square falls by 0.8 of that, and the wedge across has
    up to 0.27 f of motion itself, 0.02 at 0.35 cycles/px. Beyond, detail from 1 - f folds in.
    """
    ratios = []
    for exposure_us in (shorter_us, longer_us):
        detail = only(measured(exposure_us)).detail
        ratios.append(detail.along_dn2 / detail.across_dn2)
    frequency = only(measured(longer_us)).detail.frequency_cyc_px
    band = frequency <= 0.35
    blur_px = np.array([longer_us, shorter_us]) / PERIOD_US
    closed = np.sinc(blur_px[0] * frequency) ** 2 / np.sinc(blur_px[1] * frequency) ** 2
    assert_allclose((ratios[1] / ratios[0])[band], closed[band], atol=0.035)


def test_longer_exposure_is_less_sharp_along() -> None:
    """From a quarter of the period to the whole, the ratio falls step by step; blur comes out."""
    found = [only(measured(exposure_us)).detail for exposure_us in (50.0, 100.0, 200.0)]
    ratios = [each.ratio.value for each in found if each.ratio]
    assert len(ratios) == 3
    assert ratios[0] > ratios[1] > ratios[2]
    assert found[2].blur_px is not None
    # gravel's own direction of some percent, and the error told
    assert found[2].blur_px.value == pytest.approx(1, abs=0.1 + 4 * found[2].blur_px.sd)


def test_noise_is_never_told_too_low() -> None:
    """
    The most that noise can be lies above the station's at each brightness, SNR at least below.

    Shot and read noise of the levels seen (EMVA 1288 R4.0 RC, (14)), less 4 standard errors.
    """
    for illuminance in ("3 klx", "60 klx"):
        found, gain = only(measured(200.0, illuminance)), BASE.gain_dn_e
        light_e = (found.noise.level_dn - BLACK_DN) / gain
        truth_dn = gain * np.sqrt(light_e + 400 + 1 / 12 / gain**2)
        assert (found.noise.noise_dn > truth_dn - 4 * found.noise.noise_sd_dn).all()
    told = {each.code for each in measured(200.0, "60 klx").cautions}
    assert told == {"texture"}


def test_levels_are_those_of_the_samples() -> None:
    """The darkest and brightest of gravel: some of 12 bit, and nothing clipped."""
    told = measured(200.0).as_dict()
    assert told["share_at_full_scale"] == 0
    assert told["share_at_zero"] == 0
    percentiles = told["percentiles_dn"]
    assert isinstance(percentiles, dict)
    values = list(percentiles.values())
    assert values == sorted(values)
    assert values[0] > BLACK_DN
