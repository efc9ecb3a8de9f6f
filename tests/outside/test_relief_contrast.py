"""The contrast of faults with relief in limits that have a closed form, and exact thresholds."""

from math import asin, pi, radians, tan

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm, poisson

from linesim.forward.surface import Finish
from linesim.metrics.detection.flanks import Form, Relief, flanks_of, weights
from linesim.metrics.detection.search import Bank, threshold_for
from linesim.setup.arrays import FloatArray
from linesim.setup.light.strip import Lamp, Strip
from linesim.targets.faces.face import Face

NARROW_DEG = 0.5
WIDTH, DEPTH = 200.0, 2.0


def lamp(low_deg: float, high_deg: float) -> Lamp:
    """Give an endless lamp between two angles."""
    return Lamp(strip=Strip(low_deg=low_deg, high_deg=high_deg), irradiance_w_m2=1.0)


def matt(angle_deg: float) -> Face:
    """Give a matt face under a narrow lamp."""
    return Face(
        lamps=(
            Lamp(
                strip=Strip(low_deg=angle_deg - NARROW_DEG, high_deg=angle_deg + NARROW_DEG),
                irradiance_w_m2=1.0,
            ),
        ),
        view_deg=0.0,
        finish=None,
        slopes=(0.0, 0.0),
        white_reflectance=1.0,
    )


def on_product(face: Face, form: Form, length_um: float = WIDTH) -> Relief:
    """Lay a fault on product of no matt part where the face mirrors, else of white."""
    flanks = flanks_of(face, form)
    share = flanks.level[1] if face.finish else flanks.level[0]
    shares = weights(flanks, share, 1.0)
    return Relief(
        flanks=flanks, width_um=WIDTH, length_um=length_um, matt=shares[0], gloss=shares[1]
    )


@pytest.mark.parametrize(("kind", "sign"), [("dent", -1), ("bump", 1)])
@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 60.0])
def test_shading_of_a_matt_face_is_the_volume_times_the_tangent(
    kind: str, sign: int, angle_deg: float
) -> None:
    """
    Under light at θ a matt face of slope q changes by q tan θ, so ∫c y dA is tan θ times ∫h dA.

    Lambert's cosine law, then by parts (derived); the volume of a dent is d w²(π/8 - 1/2π). From
    differences of the transform at ±0.02 lp/mm, whose cubes are 1e-5 of it. A lamp 1° wide, without
    end along the line, has the tangent of its middle to 1e-4 (derived). 0.2 %: splines.
    """
    fault = on_product(matt(angle_deg), Form(kind=kind, steepness=DEPTH / WIDTH))
    near = 0.02
    above, below = (fault.signed(np.array(0.0), np.array(f)) for f in (near, -near))
    moment_um3 = np.imag(above - below) / (2 * near / 1000) / (-2 * pi)
    volume_um3 = sign * DEPTH * WIDTH**2 * (pi / 8 - 1 / (2 * pi))
    expected = volume_um3 * tan(radians(angle_deg))
    assert_allclose(moment_um3, expected, rtol=0.002, atol=1e-3 * abs(volume_um3))


def stretch_of(face: Face, form: Form) -> float:
    """Give the mean change of a groove's even stretch: what ten more widths of it bring."""
    nothing = np.zeros(())
    shorter, longer = (on_product(face, form, n * WIDTH).signed(nothing, nothing) for n in (10, 20))
    return float(np.real(longer - shorter)) / (10 * WIDTH**2)


@pytest.mark.parametrize("angle_deg", [20.0, 50.0])
def test_a_groove_along_the_plane_of_light_hardly_shows(angle_deg: float) -> None:
    """
    Its slopes s sin turn light sideways, where a lamp without end is alike: a cosine is left.

    So the mean is that of (1 + s² sin²)^(-1/2) - 1, -s²/4 (derived), whatever the lamp's angle.
    What sinks below the flanks' own horizon is of the order s³: with s = 0.03, 5 % of it.
    """
    slope = pi * DEPTH / WIDTH
    along = Form(kind="groove", steepness=DEPTH / WIDTH)
    assert_allclose(stretch_of(matt(angle_deg), along), -(slope**2) / 4, rtol=0.05)


@pytest.mark.parametrize("share", [0.5, 0.7, 0.9])
def test_a_mirror_goes_dark_where_it_leaves_the_lamp(share: float) -> None:
    """
    A smooth face tilted by t mirrors 2t away: a groove is dark where its slope is over tan(W/4).

    Slopes go as s sin, so 1 - (2/π) asin(tan(W/4)/s) of the width goes dark (derived). The rms
    slope of the finish rounds both edges alike to the first order; 2 % is its second order here.
    """
    wide_deg = 30.0
    edge = tan(radians(wide_deg / 4))
    face = Face(
        lamps=(
            Lamp(strip=Strip(low_deg=-wide_deg / 2, high_deg=wide_deg / 2), irradiance_w_m2=1.0),
        ),
        view_deg=0.0,
        finish=Finish(gloss=1.0, rms_across=0.01, rms_along=0.01),
        slopes=(0.0, 0.0),
        white_reflectance=1.0,
    )
    form = Form(kind="groove", steepness=edge / share / pi, turn_deg=90.0)
    assert_allclose(-stretch_of(face, form), 1 - 2 / pi * asin(share), atol=0.02)


@pytest.mark.parametrize(("electrons", "read_noise_e"), [(9.0, 2.0), (25.0, 3.0), (100.0, 5.0)])
def test_the_threshold_of_a_flash_is_that_of_counted_electrons(
    electrons: float, read_noise_e: float
) -> None:
    """
    Of a bright fault the chance of so many electrons counts, summed exactly (scipy.stats).

    0.003 of a normal level, as of dark ones; there the chance is of so few.
    """
    noise_e: FloatArray = np.sqrt(electrons + read_noise_e**2)
    plain = Bank(looks=1.0, slopes=0.0, wave_x=0.0, wave_y=0.0)
    bank = Bank(
        looks=1.0,
        slopes=0.0,
        wave_x=0.0,
        wave_y=0.0,
        shot=electrons / noise_e**2,
        step=-1 / noise_e,
    )
    counts = np.arange(3000)
    for alarms in (1e-4, 1e-7, 1e-11):
        limit_e = electrons + float(threshold_for(bank, alarms)) * noise_e
        chance = np.sum(poisson.pmf(counts, electrons) * norm.sf((limit_e - counts) / read_noise_e))
        assert_allclose(norm.isf(chance), float(threshold_for(plain, alarms)), atol=0.003)
