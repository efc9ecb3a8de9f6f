"""A target that lies elsewhere: the forward model against a camera written a second time."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from linesim.forward.reference import ArrayReference
from linesim.forward.render import expected_of, render
from linesim.forward.sampling.placement import AS_SET_UP, Placement
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.setup.arrays import FloatArray
from linesim.setup.load import setup_from
from tests.studies.plain_camera import Lies, Plain, expected_dn, reference, station_texts, waves

LINES, RIM_PX, FINE = 64, 24, 8
PLAIN = Plain(pixels=64)
SIDE_UM = PLAIN.pixel_um / PLAIN.magnification
TARGET = waves(2, finest_per_mm=300 / SIDE_UM)


def seen_e(placement: Placement) -> FloatArray:
    """Give expected electrons of a target that lies elsewhere."""
    shape = (FINE * (LINES + 2 * RIM_PX), FINE * (PLAIN.pixels + 2 * RIM_PX))
    texts: dict[str, Any] = station_texts(PLAIN, SIDE_UM / FINE)
    texts["target"] |= {"image": "flat", "width": "1 mm", "height": "1 mm"}
    drawn = reference(TARGET, SIDE_UM / FINE, shape).astype(np.float32)
    target = ArrayReference(data=drawn, pixel_size_um=SIDE_UM / FINE)
    seen = expected_of(setup_from(texts), target, np.arange(LINES, dtype=np.float64), placement)
    return seen[:, :, 0].astype(np.float64)


STRAYS_UM = 40 * np.sin(np.arange(LINES) / 9)
TURN_DEG = 0.7


@pytest.mark.parametrize(
    ("placement", "lies"),
    [
        (Placement(across_um=131.0, along_um=777.0), Lies(across_um=131.0, along_um=777.0)),
        (Placement(strays_um=STRAYS_UM), Lies(strays_um=STRAYS_UM)),
        # the plain camera's drift starts at mid-exposure of line 0, half a line on
        (Placement(drift=0.008, across_um=0.008 * SIDE_UM / 2), Lies(drift=0.008)),
        (
            Placement(tilt=np.tan(np.deg2rad(TURN_DEG)), scale_across=np.cos(np.deg2rad(TURN_DEG))),
            Lies(turn_deg=TURN_DEG),
        ),
    ],
)
def test_a_target_elsewhere_is_seen_as_a_plain_camera_sees_it(
    placement: Placement, lies: Lies
) -> None:
    """
    Shifted, straying, running aside, turned: detail to what is allowed between the lens's axes.

    Besides that error the reference's own pixels cost 1 − sinc²(f p), at most 1.6 % of a wave at
    0.3 cycles an object pixel of 8, and less of the others: 1 % in the rms.
    """
    ours = seen_e(placement)
    truth = (expected_dn(TARGET, PLAIN, LINES, lies) - PLAIN.black_dn) / PLAIN.gain_dn_e
    inner = (slice(4, -4),) * 2
    assert (ours - truth)[inner].std() < (OFF_AXIS_ERROR + 0.01) * truth[inner].std()
    # and seen from where the setup has it, it looks altogether different
    assert (seen_e(AS_SET_UP) - truth)[inner].std() > 0.1 * truth[inner].std()


def test_a_scale_along_is_a_web_that_runs_faster_under_the_same_clock() -> None:
    """Lines start, and move while exposed, by so much more."""
    ours = seen_e(Placement(scale_along=1.03))
    plain = replace(PLAIN, speed_mm_s=1.03 * PLAIN.speed_mm_s)
    truth = (expected_dn(TARGET, plain, LINES) - plain.black_dn) / plain.gain_dn_e
    inner = (slice(4, -4),) * 2
    assert (ours - truth)[inner].std() < (OFF_AXIS_ERROR + 0.01) * truth[inner].std()


def test_a_scale_across_is_a_coarser_pixel() -> None:
    """
    Columns lie so much further apart on the target, and see as much more of it.

    The plain camera's pixel is larger along as well, and so is its blur: at 0.3 cycles a pixel
    3 % of (π·0.3)²/3 for the box, and as much again for the lens, 2 %.
    """
    ours = seen_e(Placement(scale_across=1.03))
    truth = expected_dn(TARGET, PLAIN, LINES, Lies(scale=1.03))
    truth = (truth - PLAIN.black_dn) / PLAIN.gain_dn_e
    inner = (slice(4, -4),) * 2
    assert (ours - truth)[inner].std() < (OFF_AXIS_ERROR + 0.03) * truth[inner].std()


def test_a_target_in_its_place_gives_the_bytes_of_the_scan() -> None:
    """What is not moved is computed as ever."""
    texts: dict[str, Any] = station_texts(PLAIN, SIDE_UM / FINE)
    texts["target"] |= {"image": "flat", "width": "1 mm", "height": "1 mm"}
    drawn = reference(TARGET, SIDE_UM / FINE, (400, 600)).astype(np.float32)
    target = ArrayReference(data=drawn, pixel_size_um=SIDE_UM / FINE)
    setup = setup_from(texts)
    seen = expected_of(setup, target, np.arange(LINES, dtype=np.float64), AS_SET_UP)
    assert np.array_equal(seen[:, :, 0], render(setup, target, LINES, 0).expected_e)
