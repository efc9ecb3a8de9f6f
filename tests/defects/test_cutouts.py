"""Cut-outs and outlines: laid exactly by area, wherever and however they lie."""

from dataclasses import replace
from math import cos, radians, sin
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from linesim.defects.cutouts import CutOut, CutOuts
from linesim.defects.defective import DefectiveReference
from linesim.defects.labels import footprints
from linesim.defects.polygons import ChangedInside, MadeOf, Polygon
from linesim.defects.pose import Pose
from linesim.forward.reference import ArrayReference
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup

PITCH_UM = 20.0
ELEMENT_UM = 53.0
GROUND = 0.4
FINE = 12
"""Points a side of a pixel, where pictures are looked up independently."""
POSE = Pose(x_mm=0.1234, y_mm=1.4071, turn_deg=33.0)


def picture(channels: int = 1, seed: int = 3) -> CutOut:
    """Cut out an uneven patch with a soft rim, 14 x 17 elements."""
    random = np.random.default_rng(seed)
    y, x = np.indices((14, 17))
    alpha = np.clip(1.6 - np.hypot((x - 8) / 7, (y - 6.5) / 5.5), 0, 1)
    value = random.uniform(0.3, 1.9, (14, 17, channels))
    return CutOut(digest=f"{channels} {seed}", pixel_size_um=ELEMENT_UM, alpha=alpha, value=value)


def looked_up(
    plane: FloatArray, pose: Pose, places_um: tuple[FloatArray, FloatArray]
) -> NDArray[np.float64]:
    """Read a plane of elements at places on the target, 0 beside it: an independent path."""
    x, y = places_um[0] - 1000 * pose.x_mm, places_um[1] - 1000 * pose.y_mm
    c, s = cos(radians(pose.turn_deg)), sin(radians(pose.turn_deg))
    side = ELEMENT_UM * pose.scale
    column = np.floor((c * x + s * y) / side + plane.shape[1] / 2).astype(int)
    row = np.floor((c * y - s * x) / side + plane.shape[0] / 2).astype(int)
    inside = (row >= 0) & (row < plane.shape[0]) & (column >= 0) & (column < plane.shape[1])
    out = np.zeros(x.shape)
    out[inside] = plane[row[inside], column[inside]]
    return out


def points_um(rows: int, columns: int, pitch_um: float) -> tuple[FloatArray, FloatArray]:
    """Give 12 x 12 points in each pixel of a target, across from the middle and along."""
    x = (np.arange(columns * FINE) + 0.5) * pitch_um / FINE - columns * pitch_um / 2
    y = (np.arange(rows * FINE) + 0.5) * pitch_um / FINE
    return tuple(np.meshgrid(x, y))  # type: ignore[return-value]


def binned(fine: FloatArray) -> FloatArray:
    """Average 12 x 12 points."""
    rows, columns = fine.shape[0] // FINE, fine.shape[1] // FINE
    return np.asarray(fine.reshape(rows, FINE, columns, FINE).mean(axis=(1, 3)))


def on_even(made: CutOuts, pose: Pose, shape: tuple[int, ...], **values: Any) -> FloatArray:  # noqa: ANN401 -- as the kind has them
    """Lay one on an even target."""
    base = ArrayReference(data=np.full(shape, GROUND, np.float32), pixel_size_um=PITCH_UM)
    reference = DefectiveReference(base=base, faults=(made(**values).at(pose),))
    return reference.rows(0, shape[0]).astype(np.float64)


