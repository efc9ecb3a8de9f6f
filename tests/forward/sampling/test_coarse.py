"""
A widely blurring lens sees cells of a reference, against all of its pixels.

Straight lines between points h apart err by h² max|E″|/8 (interpolation, textbooks on numerical
analysis); cells are chosen so that this stays under `EDGE_ERROR` of white at one edge. Many edges
at random places add up like independent errors; the pictures here stay under 0.1 %.
"""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.channels import channels
from linesim.forward.expose import exposer, exposers
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sampling.coarse import CoarseReference, coarser
from linesim.forward.sampling.zones import EDGE_ERROR
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.setup.arrays import ImageArray
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup

PIXELS, FINE = 160, 4
SIZE = 4 * PIXELS + 37
Y, X = np.mgrid[:SIZE, :SIZE]
MIDDLE = SIZE / 2
EDGES = {
    "across": X > MIDDLE + 3,
    "along": Y > MIDDLE + 1,
    "slant": 0.1 * (X - MIDDLE) + Y > MIDDLE,
}
MANY = {
    "star": np.sin(36 * np.arctan2(Y - MIDDLE, X - MIDDLE)) > 0,
    "tiles": (X // 73 + Y // 51) % 2 == 1,
    "noise": np.random.default_rng(2).random(X.shape) > 0.5,
}
LENSES: dict[str, dict[str, Any]] = {
    # 10 and 40 pixels of 7.5 um, and 8 by 12
    "blur": {"lens.blur": "75 um"},
    "wide blur": {"lens.blur": "300 um"},
    "uneven blur": {"lens.blur": None, "lens.blur_across": "60 um", "lens.blur_along": "90 um"},
    # a disc of m²δ/(N(1 + m)) = 0.6 mm, 80 pixels
    "defocus": {"lens.defocus": "264 mm"},
}
CAMERAS: dict[str, dict[str, Any]] = {
    "colours": {"camera.kind": "prism"},
    "skew": {"transport.skew": "0.5 deg"},
    "wander": {"transport.lateral_wander": "0.2 mm"},
    "repeat": {"target.repeat": True},
    "apart": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
}


def station_with(changes: dict[str, Any]) -> Setup:
    """Put a narrow camera over a target with four pixels in each of its own."""
    plain = {
        "requirement": None,
        "camera.pixels": PIXELS,
        "camera.pixel_width": "7.5 um",
        "lens.magnification": 0.1,
        "lens.f_number": 4.0,
        "lens.blur": "0 um",
        "target.pixel_size": "18.75 um",
    }
    return changed(sample_setup(), {**plain, **changes})


def error(setup: Setup, picture: ImageArray) -> float:
    """Give the largest error of the first channel against all pixels, as a share of white."""
    seen = ArrayReference(data=picture, pixel_size_um=setup.target.pixel_size_um)
    apart = "acquisition" in setup.texts and setup.acquisition.binning.across > 1
    cells = exposers(setup, seen, physical=apart)[0]
    assert isinstance(cells.samplers[0].reference, CoarseReference)
    channel = channels(setup, station(setup))[0]
    exact = exposer(setup, seen, channel, physical=apart)
    white_e = float(exposer(setup, FLAT, channel, physical=apart).strip(0, 0, 4).max())
    lines = np.arange(40.0, 104.0)
    return float(np.abs(cells.at(0, lines) - exact.at(0, lines)).max()) / white_e


FLAT = ArrayReference(data=np.ones((40, 40), dtype=np.float32), pixel_size_um=18.75)


@pytest.mark.parametrize("picture", EDGES.values(), ids=EDGES.keys())
@pytest.mark.parametrize("lens", LENSES.values(), ids=LENSES.keys())
def test_an_edge_lies_where_all_pixels_have_it(lens: dict[str, Any], picture: ImageArray) -> None:
    """An edge of any direction, within the error that cells are chosen by."""
    assert error(station_with(lens), picture) < EDGE_ERROR


@pytest.mark.parametrize("picture", MANY.values(), ids=MANY.keys())
@pytest.mark.parametrize("lens", LENSES.values(), ids=LENSES.keys())
def test_pictures_of_many_edges_stay_under_a_thousandth(
    lens: dict[str, Any], picture: ImageArray
) -> None:
    """Also where every pixel is another than its neighbours."""
    assert error(station_with(lens), picture) < 1e-3


@pytest.mark.parametrize("camera", CAMERAS.values(), ids=CAMERAS.keys())
def test_every_camera_sees_cells_alike(camera: dict[str, Any]) -> None:
    """Lines that lean, wander, repeat, or are kept apart, and colours: the same small error."""
    picture = MANY["tiles"]
    if "target.repeat" in camera:
        picture = picture[:640, :640]
    assert error(station_with({"lens.blur": "150 um", **camera}), picture) < 5e-4


def test_errors_grow_with_the_square_of_the_cell() -> None:
    """
    Cells twice as wide err four times as much at an edge in the middle of one.

    The next order takes (h/σ)²/12 of that at h = σ/4: 0.5 %.
    """
    setup = station_with({"lens.blur": "150 um"})
    channel, lines = channels(setup, station(setup))[0], np.arange(64.0, 68.0)
    errors = []
    for step in (10, 20):
        # in the middle of a cell, whose borders lie at whole numbers of steps
        picture = X[:, : 36 * 20] >= 16 * 20 + step // 2
        seen = ArrayReference(data=picture, pixel_size_um=18.75)
        exact = exposer(setup, seen, channel).at(0, lines)
        cells = CoarseReference(fine=seen, step=step, repeat=False)
        errors.append(np.abs(exposer(setup, cells, channel).at(0, lines) - exact).max())
    assert errors[1] / errors[0] == pytest.approx(4.0, rel=0.05)


@pytest.mark.parametrize("bands", [(), (3,)], ids=["grey", "colours"])
def test_cells_are_means_and_borders_go_on(bands: tuple[int, ...]) -> None:
    """To rounding of single precision, whichever rows are asked for; the last cell is filled up."""
    data = np.random.default_rng(4).random((205, 83, *bands), dtype=np.float32)
    cells = CoarseReference(fine=ArrayReference(data=data, pixel_size_um=2.0), step=7, repeat=False)
    assert cells.pixel_size_um == 14.0
    more = [(7, 7 + 30 * 7 - 205), (7, 7 + 12 * 7 - 83)] + [(0, 0)] * len(bands)
    whole = np.pad(data.astype(np.float64), more, mode="edge")
    wanted = whole.reshape(32, 7, 14, 7, *bands).mean(axis=(1, 3))
    assert cells.shape == wanted.shape
    for first, last in ((0, 32), (31, 32), (0, 1), (9, 23)):
        assert_allclose(cells.rows(first, last), wanted[first:last], rtol=0, atol=49 * 2.0**-24)


def test_cells_are_taken_for_wide_blurs_alone() -> None:
    """An ordinary lens, one that is sharp at some place, and an odd repeat keep their pixels."""
    seen = ArrayReference(data=np.ones((601, 640), dtype=np.float32), pixel_size_um=18.75)
    for changes in (
        {},
        {"lens.blur": "20 um"},
        {"lens.defocus": ["264 mm", "0 mm", "-264 mm"]},
        {"lens.blur": "300 um", "target.repeat": True},
    ):
        setup = station_with(changes)
        assert coarser(setup, station(setup), seen, OFF_AXIS_ERROR) is seen


def test_threads_change_no_byte_of_cells() -> None:
    """Blocks of cells are kept, and who asks first is a matter of chance."""
    setup = station_with({"lens.blur": "300 um"})
    seen = ArrayReference(data=MANY["star"], pixel_size_um=18.75)
    one, four = (render(setup, seen, 150, 1, workers=workers).image for workers in (1, 4))
    assert_array_equal(one, four)
