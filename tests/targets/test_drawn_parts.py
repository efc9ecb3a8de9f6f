"""Scenes are drawn part by part, each shape where it is: that changes no value anywhere."""

from dataclasses import dataclass, replace
from math import pi

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.setup.arrays import ImageArray
from linesim.targets import foil as foil_module
from linesim.targets import ornament, star
from linesim.targets import tile as tile_module
from linesim.targets.catalogue import BUILT_INS, BuiltIn
from linesim.targets.joints import FACE_HALF_MM, ends_of_faces
from linesim.targets.ornament import COBALT, lay_ornament
from linesim.targets.painted import FacedTarget, Grid, Painted, all_rows, grid_of
from linesim.targets.quarter import Pixels, Point, Quarter
from linesim.targets.texture import Texture

HALF_MM = 37.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Everywhere(Quarter):
    """A quarter in which each shape looks at all pixels and takes none for inside or outside."""

    def about(self, middle: Point, reach_mm: float) -> Quarter:  # noqa: ARG002 -- all of it
        """Leave it as it is."""
        return self

    def within(self, middle: Point, radius_mm: float) -> np.ndarray:  # noqa: ARG002 -- none
        """Take nothing for granted."""
        return np.zeros((self.v_mm.size, self.u_mm.size), dtype=np.bool_)

    def between(self, middle: Point, least_mm: float, most_mm: float) -> Pixels:  # noqa: ARG002 -- all
        """Look at every pixel."""
        rows, columns = np.indices((self.v_mm.size, self.u_mm.size)).reshape(2, -1)
        return rows, columns


def quarter_axis(pixel_mm: float, shift_px: float) -> ImageArray:
    """Lay pixels over half a tile, their middles in rising order."""
    return (np.arange(shift_px, HALF_MM / pixel_mm) * pixel_mm).astype(np.float32)


def printed(quarter: Quarter) -> ImageArray:
    """Print on grey."""
    planes = np.full((3, quarter.v_mm.size, quarter.u_mm.size), 0.5, dtype=np.float32)
    lay_ornament(planes, quarter)
    return planes