@pytest.mark.parametrize("absolute", [False, True])
@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize(("size", "turn_deg"), [(1.0, 33.0), (0.31, -80.0)])
def test_a_cut_out_is_what_points_of_it_add_up_to(
    *, absolute: bool, channels: int, size: float, turn_deg: float
) -> None:
    """
    12 x 12 points a pixel, looked up in the picture, mix to the same reflectance.

    The points miss an edge by up to 1/24 pixel, evenly: an rms of 1/24/√3 = 0.024 for one edge
    across a pixel. Between elements the values jump by 0.46 rms (even from 0.3 to 1.9), times
    0.4 · 0.8, at some three edges a pixel at the smaller size: 0.024 · 0.15 · √3 = 0.006, and a
    tenth of the target is covered: √0.1 of that over all of it. Bounds 1.5 times that; five of
    them for a single pixel.
    """
    cut, pose = picture(channels), Pose(x_mm=0.12, y_mm=1.41, turn_deg=turn_deg)
    if absolute:  # nothing is whiter than white
        cut = replace(cut, digest="half", value=cut.value / 2)
    made = CutOuts(kind="pit", cuts=(cut,), absolute=absolute)
    shape = (140, 130) if channels == 1 else (140, 130, 3)
    found = on_even(made, pose, shape, size=size, strength=0.8).reshape(140, 130, channels)
    places, at = (
        points_um(140, 130, PITCH_UM),
        Pose(x_mm=pose.x_mm, y_mm=pose.y_mm, turn_deg=turn_deg, scale=size),
    )
    alpha = looked_up(cut.alpha, at, places)
    for k in range(channels):
        value = looked_up(cut.value[:, :, k], at, places)
        own = value if absolute else GROUND * value
        wanted = binned(GROUND + 0.8 * alpha * (own - GROUND))
        assert np.abs(wanted - GROUND).max() > 0.1
        assert np.sqrt(np.mean((found[:, :, k] - wanted) ** 2)) < 0.009 * np.sqrt(0.1)
        assert np.abs(found[:, :, k] - wanted).max() < 0.045


@pytest.mark.parametrize("turn_deg", [0.0, 33.0, 90.0, 211.0])
@pytest.mark.parametrize("size", [0.07, 1.0, 1.3])
def test_a_cut_out_keeps_its_light_wherever_it_lies(turn_deg: float, size: float) -> None:
    """What it adds is Σ opacity · (ratio - 1) · element², times size²: to 1e-6, float32 of it."""
    cut = picture()
    made = CutOuts(kind="pit", cuts=(cut,), absolute=False)
    for x_mm, y_mm in ((0.0, 1.4), (0.0137, 1.4291)):
        pose = Pose(x_mm=x_mm, y_mm=y_mm, turn_deg=turn_deg)
        added = (on_even(made, pose, (160, 150), size=size) / np.float32(GROUND) - 1).sum()
        ratio = (cut.alpha * (cut.value[:, :, 0] - 1)).sum() * (ELEMENT_UM * size / PITCH_UM) ** 2
        shares = (cut.alpha * cut.value[:, :, 0]).sum() * (ELEMENT_UM * size / PITCH_UM) ** 2
        # each of up to 24 000 pixels is rounded to 2^-24 of itself, at random
        rounding = 5 * 2**-24 * np.sqrt(160 * 150)
        assert added == pytest.approx(ratio, abs=1e-6 * shares + rounding)


def test_the_mask_of_a_cut_out_is_what_is_opaque_by_half() -> None:
    """
    In the image too: the share of each sample's footprint, by 12 x 12 points in it.

    Samples of 75 µm, exposed for 0.1 µs. One edge across a sample: up to 1/24, and a corner of two
    of them up to twice that; rms over all samples well under it.
    """
    small = {"target.image": "flat", "target.width": "6 mm", "camera.pixels": 64}
    setup = changed(sample_setup(), {**small, "acquisition.exposure": "0.1 us"})
    base = ArrayReference(data=np.full((800, 400), 0.5, np.float32), pixel_size_um=15.0)
    cut = picture()
    fault = CutOuts(kind="pit", cuts=(cut,), absolute=False)().at(POSE)
    (label,) = footprints(setup, base, 100, 0).labels(fault)
    seen = np.zeros((100, 64))
    lines, columns = label.mask.shape
    seen[label.first_line :, label.first_column :][:lines, :columns] = label.mask
    inside = (cut.alpha >= 0.5).astype(float)
    wanted = binned(looked_up(inside, POSE, points_um(100, 64, 75.0)))
    assert wanted.max() == 1
    assert_allclose(seen, wanted, rtol=0, atol=2 / 24)
    assert np.sqrt(np.mean((seen - wanted) ** 2)) < 0.024 / 3
    area = inside.sum() * ELEMENT_UM**2
    assert fault.area_um2 == pytest.approx(area, rel=1e-9)


