"""Areas and profiles of shapes against closed forms."""

from math import atan, pi

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.defects.blobs import Blob, Ring
from linesim.defects.clusters import Cluster
from linesim.defects.edges import covered
from linesim.defects.fault import FINE, Shape
from linesim.defects.pose import Pose
from linesim.defects.strokes import SoftStreak, Stroke
from linesim.defects.window import Window
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError
from linesim.targets.coverage import disc
from linesim.targets.painted import Grid

PITCH_UM = 20.0
GRID = Grid(pixel_size_um=PITCH_UM, rows=260, columns=300)
WHOLE = Window(grid=GRID, top=0, bottom=260, left=0, right=300)
SHARP = 2e-6
"""
Relative error of a sharp area. A curve is drawn as chords that miss it by c = pixel/1000 at most,
and loses 2c/3 of each unit of its length. Blobs are brought to their area, so they lose
nothing. Strokes lose it on their round ends: 2/3 · c · pi w/2 over w · length, with w and length in
pixels and length over 200 px: 5e-6 at the most, and under half of it with the 128 steps at least.
"""
SOFT = 1e-4
"""
Relative error of a soft area: 96 steps h = 1/96 of the fall, each at its middle, miss the mean of
the square of a blob's size by (soft/R)² h²/12, 3.6e-5 at most (soft = 2R). A streak that is all
ends: both of second order, +0.4/96² by its levels and -0.4/128² by the corners of an end (factors
from 32 to 512 corners, 96 to 384 levels).
"""


def drawn(shape: Shape, pose: Pose, window: Window = WHOLE) -> ImageArray:
    """Cover pixels with a shape."""
    return covered(pose.placed(shape.edges(PITCH_UM / FINE / pose.scale)), window)


def area_um2(shape: Shape, turn_deg: float = 0.0, scale: float = 1.0) -> float:
    """Sum up the covered area, somewhere between the pixels."""
    pose = Pose(x_mm=0.1234, y_mm=2.6071, turn_deg=turn_deg, scale=scale)
    share = drawn(shape, pose)
    assert share.min() == 0
    assert share.max() <= 1
    return float(share.sum(dtype=np.float64)) * PITCH_UM**2


@pytest.mark.parametrize("diameter_um", [3.0, 20.0, 171.0, 3000.0])
def test_a_disc_has_pi_r_squared(diameter_um: float) -> None:
    """Whatever its size, from a seventh of a pixel up."""
    blob = Blob(width_um=diameter_um, height_um=diameter_um)
    assert area_um2(blob) == pytest.approx(pi * diameter_um**2 / 4, rel=SHARP)


@pytest.mark.parametrize("radius_px", [0.3, 1.0, 7.7])
def test_a_disc_is_the_exact_one(radius_px: float) -> None:
    """
    Each pixel holds the closed form of `targets.coverage.disc`, itself held against quadrature.

    Chords miss the circle by 1e-3 pixel at most, along 1.5 pixel lengths of it in one pixel.
    """
    blob = Blob(width_um=2 * radius_px * PITCH_UM, height_um=2 * radius_px * PITCH_UM)
    share = drawn(blob, Pose(x_mm=0.0042, y_mm=2.0))
    left, top = np.meshgrid(np.arange(300) - (150 + 0.21), np.arange(260) - 100.0)
    wanted = disc(left, top, radius_px)
    assert_allclose(share, wanted, rtol=0, atol=1.5e-3)


@pytest.mark.parametrize("turn_deg", [0.0, 17.3, 90.0, 203.0])
@pytest.mark.parametrize("scale", [0.3, 1.0, 1.7])
@pytest.mark.parametrize("ragged", [0.0, 0.2])
def test_turning_and_scaling_keep_the_area(turn_deg: float, scale: float, ragged: float) -> None:
    """An ellipse has pi/4 · width · height · scale², an irregular blob as well."""
    blob = Blob(width_um=1900.0, height_um=700.0, ragged=ragged, form=5)
    wanted = pi / 4 * 1900 * 700 * scale**2
    assert area_um2(blob, turn_deg, scale) == pytest.approx(wanted, rel=SHARP)


