"""Scenes with relief: marks have their exact areas and volumes, and slopes stay within bounds."""

from collections.abc import Callable
from itertools import pairwise
from math import exp, pi, sqrt

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.targets.catalogue import BUILT_INS
from linesim.targets.coverage import furrow
from linesim.targets.film import GEL_LENGTH, GEL_STEEPNESS, HOLES, INK, film, print_boxes
from linesim.targets.glaze import JOINT_UM, glaze
from linesim.targets.painted import FacedTarget, grid_of
from linesim.targets.sheet import ARMS_MM, DENTS, GROOVES, HOLE, HOLE_MM, INK_GLOSS, RING_MM, sheet
from linesim.targets.spots import Groove, Mounds, plough, raise_mounds

Scene = Callable[..., FacedTarget]
SCENES = pytest.mark.parametrize("scene", [sheet, film, glaze], ids=["sheet", "film", "glaze"])
KINDS = ("heights", "transmittance", "gloss_share")
STEEPEST_FURROW = sqrt(3 - sqrt(6)) * sqrt(6) * exp(-(3 - sqrt(6)) / 2)
"""Largest slope of (1 - u²) exp(-u²/2): u (3 - u²) exp(-u²/2) at u² = 3 - √6; derived."""


def made(scene: Scene, pixel_size_um: float = 50.0, *, faults: bool = True) -> FacedTarget:
    """Make a scene of 40 x 30 mm."""
    return scene(pixel_size_um=pixel_size_um, width_mm=40.0, height_mm=30.0, faults=faults)


def whole(target: FacedTarget, kind: str) -> FloatArray:
    """Give all rows of one kind."""
    image: ImageArray = getattr(target, kind)(0, target.shape[0])
    return image.astype(np.float64)


def marks_um(scene: Scene, pixel_size_um: float = 50.0) -> FloatArray:
    """Give the relief of the faults alone, without that of the face."""
    with_faults, without = (
        whole(made(scene, pixel_size_um, faults=faults), "heights") for faults in (True, False)
    )
    return with_faults - without


def slopes(heights_um: FloatArray, pixel_size_um: float) -> FloatArray:
    """Give slopes by central differences over two pixels, the length of both directions."""
    across = heights_um[1:-1, 2:] - heights_um[1:-1, :-2]
    along = heights_um[2:, 1:-1] - heights_um[:-2, 1:-1]
    return np.asarray(np.hypot(across, along) / (2 * pixel_size_um))


def halved(image: FloatArray) -> FloatArray:
    """Mean of 2 x 2 pixels."""
    rows, columns = image.shape[0] // 2, image.shape[1] // 2
    return np.asarray(image.reshape(rows, 2, columns, 2).mean(axis=(1, 3)))


@pytest.mark.parametrize("turn_deg", [0.0, 3.0, 35.0, 45.0, 90.0])
def test_a_furrow_is_the_mean_over_its_pixels(turn_deg: float) -> None:
    """
    The closed form is what 200 x 200 points of a pixel give.

    The midpoint rule over h = 1/200: h²/24 times the second derivatives, 3/sigma² each at most.
    """
    normal = (np.sin(np.radians(turn_deg)), np.cos(np.radians(turn_deg)))
    fine = (np.arange(200) + 0.5) / 200 - 0.5
    inside = fine * normal[0] + fine[:, None] * normal[1]
    for away, sigma in ((0.0, 0.7), (0.9, 0.7), (1.3, 2.0)):
        u = (away + inside) / sigma
        wanted = ((1 - u**2) * np.exp(-(u**2) / 2)).mean()
        found = furrow(np.array([away]), normal, sigma)[0]
        assert found == pytest.approx(wanted, abs=2 * 3 / sigma**2 / 200**2 / 24 + 1e-7)


@pytest.mark.parametrize(("across", "along"), [(0.05, 0.05), (0.004, 0.09)])
def test_mounds_keep_their_volume(across: float, along: float) -> None:
    """A bell holds 2 pi s t h however small it is; a rimmed crater holds nothing."""
    grid = grid_of(pixel_size_um=10.0, width_mm=1.5, height_mm=1.5)
    one = Mounds(
        x_mm=np.array([0.731]),
        y_mm=np.array([0.744]),
        across_mm=np.array([across]),
        along_mm=np.array([along]),
        height_um=np.array([-7.0]),
    )
    bell, crater = np.zeros((2, 150, 150), dtype=np.float32)
    raise_mounds(bell, one, grid=grid, first=0)
    raise_mounds(crater, one, grid=grid, first=0, rimmed=True)
    volume = -7 * 2 * pi * across * along
    # each pixel is rounded by 2^-24 of at most 7 um, some 20000 of them, with either sign
    assert bell.sum(dtype=np.float64) * 1e-4 == pytest.approx(volume, rel=1e-6)
    assert abs(crater.sum(dtype=np.float64)) * 1e-4 < 1e-6 * abs(volume)
    if across == along:  # its rim stands at twice the deviation, e^-2 as high as it is deep
        assert crater.max() == pytest.approx(7 * exp(-2), rel=0.01)
        assert crater.min() == pytest.approx(-7, rel=0.02)