def test_a_cut_out_in_colour_on_a_grey_target_counts_by_its_mean() -> None:
    """As other colours do."""
    cut = picture(3)
    grey = CutOut(
        digest="mean",
        pixel_size_um=ELEMENT_UM,
        alpha=cut.alpha,
        value=cut.value.mean(axis=2, keepdims=True),
    )
    one, two = (
        on_even(CutOuts(kind="pit", cuts=(each,), absolute=False), POSE, (140, 130))
        for each in (cut, grey)
    )
    assert_allclose(one, two, rtol=1e-6)


def test_a_cut_out_that_is_nowhere_opaque_is_refused() -> None:
    """It has no mask."""
    with pytest.raises(InputError, match="opaque by half"):
        CutOut(digest="", pixel_size_um=1.0, alpha=np.full((3, 3), 0.4), value=np.ones((3, 3, 1)))


STAR = ((0.0, 0.0), (900.0, 250.0), (1800.0, 0.0), (1250.0, 700.0), (600.0, 1500.0))


@pytest.mark.parametrize("around", [1, -1])
def test_an_outline_has_its_area_about_its_own_middle(around: int) -> None:
    """Shoelace formula of its area; the middle of what it covers, whichever way the corners run."""
    outline = Polygon(corners_um=STAR[::around])
    fault = ChangedInside(kind="gouge", outlines=(outline,))(change=-0.5, size=0.8).at(POSE)
    x, y = np.array(STAR).T
    area = abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2
    assert fault.area_um2 == pytest.approx(area * 0.64, rel=1e-9)
    base = ArrayReference(data=np.full((160, 150), GROUND, np.float32), pixel_size_um=PITCH_UM)
    drawn = DefectiveReference(base=base, faults=(fault,)).rows(0, 160)
    taken = (1 - drawn.astype(np.float64) / np.float32(GROUND)) / 0.5
    assert taken.sum() * PITCH_UM**2 == pytest.approx(area * 0.64, rel=1e-5)
    rows, columns = np.indices(taken.shape)
    centre = (columns * taken).sum() / taken.sum(), (rows * taken).sum() / taken.sum()
    assert centre[0] * PITCH_UM + PITCH_UM / 2 - 1500 == pytest.approx(123.4, abs=0.05)
    assert centre[1] * PITCH_UM + PITCH_UM / 2 == pytest.approx(1407.1, abs=0.05)


def test_an_outline_of_another_material_has_its_reflectance() -> None:
    """Whatever the ground."""
    fault = MadeOf(kind="patch", outlines=(Polygon(corners_um=STAR),))(reflectance=0.11).at(POSE)
    base = ArrayReference(data=np.full((160, 150), GROUND, np.float32), pixel_size_um=PITCH_UM)
    drawn = DefectiveReference(base=base, faults=(fault,)).rows(0, 160)
    assert drawn.min() == pytest.approx(0.11, rel=4 * 2**-24)  # float32, mixed from 0.4


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (((0, 0), (1, 1)), "2 corners"),
        (((0, 0), (1, 1), (2, 2)), "no area"),
        (((0, 0), (100, 100), (100, 0), (0, 90)), "crosses itself"),
        (((0, 0), (100, float("nan")), (100, 0)), "beyond 10 m"),
        (((0, 0), (1e300, 0), (100, 10)), "beyond 10 m"),
    ],
)
def test_an_outline_without_an_inside_is_refused(
    corners: tuple[tuple[float, float], ...], said: str
) -> None:
    """Two corners, a line, a bow tie."""
    with pytest.raises(InputError, match=said):
        Polygon(corners_um=corners)
