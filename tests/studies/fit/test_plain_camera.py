"""
The first half of the forward model against a camera written a second time, wave by wave.

Its formulas are derived anew, from sources named in ``tests/studies/plain_camera.py``, from memory.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.setup.load import setup_from
from tests.studies.plain_camera import Plain, expected_dn, reference, station_texts, waves

LINES, RIM_PX, FINE = 96, 6, 16
"""Reference pixels in an object pixel: of sinc² of a sixteenth 0.2 % are lost at 1/(2 px)."""


def seen_e(plain: Plain) -> tuple[Any, Any]:
    """Give expected electrons by linesim and by the plain camera, without a rim."""
    object_um = plain.pixel_um / plain.magnification
    target = waves(1, finest_per_mm=500 / object_um)
    pixel_um = object_um / FINE
    shape = (FINE * (LINES + 2 * RIM_PX), FINE * (plain.pixels + 2 * RIM_PX))
    texts: dict[str, Any] = station_texts(plain, pixel_um)
    texts["target"] |= {"image": "flat", "width": "1 mm", "height": "1 mm"}
    lit = ArrayReference(
        data=reference(target, pixel_um, shape).astype(np.float32), pixel_size_um=pixel_um
    )
    ours = render(setup_from(texts), lit, LINES, 0).expected_e.astype(np.float64)
    truth = (expected_dn(target, plain, LINES) - plain.black_dn) / plain.gain_dn_e
    inner = (slice(RIM_PX, -RIM_PX),) * 2
    return ours[inner], truth[inner]


@pytest.mark.parametrize(
    ("changes", "share"),
    [
        ({}, OFF_AXIS_ERROR),
        ({"blur_um": 0.0, "f_number": 8.0}, OFF_AXIS_ERROR),
        ({"speed_mm_s": 700.0, "exposure_us": 60.0, "edge_falloff": 0.3}, OFF_AXIS_ERROR),
        ({"ripple": 0.1, "ripple_hz": 300.0}, OFF_AXIS_ERROR),
        # Stokseth's form of a defocused pupil, to 0.01 of transfer against the integral over it
        ({"defocus_mm": 8.0}, 0.01),
    ],
)
def test_expected_electrons_are_those_of_a_plain_camera(
    changes: dict[str, Any], share: float
) -> None:
    """Level to 1e-4; detail to what is allowed between the lens's axes, of the detail's spread."""
    ours, truth = seen_e(replace(Plain(), **changes))
    assert ours.mean() == pytest.approx(truth.mean(), rel=1e-4)
    assert (ours - truth).std() < share * truth.std()
