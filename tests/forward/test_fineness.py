"""A reference far finer than the camera, and columns far beyond its borders."""

import re

import numpy as np
import pytest

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sampling.fineness import refuse_too_fine
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup
from linesim.studies.scan.study import scan

WIDE = changed(
    sample_setup(),
    {"lens.magnification": 2e-3, "target.pixel_size": "600 um", "camera.pixels": 400},
)
TARGET = np.random.default_rng(3).random((40, 300)).astype(np.float32)


def test_a_reference_far_too_fine_is_refused_with_what_is_fine_enough() -> None:
    """At a magnification of 1e-4 the sentence names a pixel size, which then scans at once."""
    setup = changed(sample_setup(), {"lens.magnification": 1e-4})
    with pytest.raises(InputError, match=r"8000 reference pixels a side") as refusal:
        scan(setup)
    size = re.findall(r"expected ([\d.]+ um) or more", str(refusal.value))[0]
    assert scan(changed(setup, {"target.pixel_size": size})).image.shape == (1, 1024)


def test_a_target_far_from_focus_is_refused() -> None:
    """At 10 m from best focus a point blurs over 10⁵ reference pixels; 100 mm is scanned."""
    far = changed(sample_setup(), {"lens.defocus": "-10 m"})
    with pytest.raises(InputError, match=r"^lens.defocus, transport.flutter: read 10000 mm from"):
        refuse_too_fine(station(far), 18.75)
    near = {"lens.defocus": "-100 mm", "acquisition.lines": 1}
    assert scan(changed(sample_setup(), near)).image.shape == (1, 1024)


def test_beyond_the_border_its_value_goes_on() -> None:
    """Far outside, a target shows what it shows where its border has been painted on further."""
    far = np.pad(TARGET, ((0, 0), (1200, 1200)), mode="edge")
    near, painted = (
        render(WIDE, ArrayReference(data=data, pixel_size_um=600.0), 8, 1).expected_e
        for data in (TARGET, far)
    )
    np.testing.assert_allclose(near, painted, rtol=1e-5)  # sums in float32, in another order


def test_what_comes_round_again_is_the_same() -> None:
    """A target that repeats is the same as nine of them side by side."""
    setup = changed(WIDE, {"target.repeat": True})
    once, often = (
        render(setup, ArrayReference(data=data, pixel_size_um=600.0), 8, 1).expected_e
        for data in (TARGET, np.tile(TARGET, (1, 9)))
    )
    np.testing.assert_allclose(once, often, rtol=1e-5)  # sums in float32, in another order