@pytest.mark.parametrize("turn_deg", [0.0, 35.0, 90.0, -60.0])
def test_a_groove_moves_metal_and_takes_none(turn_deg: float) -> None:
    """
    The volume of a ploughed groove is nought, also where windows of rows cut it.

    Rounding: 2^-24 of 3 um in some 60 000 pixels with either sign is below 1e-4 um in the sum;
    the cut-off at six deviations takes 37 exp(-18) = 6e-7 of the depth a pixel there.
    """
    grid = grid_of(pixel_size_um=10.0, width_mm=4.0, height_mm=4.0)
    groove = Groove(
        x_mm=2.0, y_mm=2.0, length_mm=2.0, width_mm=0.08, turn_deg=turn_deg, depth_um=3.0
    )
    heights = np.zeros((400, 400), dtype=np.float32)
    plough(heights, groove, grid=grid, first=0)
    # at both extremes the profile is 1 - 1.5 u² of itself, and a pixel beside it ends at u = 0.25
    assert heights.min() == pytest.approx(-3, rel=1.5 * 0.25**2 / 3 + 0.005)
    # its shoulders: u² = 3, 2 exp(-1.5) of the depth
    assert heights.max() == pytest.approx(3 * 2 * exp(-1.5), rel=1.5 * 0.25**2 / 3 + 0.005)
    assert abs(heights.sum(dtype=np.float64)) < 1e-4 * np.abs(heights).sum()
    part = np.zeros((37, 400), dtype=np.float32)
    plough(part, groove, grid=grid, first=190)
    assert_array_equal(part, heights[190:227])


def test_hole_and_mark_of_the_sheet_have_their_areas() -> None:
    """
    The hole is a disc, the mark a ring and a cross: closed forms.

    float32 shares of some 10 000 pixels, 2^-25 each: below 1e-6 of an area of 400 pixels.
    """
    hole = whole(made(sheet), "transmittance").sum() * 0.05**2
    assert hole == pytest.approx(pi * HOLE_MM**2, rel=1e-5)
    inked = (1 - whole(made(sheet, faults=False), "gloss_share")).sum() / (1 - INK_GLOSS) * 0.05**2
    arm, wide = ARMS_MM
    cross = 4 * arm * wide - wide**2
    assert inked == pytest.approx(pi * (RING_MM[0] ** 2 - RING_MM[1] ** 2) + cross, rel=1e-5)


def test_holes_and_print_of_the_film_have_their_areas() -> None:
    """Discs, and boxes of which none overlaps another: closed forms, as for the sheet."""
    holes = (1 - whole(made(film), "gloss_share")).sum() * 0.05**2
    assert holes == pytest.approx(sum(pi * radius**2 for *_, radius in HOLES), rel=1e-5)
    boxes = print_boxes()
    area = ((boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])).sum()
    plain = made(film, faults=False)
    ground = float(plain.rows(0, 1)[0, 0])
    inked = (whole(plain, "rows") - ground).sum() / (INK - ground) * 0.05**2
    assert inked == pytest.approx(area, rel=1e-5)


def test_varnish_lies_on_the_faces() -> None:
    """
    Four faces of 72 mm with corners of 1.3 mm radius mirror, and nothing between them.

    At a corner the edge is taken as straight over a pixel: off by h²/(8 r) of a length of 8.2 mm.
    """
    faces = glaze(pixel_size_um=150.0, width_mm=150.0, height_mm=150.0, faults=False)
    area = whole(faces, "gloss_share").sum() * 0.15**2
    wanted = 4 * (72**2 - (4 - pi) * 1.3**2)
    assert area == pytest.approx(wanted, abs=4 * 8.2 * 0.15**2 / (8 * 1.3) + 0.01)


def test_relief_of_the_sheet_has_its_depths_and_slopes() -> None:
    """
    Dents are as deep as stated, and nothing is steeper than a groove.

    A difference over two pixels is a mean slope, so below the largest; a groove of four pixels
    across it keeps over 70 % of it.
    """
    marks = marks_um(sheet, 20.0)
    deepest = max(depth for *_, depth in DENTS)
    assert marks.min() == pytest.approx(-deepest, rel=0.01)
    steepest = max(STEEPEST_FURROW * depth / (500 * width) for *_, width, _, depth in GROOVES)
    found = slopes(marks, 20.0)
    assert 0.7 * steepest < found.max() < steepest
    (x, y, size, depth), pixel = DENTS[1], 0.02
    row, column = round(y * 30 / pixel), round(x * 40 / pixel)
    reach = round(4 * size / pixel)
    near = found[row - reach : row + reach, column - reach : column + reach]
    # the largest slope of a bell is exp(-1/2) of height over deviation
    assert near.max() == pytest.approx(depth / (1000 * size) * exp(-0.5), rel=0.01)