@pytest.mark.parametrize("bend", [0.0, 0.2, -0.35])
@pytest.mark.parametrize("turn_deg", [0.0, 41.0])
def test_a_stroke_has_length_times_width_and_its_ends(bend: float, turn_deg: float) -> None:
    """Whatever its bend; round ends add a disc, even tapers take their share."""
    wide = Stroke(length_um=4200.0, width_um=300.0, bend=bend)
    assert area_um2(wide, turn_deg) == pytest.approx(4200 * 300 + pi * 150**2, rel=SHARP)
    thin = Stroke(length_um=4200.0, width_um=12.0, bend=bend, taper=0.3)
    # the kink of the taper lies within one of 128 steps: 1/(8 · 0.3 · 128²) of the area each
    assert area_um2(thin, turn_deg) == pytest.approx(4200 * 12 * 0.7, rel=6e-5)


@pytest.mark.parametrize("bend", [0.0, 0.25, -0.25])
def test_both_sides_of_a_stroke_make_it(bend: float) -> None:
    """
    Halves add up pixel by pixel, and the outer one is larger by w² atan(4b)/4.

    Three sums of float32, each rounded to 2^-24; the last holds for the chords of both edges.
    """
    whole, one, two = (
        Stroke(length_um=3600.0, width_um=400.0, bend=bend, side=side) for side in (0, 1, -1)
    )
    pose = Pose(x_mm=0.0, y_mm=2.5, turn_deg=30.0)
    assert_allclose(drawn(one, pose) + drawn(two, pose), drawn(whole, pose), rtol=0, atol=2e-7)
    more = 400.0**2 * atan(4 * bend) / 4
    half = (3600 * 400 + pi * 200**2) / 2
    assert area_um2(one) == pytest.approx(half + more, rel=SHARP)


def test_a_stroke_is_as_long_as_it_says() -> None:
    """The parabola's length from its closed form, against the sum of 10⁵ chords."""
    stroke = Stroke(length_um=5000.0, width_um=10.0, bend=0.3)
    t = np.linspace(-1, 1, 100_001)
    x, y = 0.3 * stroke.chord_um * (1 - t**2), stroke.chord_um / 2 * t
    assert np.hypot(np.diff(x), np.diff(y)).sum() == pytest.approx(5000.0, rel=1e-9)


def test_a_ring_is_its_outer_disc_less_its_hole() -> None:
    """The area is pi (R² - (R - rim)²)."""
    ring = Ring(blob=Blob(width_um=900.0, height_um=900.0), rim_um=64.0)
    assert area_um2(ring) == pytest.approx(pi * (450**2 - 386**2), rel=SHARP)


@pytest.mark.parametrize("soft_um", [0.0, 30.0, 700.0, 2000.0])
def test_a_soft_rim_adds_its_closed_form(soft_um: float) -> None:
    """(1 + (1/4 - 2/pi²)(soft/R)²) of the sharp area."""
    blob = Blob(width_um=2500.0, height_um=1600.0, soft_um=soft_um)
    wanted = pi / 4 * 2500 * 1600 * (1 + (0.25 - 2 / pi**2) * (soft_um / blob.radius_um) ** 2)
    assert area_um2(blob, 25.0) == pytest.approx(wanted, rel=SOFT)


def test_a_soft_rim_falls_as_a_raised_cosine() -> None:
    """
    Along a radius: half the largest of 96 steps, pi/4/96, off the profile at most.

    The mean over a pixel of 1/60 of the fall, and over its width on a curve, is 1e-4.
    """
    blob = Blob(width_um=2400.0, height_um=2400.0, soft_um=1200.0)
    row = drawn(blob, Pose(x_mm=0.0, y_mm=2.61))[130, 150:]
    place = (np.arange(150) + 0.5) * PITCH_UM
    u = np.clip((place - 1200) / 1200 + 0.5, 0, 1)
    assert_allclose(row, (1 + np.cos(pi * u)) / 2, rtol=0, atol=pi / 4 / 96 + 1e-4)


@pytest.mark.parametrize("fade_um", [200.0, 3000.0])
def test_a_streak_has_width_times_length(fade_um: float) -> None:
    """Each part by its opacity, the profile a product of raised cosines."""
    streak = SoftStreak(length_um=3000.0, width_um=340.0, fade_um=fade_um)
    assert area_um2(streak, 90.0 if fade_um > 1000 else 0.0) == pytest.approx(3000 * 340, rel=SOFT)


