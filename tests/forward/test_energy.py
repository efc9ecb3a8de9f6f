"""Light is neither made nor lost on its way, and an effect that is set to nothing does nothing."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.profile import column_profile
from linesim.forward.reference import ArrayReference
from linesim.forward.render import Rendered, render
from linesim.forward.station import station
from linesim.setup.arrays import ImageArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

PIXEL_UM = 25.0
BASE = plain_setup("Energy", target={"pixel_size": f"{PIXEL_UM} um"}, camera={"pixels": 130})

LENSES: dict[str, dict[str, object]] = {
    "sharp": {"lens.f_number": 1.0},
    "plain": {"lens.f_number": 4.0},
    "many terms": {"lens.f_number": 16.0},
    "defocus": {"lens.f_number": 5.6, "lens.defocus": "4 mm"},
    "blur": {"lens.f_number": 4.0, "lens.blur": "6 um"},
    "all": {"lens.f_number": 8.0, "lens.blur": "3 um", "lens.defocus": "6 mm"},
}
MOTIONS: dict[str, dict[str, object]] = {
    "still": {"acquisition.exposure": "0.01 us"},
    "half": {"acquisition.exposure": "37.5 us"},
    "full": {"acquisition.exposure": "full"},
    "odd rate": {"acquisition.line_rate": "9137 Hz", "acquisition.exposure": "full"},
    "ripple": {"transport.speed_ripple": 0.1, "transport.ripple_frequency": "700 Hz"},
}


def seen(setup: Setup, target: ImageArray, lines: int = 70) -> Rendered:
    """Render a target given as an array."""
    return render(setup, ArrayReference(data=target, pixel_size_um=PIXEL_UM), lines, seed=1)


@pytest.mark.parametrize("binning", ["1x1", "2x1", "1x2", "2x2"])
@pytest.mark.parametrize("lens", sorted(LENSES))
@pytest.mark.parametrize("motion", sorted(MOTIONS))
def test_an_even_target_keeps_its_light(binning: str, lens: str, motion: str) -> None:
    """
    Mean of the expected electrons over white within 1e-6, whatever the lens, motion and binning.

    Weights are float32, 6e-8 each; some hundred of them with rounding of either sign make 1e-6.
    """
    changes: dict[str, object] = {"acquisition.binning": binning, **LENSES[lens], **MOTIONS[motion]}
    setup = changed(BASE, changes)
    expected = seen(setup, np.full((40, 40), 0.7, dtype=np.float32)).expected_e
    white = 0.7 * float(station(setup).electrons_white)
    assert expected.mean(dtype=np.float64) == pytest.approx(white, rel=1e-6)
    assert_allclose(expected, white, rtol=4e-6)


@pytest.mark.parametrize("magnification", [0.1, 0.0937, 1 / 7, 0.311, 1.0])
@pytest.mark.parametrize("offset", [0, 1, 2, 3])
def test_any_scale_and_place_keeps_the_light(magnification: float, offset: int) -> None:
    """Object pixels of 3, 3.2, 2.1, 0.96 and 0.3 reference pixels, at four places: 1e-6."""
    setup = changed(BASE, {"lens.magnification": magnification, "camera.pixels": 128 + offset})
    target = np.full((50, 50 + offset), 0.35, dtype=np.float32)
    expected = seen(setup, target).expected_e
    white = 0.35 * float(station(setup).electrons_white)
    assert expected.mean(dtype=np.float64) == pytest.approx(white, rel=1e-6)


@pytest.mark.parametrize("binning", ["1x1", "2x1", "1x2", "2x2"])
@pytest.mark.parametrize("lens", sorted(LENSES))
@pytest.mark.parametrize("magnification", [0.1, 0.0937])
def test_a_blob_keeps_its_light(binning: str, lens: str, magnification: float) -> None:
    """
    Sum of samples x pitch = integral of the target, for a blob whose spread stays inside: 1e-5.

    Matched lines advance by their own height, so their weights sum to one at every place of the
    target whatever the lens and the motion; float32 leaves some 1e-6.
    """
    changes: dict[str, object] = {
        "acquisition.binning": binning,
        "lens.magnification": magnification,
        **LENSES[lens],
    }
    setup = changed(BASE, {"camera.pixels": 256, **changes})
    numbers = station(setup)
    rng = np.random.default_rng(5)
    target = np.zeros((900, 900), dtype=np.float32)
    target[440:460, 430:465] = rng.random((20, 35))
    lines = int(900 * PIXEL_UM / float(numbers.timing.line_advance_um))
    expected = seen(setup, target, lines).expected_e
    pitch_um2 = float(numbers.geometry.object_pixel_x_um * numbers.timing.line_advance_um)
    got = expected.sum(dtype=np.float64) / float(numbers.electrons_white) * pitch_um2
    assert got == pytest.approx(target.sum(dtype=np.float64) * PIXEL_UM**2, rel=1e-5)


def test_the_border_goes_on_and_a_repeat_goes_round() -> None:
    """A target of two halves: outside, its ends go on; repeated, the mean of both returns."""
    target = np.zeros((64, 64), dtype=np.float32)
    target[:, 32:] = 1
    setup = changed(BASE, {"lens.magnification": 0.3, "camera.pixels": 1024})  # one to one
    white = float(station(setup).electrons_white)
    ends = seen(setup, target, 10).expected_e / white
    assert_allclose(ends[:, :400], 0, atol=1e-6)
    assert_allclose(ends[:, 624:], 1, rtol=1e-6)
    around = seen(changed(setup, {"target.repeat": True}), target, 10).expected_e / white
    assert_allclose(around[:, 64:128], around[:, 512:576], atol=1e-6)
    assert around.mean(dtype=np.float64) == pytest.approx(0.5, rel=1e-6)


NOTHING: dict[str, dict[str, object]] = {
    "ripple": {"transport.speed_ripple": 0.0, "transport.ripple_frequency": "123 Hz"},
    "jitter": {"transport.line_jitter": "0 um"},
    "blur": {"lens.blur": "0 um"},
    "defocus": {"lens.defocus": "0 mm"},
    "prnu": {"camera.prnu": 0.0, "camera.pattern_seed": 99},
    "dsnu": {"camera.dsnu": "0 e", "camera.pattern_seed": 98},
    "dark current": {"camera.dark_current": "0 e/s"},
    "fall-off": {"light.edge_falloff": 0.0},
    "dead time": {"camera.dead_time": "0 us"},
    "assumed speed": {"transport.assumed_speed": "60 m/min"},
    "one to one": {"acquisition.binning": "1x1"},
    "flutter": {"transport.flutter": "0 mm"},
    "far off axis": {"lens.focal_length": "10 m"},
}


@pytest.mark.parametrize("name", sorted(NOTHING))
def test_nothing_changes_nothing(name: str) -> None:
    """
    Each effect at its neutral value leaves the same bytes, image and expected electrons.

    A focal length of 10 m keeps the whole line within 0.1 mrad: cos⁴ is 1 to 1e-8.
    """
    target = np.random.default_rng(2).random((300, 500)).astype(np.float32)
    plain, same = seen(BASE, target), seen(changed(BASE, NOTHING[name]), target)
    assert_array_equal(same.image, plain.image)
    assert_array_equal(same.expected_e, plain.expected_e)


SOMETHING: dict[str, dict[str, object]] = {
    "ripple": {"transport.speed_ripple": 0.01},
    "jitter": {"transport.line_jitter": "5 um"},
    "blur": {"lens.blur": "2 um"},
    "defocus": {"lens.defocus": "3 mm"},
    "prnu": {"camera.prnu": 0.02},
    "dsnu": {"camera.dsnu": "50 e"},
    "dark current": {"camera.dark_current": "20 Me/s"},
    "fall-off": {"light.edge_falloff": 0.1},
    "dead time": {"camera.dead_time": "10 us"},
    "assumed speed": {"transport.assumed_speed": "66 m/min"},
    "f = 10 mm": {"lens.focal_length": "10 mm"},
}


@pytest.mark.parametrize("name", sorted(SOMETHING))
def test_something_changes_something(name: str) -> None:
    """The same keys at another value do change the image, so the test above can fail."""
    target = np.random.default_rng(2).random((300, 500)).astype(np.float32)
    plain, other = seen(BASE, target), seen(changed(BASE, SOMETHING[name]), target)
    assert np.mean(plain.image != other.image) > 0.1


def test_black_next_to_white_is_no_negative_light() -> None:
    """Sums of the lens terms round to some -1e-14 e there; drawing from them must not fail."""
    target = np.zeros((400, 400), dtype=np.float32)
    target[150:250] = 1
    rendered = seen(changed(BASE, {"lens.f_number": 4.0}), target)
    assert rendered.expected_e.min() > -1e-9
    assert rendered.image.min() >= 0


def test_light_along_the_line_falls_as_told() -> None:
    """Parabola and cos⁴: 10 % less light at the ends; f = 60 mm, tan θ = x/(f(1+m))."""
    setup = changed(BASE, {"light.edge_falloff": 0.1, "lens.focal_length": "60 mm"})
    expected = seen(setup, np.ones((40, 40), dtype=np.float32)).expected_e
    x_mm = (np.arange(130) - 64.5) * 0.0075
    position = x_mm / (65 * 0.0075)
    told = (1 - 0.1 * position**2) * np.cos(np.arctan(x_mm / (60 * 1.1))) ** 4
    assert_allclose(expected[0] / float(station(setup).electrons_white), told, rtol=1e-6)
    assert_allclose(column_profile(setup, 130), told, rtol=1e-12)


def test_colours_are_weighed_by_their_electrons() -> None:
    """Red, green and blue reflectance of an RGB target share the white signal and sum to it."""
    setup = changed(BASE, {"light.spectrum": "E"})
    white = float(station(setup).electrons_white)
    parts = []
    for channel in range(3):
        target = np.zeros((60, 60, 3), dtype=np.float32)
        target[..., channel] = 1
        parts.append(seen(setup, target, 4).expected_e.mean(dtype=np.float64) / white)
    # equal energy, flat efficiency: electrons go as λ; bands 380-490, 490-580, 580-780 nm
    bands = np.diff(np.array([380, 490, 580, 780.0]) ** 2) / (780.0**2 - 380.0**2)
    assert_allclose(parts, bands[::-1], rtol=1e-5)