def test_gels_of_the_film_are_bells() -> None:
    """Bells of stated steepness over three sizes: slope and volume are closed forms."""
    marks = marks_um(film, 20.0)
    assert slopes(marks, 20.0).max() == pytest.approx(GEL_STEEPNESS * exp(-0.5), rel=0.03)
    ends, heights = np.array([0.06, 0.30]), marks.max()
    assert (1000 * GEL_STEEPNESS * ends[0] < heights) & (heights < 1000 * GEL_STEEPNESS * ends[1])
    # of one gel that stands alone in the middle of the film
    row, column = np.unravel_index(marks[500:1200, 300:900].argmax(), (700, 600))
    peak = marks[500 + row, 300 + column]
    reach = round(5 * GEL_LENGTH * peak / GEL_STEEPNESS / 20)
    near = marks[500 + row - reach : 500 + row + reach, 300 + column - reach : 300 + column + reach]
    size_px = peak / GEL_STEEPNESS / 20
    assert near.sum() == pytest.approx(2 * pi * GEL_LENGTH * size_px**2 * peak, rel=0.02)


def test_joints_of_the_tiles_lie_lower() -> None:
    """The middle of a joint is 80 um below a face but for sand: 6 um rms, 900 pixels, k = 5."""
    image = whole(glaze(pixel_size_um=100.0, width_mm=150.0, height_mm=90.0), "heights")
    joint = image[745:755, 50:700]
    assert joint.mean() == pytest.approx(-JOINT_UM, abs=5 * 8 / sqrt(900))
    assert slopes(image, 100.0).max() < 0.35


@pytest.mark.parametrize(
    ("scene", "most_um"),
    [(sheet, 0.083), (film, 1e-5), (glaze, 0.2)],
    ids=["sheet", "film", "glaze"],
)
def test_relief_is_one_at_every_pixel_size(scene: Scene, most_um: float) -> None:
    """
    Pixels of 50 um hold the mean of 25 um ones: textures, bells and craters to rounding.

    The fall of a groove's end, and that of a tile's edge, is taken at the middle of a pixel, which
    errs by h²/24 of its second derivative: of an end, 0.24 depth/sigma², 0.083 um for the 3 um and
    30 um of the finest groove; of an edge and its sand, where slopes multiply too, below 0.2 um.
    """
    fine, coarse = (whole(made(scene, size_um), "heights") for size_um in (25.0, 50.0))
    apart = np.abs(halved(fine) - coarse)
    assert np.quantile(apart, 0.75) < 1e-5
    assert apart.max() < most_um


@SCENES
def test_rows_of_every_kind_are_the_same_in_any_window(scene: Scene) -> None:
    """Windows that follow each other hold the bytes of the whole, and so does a second making."""
    once, again = (made(scene, 100.0) for _ in range(2))
    for kind in KINDS:
        image = getattr(once, kind)(0, 300)
        ends = [0, 1, 63, 64, 130, 207, 10**6]
        parts = [getattr(again, kind)(first, last) for first, last in pairwise(ends)]
        assert image.dtype == np.float32
        assert image.shape == once.shape[:2]
        assert np.concatenate(parts).tobytes() == image.tobytes()


@SCENES
def test_shares_are_shares(scene: Scene) -> None:
    """
    What passes and what mirrors lies between 0 and 1, and so do both with the matt part.

    But for a hole: what it sends back, 0.001, comes from what lies behind it.
    """
    target = made(scene)
    passed, mirrored = (whole(target, kind) for kind in KINDS[1:])
    for share in (passed, mirrored):
        assert share.min() >= 0
        assert share.max() <= 1
    matt = target.rows(0, 600).reshape(600, 800, -1).max(axis=-1)
    (gloss,) = (getattr(each.finish, "gloss", 0.0) for each in BUILT_INS if each.maker == scene)
    assert (matt + passed + gloss * mirrored).max() <= 1 + HOLE + 1e-6


def test_scenes_with_relief_have_a_finish() -> None:
    """A built-in target that is a faced one says what it mirrors by, and no other does."""
    for entry in BUILT_INS:
        size = {"pixel_size_um": 100.0, "width_mm": 40.0, "height_mm": 40.0}
        assert isinstance(entry.maker(**size), FacedTarget) == (entry.finish is not None)


@SCENES
def test_without_faults_there_are_none(scene: Scene) -> None:
    """The sheet is opaque, the film whole, the varnish unbroken; another seed moves the texture."""
    plain = made(scene, 100.0, faults=False)
    if scene is not film:
        assert whole(plain, "transmittance").max() == 0
    else:
        assert_allclose(whole(plain, "gloss_share"), 1)
    other = scene(pixel_size_um=100.0, width_mm=40.0, height_mm=30.0, seed=1)
    assert (other.heights(0, 50) != plain.heights(0, 50)).mean() > 0.5