def test_a_streak_is_a_product_of_raised_cosines() -> None:
    """
    Across and along, within half the largest of 96 steps.

    The mean over a pixel of 1/17 of its width adds a 24th of the curvature, pi²/2/24/17² = 7e-4.
    """
    streak = SoftStreak(length_um=3000.0, width_um=340.0, fade_um=1500.0)
    share = drawn(streak, Pose(x_mm=0.0, y_mm=2.6))
    x = np.abs(np.arange(300) - 149.5) * PITCH_UM / 340
    y = (np.abs(np.arange(260) - 129.5) * PITCH_UM - 1500) / 1500 + 0.5
    across = np.where(x < 1, (1 + np.cos(pi * x)) / 2, 0)
    along = (1 + np.cos(pi * np.clip(y, 0, 1))) / 2
    assert_allclose(share, np.outer(along, across), rtol=0, atol=pi / 4 / 96 + 8e-4)


def test_two_discs_overlap_in_a_lens() -> None:
    """
    Both less the lens where they meet: two sectors less the kite between middles and crossings.

    Chords that miss by c lose 2c/3 of each unit of the edge, which is no longer than both circles.
    """
    pair = Cluster(size_um=1000.0, discs=2, form=3)
    x, y, (one, two) = pair.circles_um()
    d = float(np.hypot(np.diff(x), np.diff(y))[0])
    a, b = ((d**2 + p**2 - q**2) / (2 * d * p) for p, q in ((one, two), (two, one)))
    kite = np.sqrt((-d + one + two) * (d + one - two) * (d - one + two) * (d + one + two)) / 2
    lens = one**2 * np.arccos(a) + two**2 * np.arccos(b) - kite
    chords = 2 / 3 * PITCH_UM / FINE * 2 * pi * (one + two)
    lost = pi * (one**2 + two**2) - lens - area_um2(pair, 12.0)
    assert -1e-6 * lens < lost < chords


@pytest.mark.parametrize("cut", [13, 64])
def test_rows_by_blocks_are_the_whole(cut: int) -> None:
    """The same bits, however a window is cut along travel."""
    shapes: list[Shape] = [
        Blob(width_um=1900.0, height_um=700.0, ragged=0.2, form=5, soft_um=300.0),
        SoftStreak(length_um=3000.0, width_um=340.0, fade_um=1500.0),
        Cluster(size_um=1100.0, discs=9, form=1),
        Stroke(length_um=3600.0, width_um=90.0, bend=0.2, taper=0.2),
    ]
    pose = Pose(x_mm=0.3, y_mm=2.51, turn_deg=31.0)
    for shape in shapes:
        blocks = [drawn(shape, pose, WHOLE.between(k, k + cut)) for k in range(0, 260, cut)]
        assert np.array_equal(np.concatenate(blocks), drawn(shape, pose))


def test_a_window_beside_sees_its_part() -> None:
    """Columns cut off on the left and on the right change nothing of those between."""
    pose = Pose(x_mm=0.3, y_mm=2.51, turn_deg=31.0)
    shape = Blob(width_um=1900.0, height_um=700.0)
    part = Window(grid=GRID, top=100, bottom=150, left=140, right=170)
    assert_allclose(
        drawn(shape, pose, part), drawn(shape, pose)[100:150, 140:170], rtol=0, atol=1e-7
    )


@pytest.mark.parametrize(
    "make",
    [
        lambda: Blob(width_um=0.0, height_um=5.0),
        lambda: Blob(width_um=5.0, height_um=float("nan")),
        lambda: Blob(width_um=5.0, height_um=5.0, ragged=0.3),
        lambda: Blob(width_um=5.0, height_um=5.0, soft_um=5.1),
        lambda: Ring(blob=Blob(width_um=5.0, height_um=5.0), rim_um=2.5),
        lambda: Stroke(length_um=100.0, width_um=30.0, bend=0.9),
        lambda: Stroke(length_um=100.0, width_um=30.0, taper=0.6),
        lambda: SoftStreak(length_um=100.0, width_um=3.0, fade_um=101.0),
        lambda: Cluster(size_um=100.0, discs=0),
        lambda: Pose(x_mm=0.0, y_mm=0.0, scale=0.0),
        lambda: Pose(x_mm=float("inf"), y_mm=0.0),
    ],
)
def test_what_cannot_be_drawn_is_refused(make: "object") -> None:
    """In a sentence that says what was read and what is expected."""
    assert callable(make)
    with pytest.raises(InputError, match=r"read .*expected"):
        make()