@pytest.mark.parametrize(
    ("pixel_mm", "shift_px"), [(0.15, 0.5), (0.37, 0.02), (1.0, 0.7), (3.1, 0.2), (9.0, 0.0)]
)
def test_a_shape_is_drawn_as_if_each_pixel_were_looked_at(
    pixel_mm: float, shift_px: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The ornament drawn in boxes, rims alone exactly, is bit for bit that of every pixel."""
    u_mm, v_mm = quarter_axis(pixel_mm, shift_px), quarter_axis(pixel_mm, 0.3)[::-1]
    quick = printed(Quarter(u_mm=u_mm, v_mm=v_mm, pixel_mm=pixel_mm))

    def all_near(part: Quarter) -> tuple[ImageArray, ImageArray]:
        shape = part.v_mm.size, part.u_mm.size
        return np.zeros(shape, np.float32), np.ones(shape, np.float32)

    monkeypatch.setattr(ornament, "_roughly_petals", all_near)
    assert_array_equal(quick, printed(Everywhere(u_mm=u_mm, v_mm=v_mm, pixel_mm=pixel_mm)))


def test_discs_of_the_ornament_have_their_area() -> None:
    """
    The largest disc of the medallion, a quarter of it, to 1e-6 of its area.

    On each pixel of the rim its tangent stands for the arc, which is off by l³/(24 r) for a chord
    of length l px, so over a quarter of the rim by some pi/48 < 0.1 px². Single precision puts
    pixels 36 mm from the middle off by up to 2^-19 mm, either way alike.
    """
    radius_mm, pixel_mm = 14.6, 0.02
    # the middle of the disc lies on the side of a pixel
    axis = (FACE_HALF_MM - (np.arange(800)[::-1] + 0.5) * pixel_mm).astype(np.float32)
    quarter = Quarter(u_mm=axis, v_mm=axis, pixel_mm=pixel_mm)
    ((_, share, _),) = ornament._solid(quarter, (FACE_HALF_MM,) * 2, radius_mm, COBALT)  # noqa: SLF001 -- one shape of it
    area_mm2 = share.sum(dtype=np.float64) * pixel_mm**2
    assert area_mm2 == pytest.approx(pi * radius_mm**2 / 4, rel=1e-6)


def test_faces_have_their_area() -> None:
    """
    A face of 72 mm with corners of 1.3 mm, to 1e-6 of its area: 72² - (4 - pi) 1.3².

    The four corners' tangents, as above: some pi/12 px², or 2e-8 of 720² px².
    """
    grid = grid_of(pixel_size_um=100.0, width_mm=75.0, height_mm=75.0)
    faces = np.ones((grid.rows, grid.columns))
    for part, _, share in ends_of_faces(grid, (0, grid.rows), 1.9):
        faces[part] = share
    wanted_mm2 = 72.0**2 - (4 - pi) * 1.3**2
    assert faces.sum() * grid.pixel_mm**2 == pytest.approx(wanted_mm2, rel=1e-6)


def test_patches_of_a_tile_lie_in_their_boxes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Missing print and chip are the same where they are looked for on the whole target."""
    scene = tile_module.tile(pixel_size_um=400.0, width_mm=150.0, height_mm=150.0)
    boxed = scene.rows(0, 375)
    monkeypatch.setattr(tile_module, "_RAGGED_MM", 100.0)
    assert_array_equal(boxed, scene.rows(0, 375))


def test_the_shade_of_a_face_ends_where_it_is_cut_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """The shade of a tile's face further in is no part of a bit."""
    scene = tile_module.tile(pixel_size_um=400.0, width_mm=80.0, height_mm=80.0)
    cut = scene.rows(0, 200)
    monkeypatch.setattr(tile_module, "_SHADED_MM", 30.0)
    assert_array_equal(cut, scene.rows(0, 200))


def test_some_columns_of_a_texture_are_those_of_the_whole() -> None:
    """A part has the values of the whole, bit for bit."""
    grid = grid_of(pixel_size_um=30.0, width_mm=9.0, height_mm=6.0)
    grain = Texture(seed=3, number=1, grain_x_mm=0.05, grain_y_mm=0.2)
    whole = grain.block(grid, 20, 90)
    assert_array_equal(grain.block(grid, 20, 90, (37, 211)), whole[:, 37:211])


def test_a_narrow_web_is_drawn_to_its_sides() -> None:
    """
    Where the rims of both edges meet, no column is left out; one would have the least value, 0.03.

    Two rims leave 0.78² = 0.61 of the coating, and its grain (8.5 %) and mottle 0.6 of that, k = 4.
    """
    web = foil_module.foil(pixel_size_um=50.0, width_mm=4.0, height_mm=4.0, faults=False)
    assert web.rows(0, 80).min() > 0.36 * foil_module.COATING


@pytest.mark.parametrize("entry", BUILT_INS, ids=lambda entry: entry.name)
def test_threads_change_no_byte(entry: BuiltIn) -> None:
    """All of a target in three threads, also its relief, is what one thread draws."""
    pixel_um = entry.pixel_size_um * 4
    target = entry.maker(pixel_size_um=pixel_um, width_mm=entry.width_mm, height_mm=entry.height_mm)
    sides = [target.rows, *([target.heights] if isinstance(target, FacedTarget) else [])]
    for rows in sides:
        one, three = (all_rows(rows, target.shape[0], threads) for threads in (1, 3))
        assert one.tobytes() == three.tobytes()


def test_blocks_that_are_painted_at_once_change_no_byte() -> None:
    """A scene is the same however many rows are painted together."""
    web = foil_module.foil(pixel_size_um=100.0, width_mm=20.0, height_mm=20.0)
    assert isinstance(web, Painted)
    by_few, whole = (replace(web, at_once=pixels).rows(0, 200) for pixels in (1, None))
    assert_array_equal(by_few, whole)


@pytest.mark.parametrize("cycles", [1, 2, 7, 72, 144, 145])
def test_spokes_are_the_cosine_of_their_angle(cycles: int) -> None:
    """
    cos(n phi) without an angle, in every direction.

    Each step doubles the error that is there and adds some 2^-52, so n · 2^-50 bounds the sum.
    """
    x, y = np.meshgrid(np.arange(-30, 31) + 0.5, np.arange(-30, 31) * 1.01 + 0.25)
    wanted = np.cos(cycles * np.arctan2(y, x))
    assert_allclose(star._spokes(x, y, cycles), wanted, rtol=0, atol=cycles * 2.0**-50)  # noqa: SLF001 -- before it is a mean


@pytest.mark.parametrize(("columns", "cycles"), [(60, 8), (61, 8), (60, 7), (61, 7)])
def test_a_star_is_its_own_mirror_image(columns: int, cycles: int) -> None:
    """Left and right alike for even cycles, about the mean for odd ones; all columns drawn."""
    grid = Grid(pixel_size_um=100.0, rows=60, columns=columns)
    made = star.star(
        pixel_size_um=100.0, width_mm=grid.width_mm, height_mm=grid.height_mm, cycles=cycles
    )
    image = made.rows(0, 60).astype(np.float64)
    mirrored = image[:, ::-1] if cycles % 2 == 0 else 2 * star.MEAN - image[:, ::-1]
    # the middle column of an odd number lies on the axis; single precision of values below 1
    assert_allclose(image, mirrored, rtol=0, atol=2.0**-22)
    assert image[25].std() > 0.1
