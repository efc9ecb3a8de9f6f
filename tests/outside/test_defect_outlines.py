"""Outlines of faults against scikit-image and OpenCV, which paint them on much finer grids."""

from math import pi

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage.draw import ellipse, polygon

from linesim.defects.blobs import Blob
from linesim.defects.clusters import Cluster
from linesim.defects.edges import closed, covered
from linesim.defects.fault import FINE, Shape
from linesim.defects.pose import Pose
from linesim.defects.strokes import Stroke
from linesim.defects.window import Window
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.painted import Grid

PITCH_UM = 20.0
GRID = Grid(pixel_size_um=PITCH_UM, rows=260, columns=300)


def drawn(shape: Shape, pose: Pose, window: Window) -> ImageArray:
    """Cover pixels with a shape."""
    return covered(pose.placed(shape.edges(PITCH_UM / FINE)), window)


def supersampled(inside: "np.ndarray", times: int) -> FloatArray:
    """Mean over blocks of a fine picture."""
    rows, columns = inside.shape[0] // times, inside.shape[1] // times
    blocks = inside.reshape(rows, times, columns, times).astype(np.float64)
    return np.asarray(blocks.mean(axis=(1, 3)))


def test_an_ellipse_as_skimage_draws_it() -> None:
    """
    `skimage.draw.ellipse` on a grid 32 times as fine, block by block.

    A straight edge cuts 32² points with an error of about 1/32 · 0.5 of a pixel at the worst.
    """
    window = Window(grid=GRID, top=60, bottom=140, left=110, right=190)
    share = drawn(
        Blob(width_um=900.0, height_um=380.0), Pose(x_mm=0.013, y_mm=2.0, turn_deg=30.0), window
    )
    fine = np.zeros((80 * 32, 80 * 32))
    # skimage turns the other way, and names pixels by their middles
    place = (100 - 60) * 32 - 0.5, (150 + 0.65 - 110) * 32 - 0.5
    fine[ellipse(*place, 9.5 * 32, 22.5 * 32, rotation=np.deg2rad(-30.0))] = 1  # type: ignore[no-untyped-call]
    assert_allclose(share, supersampled(fine, 32), rtol=0, atol=0.5 / 32)


def test_a_bent_stroke_as_opencv_draws_it() -> None:
    """
    `cv2.polylines` of 400 chords, thick, on a grid 16 times as fine.

    It rounds ends and places to a sixteenth of a fine pixel and the width to a whole one: an edge
    is off by half a fine pixel, 1/32, and sampled to 0.5/16.
    """
    stroke = Stroke(length_um=2000.0, width_um=13.0 * PITCH_UM, bend=0.2)
    window = Window(grid=GRID, top=30, bottom=180, left=80, right=230)
    share = drawn(stroke, Pose(x_mm=0.0, y_mm=2.0), window)
    t = np.linspace(-1, 1, 401)
    chord = stroke.chord_um / PITCH_UM
    points = np.stack([0.2 * chord * (1 - t**2) + 70, chord / 2 * t + 70], axis=1) * 16 - 0.5
    fine = np.zeros((150 * 16, 150 * 16), dtype=np.uint8)
    whole = np.rint(points * 16).astype(np.int32)[:, None]
    cv2.polylines(fine, [whole], isClosed=False, color=1, thickness=13 * 16, shift=4)
    found = supersampled(fine, 16)
    assert_allclose(share, found, rtol=0, atol=2 / 16)
    assert share.sum(dtype=np.float64) == pytest.approx(found.sum(), rel=0.01)


def test_any_polygon_as_skimage_draws_it() -> None:
    """`skimage.draw.polygon` on a grid 32 times as fine: a star with notches, drawn clockwise."""
    angle = np.arange(14) * 2 * pi / 14
    radius = np.where(np.arange(14) % 2, 9.0, 23.0)
    x, y = 31.3 + radius * np.cos(angle), 30.8 - radius * np.sin(angle)
    grid = Grid(pixel_size_um=1.0, rows=60, columns=62)
    share = covered(closed(x - 31, y), Window(grid=grid, top=0, bottom=60, left=0, right=62))
    fine = np.zeros((60 * 32, 62 * 32))
    fine[polygon(y * 32 - 0.5, x * 32 - 0.5, fine.shape)] = 1  # type: ignore[no-untyped-call]
    assert_allclose(share, supersampled(fine, 32), rtol=0, atol=1 / 32)
    shoelace = abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    assert share.sum(dtype=np.float64) == pytest.approx(shoelace, rel=1e-6)


@pytest.mark.parametrize("form", range(6))
def test_a_cluster_is_the_union_of_its_discs(form: int) -> None:
    """Points 1/24 pixel apart that lie in any of its discs; an edge is off by half of that."""
    cluster = Cluster(size_um=1100.0, discs=9, form=form)
    window = Window(grid=GRID, top=60, bottom=140, left=110, right=190)
    share = drawn(cluster, Pose(x_mm=0.0, y_mm=2.0), window)
    fine = (np.arange(80 * 24) + 0.5) / 24 - 40
    x_um, y_um, radius_um = cluster.circles_um()
    inside = np.zeros((80 * 24, 80 * 24), dtype=bool)
    for x, y, radius in np.stack([x_um, y_um, radius_um], axis=1) / PITCH_UM:
        inside |= (fine - x) ** 2 + (fine[:, None] - y) ** 2 < radius**2
    assert_allclose(share, supersampled(inside, 24), rtol=0, atol=1.5 / 24)
    assert (np.hypot(x_um, y_um) + radius_um).max() == pytest.approx(550.0)
    joined = cv2.connectedComponents(inside.astype(np.uint8))[0]
    assert joined == 2  # the ground, and one lump
