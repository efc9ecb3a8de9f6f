"""The sample scenes: their material keeps its look at any pixel size, and shows what it says."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import ndimage

from linesim.setup.arrays import ImageArray
from linesim.targets.foil import COATING, LUMP, METAL, foil
from linesim.targets.joints import PITCH_MM
from linesim.targets.ornament import GLAZE, LINE_BLUE, LINE_GREEN, LINE_RED, Colour
from linesim.targets.painted import grid_of
from linesim.targets.spots import Spots, blend_discs, scale_bells, scatter
from linesim.targets.texture import Texture
from linesim.targets.tile import GROUT, tile

GRAIN = Texture(seed=3, number=1, grain_x_mm=0.05, grain_y_mm=0.2)


def halved(image: ImageArray) -> ImageArray:
    """Mean of 2 x 2 pixels."""
    rows, columns = image.shape[0] // 2, image.shape[1] // 2
    means: ImageArray = image.reshape(rows, 2, columns, 2).mean(axis=(1, 3))
    return means


@pytest.fixture(scope="module")
def web() -> ImageArray:
    """Make the foil at its own size and 20 µm."""
    return foil(pixel_size_um=20.0, width_mm=40.0, height_mm=30.0).rows(0, 1500)


@pytest.mark.parametrize("pixel_size_um", [7.0, 50.0, 130.0])
def test_texture_is_one_material_at_every_pixel_size(pixel_size_um: float) -> None:
    """
    Pixels twice as large hold the mean of the smaller ones, exactly.

    Up to 20 float32 products a pixel, each off by 2^-24 of a value up to about 10.
    """
    fine = grid_of(pixel_size_um=pixel_size_um, width_mm=5.2, height_mm=5.2)
    coarse = grid_of(pixel_size_um=2 * pixel_size_um, width_mm=5.2, height_mm=5.2)
    block = GRAIN.block(fine, 0, 2 * (fine.rows // 2))[:, : 2 * (fine.columns // 2)]
    seen = GRAIN.block(coarse, 0, block.shape[0] // 2)[:, : block.shape[1] // 2]
    assert_allclose(halved(block), seen, rtol=0, atol=20 * 10 * 2.0**-24)


def test_texture_has_the_stated_spread() -> None:
    """
    Mean 0 and standard deviation 1 where pixels are much finer than the grain.

    16 x 16 mm hold 320 x 80 lattice cells; neighbours are correlated over 1/0.479 = 2.1 cells
    each way (integral of the squared spline), which leaves about 5800 independent values:
    sd of the standard deviation 1/sqrt(2 · 5800) = 0.0093, of the mean below 0.03.
    """
    grid = grid_of(pixel_size_um=10.0, width_mm=16.0, height_mm=16.0)
    block = GRAIN.block(grid, 0, 1600)
    assert block.std() == pytest.approx(1.0, abs=4 * 0.0093)
    assert block.mean() == pytest.approx(0.0, abs=4 * 0.03)


def test_texture_grows_to_the_right_and_on() -> None:
    """A wider or longer target keeps what a smaller one showed."""
    small = GRAIN.block(grid_of(pixel_size_um=40.0, width_mm=4.0, height_mm=4.0), 20, 90)
    large = GRAIN.block(grid_of(pixel_size_um=40.0, width_mm=9.0, height_mm=90.0), 20, 90)
    assert_allclose(large[:, :100], small, rtol=0, atol=0)


def test_textures_of_other_numbers_are_unrelated() -> None:
    """
    Their correlation is that of independent fields.

    8 x 8 mm hold 160 x 40 cells, some 1450 independent values: sd 0.026.
    """
    grid = grid_of(pixel_size_um=20.0, width_mm=8.0, height_mm=8.0)
    other = Texture(seed=3, number=2, grain_x_mm=0.05, grain_y_mm=0.2)
    one, two = (part.block(grid, 0, 400) for part in (GRAIN, other))
    one, two = one - one.mean(), two - two.mean()
    assert (one * two).mean() / (one.std() * two.std()) == pytest.approx(0.0, abs=4 * 0.026)


def test_discs_keep_their_area_and_stop_at_white() -> None:
    """
    Two discs apart add up to their areas; the same disc twice covers no more than once.

    float32 shares of some 900 pixels: 900 · 2^-25 is far below 1e-4 pixel.
    """
    grid = grid_of(pixel_size_um=10.0, width_mm=1.0, height_mm=1.0)
    apart = Spots(
        x_mm=np.array([0.2, 0.71]), y_mm=np.array([0.33, 0.6]), radius_mm=np.array([0.003, 0.12])
    )
    image = np.zeros((100, 100), dtype=np.float32)
    blend_discs(image, apart, 1.0, grid=grid, first=0)
    assert image.sum(dtype=np.float64) == pytest.approx(np.pi * (0.3**2 + 12**2), abs=1e-4)
    twice = Spots(x_mm=np.full(2, 0.5), y_mm=np.full(2, 0.5), radius_mm=np.full(2, 0.2))
    image = np.zeros((100, 100), dtype=np.float32)
    blend_discs(image, twice, 1.0, grid=grid, first=0)
    assert image.max() == 1
    assert image[50, 50] == 1


def test_bells_change_by_what_is_asked() -> None:
    """The sum of a bell of -0.5 and s = 4 px is -0.5 · 2 pi s² (4 s of reach lose 1.3e-4 of it)."""
    grid = grid_of(pixel_size_um=10.0, width_mm=1.0, height_mm=1.0)
    image = np.ones((100, 100), dtype=np.float32)
    bump = Spots(x_mm=np.array([0.5]), y_mm=np.array([0.47]), radius_mm=np.array([0.04]))
    scale_bells(image, bump, -0.5, grid=grid, first=0)
    wanted = 0.5 * 2 * np.pi * 4**2
    assert (1 - image.astype(np.float64)).sum() == pytest.approx(wanted, rel=2e-4)


def test_scattered_points_keep_apart() -> None:
    """
    Well spread: no two of 500 points in a square come nearer than half a mean spacing.

    Independent points would: their expected nearest pair is about 0.05 of it.
    """
    x_mm, y_mm = scatter(np.random.default_rng(1), count=500, box_mm=(0.0, 0.0, 1.0, 1.0))
    away = np.hypot(x_mm[:, None] - x_mm, y_mm[:, None] - y_mm) + 9 * np.eye(500)
    assert away.min() > 0.5 / np.sqrt(500)


def test_foil_shows_metal_beside_a_coating_lane(web: ImageArray) -> None:
    """
    Bare foil in the outer tenth, coating in the lane, at their stated mean reflectances.

    Bands of 25 x 0.6 mm leave some 1.2 x 6 independent values of 3 % in a margin: 1.1 %, k = 4.
    Coating: mottle and bands (3 %, 2 %) over 31 x 30 mm: below 0.5 %, k = 4.
    """
    for margin in (web[:, :200], web[:, 1800:]):
        assert margin.mean() == pytest.approx(METAL, rel=4 * 0.011)
    assert np.median(web[:, 320:1680]) == pytest.approx(COATING, rel=4 * 0.005)


def test_foil_shows_its_faults(web: ImageArray) -> None:
    """
    Pinholes, lumps, one streak, one scratch, each found by a plain threshold.

    The lane holds 31.2 x 30 mm · 0.012 = 12 pinholes and 0.006 · the same + 1 = 7 lumps
    (rounded up); the smallest pinhole spans 2 pixels, so each is seen.
    """
    lane = web[:, 240:1760]
    bright, _ = ndimage.label(lane > 0.3, np.ones((3, 3)))
    heights = [part[0].stop - part[0].start for part in ndimage.find_objects(bright)]
    assert sum(height < 20 for height in heights) >= 10
    assert max(heights) > 100  # the scratch
    _, lumps = ndimage.label(lane < 1.2 * LUMP, np.ones((3, 3)))
    assert lumps >= 6
    columns = np.median(lane[700:], axis=0)
    streak = int(columns.argmax())
    assert columns[streak] > 1.4 * COATING
    assert np.median(lane[:200, streak]) == pytest.approx(COATING, rel=0.1)


def test_foil_is_one_web_at_every_pixel_size(web: ImageArray) -> None:
    """
    Pixels of 40 µm hold the mean of 20 µm ones, where a pixel is of one material.

    Where a fault or a rim meets the texture, the scene is laid by shares of area instead of
    being integrated as a whole; that is under 15 % of it, and small (below 5e-5 in all but 2 %).
    Elsewhere a handful of float32 roundings of values below 1: 1e-6.
    """
    coarse = foil(pixel_size_um=40.0, width_mm=40.0, height_mm=30.0).rows(0, 750)
    apart = np.abs(halved(web) - coarse)
    assert np.quantile(apart, 0.85) < 1e-6
    assert np.quantile(apart, 0.98) < 5e-5


@pytest.fixture(scope="module")
def one_tile() -> ImageArray:
    """Make a tile."""
    return tile(pixel_size_um=75.0, width_mm=75.0, height_mm=75.0).rows(0, 1000)


@pytest.mark.parametrize(
    ("line_mm", "colour"), [(31.8, LINE_RED), (32.8, LINE_GREEN), (33.8, LINE_BLUE)]
)
def test_tile_has_fine_lines_of_red_green_and_blue(
    one_tile: ImageArray, line_mm: float, colour: Colour
) -> None:
    """
    Across and along, at their places, in their colours.

    Print lets 4 % of the ground through; the glaze over it varies by 1.2 %, k = 4.
    """
    wanted = 0.96 * np.array(colour) + 0.04 * np.array(GLAZE)
    place = int((PITCH_MM / 2 - line_mm) / 0.075)
    across, along = one_tile[place, 430:470], one_tile[430:470, place]
    for line in (across, along):
        assert_allclose(np.median(line, axis=0), wanted, rtol=4 * 0.012)


def test_tile_joints_are_grout() -> None:
    """
    The 3 mm between the faces hold sandy grout of its stated colour.

    Coarse grain 3 % on 2 mm lattices: 150 mm of joint hold some 35 independent values, 0.5 %;
    k = 4.
    """
    reference = tile(pixel_size_um=150.0, width_mm=150.0, height_mm=150.0)
    joint = reference.rows(493, 507)  # 75 mm ± 1 mm
    assert_allclose(joint.mean(axis=(0, 1)), GROUT, rtol=4 * 0.005)
    assert joint[..., 0].std() > 0.03 * GROUT[0]


def test_tile_misses_print_on_one_tile() -> None:
    """
    Tile for tile the print is one; the second of the first row lacks a patch of it.

    The patch is about an ellipse of 6.2 x 7.75 mm, 6700 pixels, part of which was printed.
    """
    reference = tile(pixel_size_um=150.0, width_mm=150.0, height_mm=150.0)
    image = reference.rows(0, 1000)
    whole, faulty = image[:500, :500], image[:500, 500:]
    lighter = (faulty - whole).max(axis=2) > 0.3
    patch = lighter[90:280, 250:420]
    assert 500 < patch.sum() < 6700
    assert lighter.sum() - patch.sum() < 0.01 * lighter.size
