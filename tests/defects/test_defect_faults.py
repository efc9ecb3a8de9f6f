"""Faults painted on targets: what they change, what they leave alone, and their masks."""

from dataclasses import dataclass, replace
from math import pi

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.ndimage import gaussian_filter

from linesim.defects.defective import DefectiveReference, FaultMask
from linesim.defects.effects import Effect, Material, Relative
from linesim.defects.fault import Fault
from linesim.defects.kinds import KINDS, RELIEF
from linesim.defects.line_faults import Crease, Scratch, Streak
from linesim.defects.patch_faults import ColourShift, MissingPrint, Stain, TextureFault
from linesim.defects.pose import Pose
from linesim.defects.round_faults import Agglomerate, Hole, Pinhole, Spot
from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.arrays import ImageArray
from linesim.targets.foil import foil

PITCH_UM = 20.0
SHAPE = (200, 240)
MIDDLE = Pose(x_mm=0.31, y_mm=2.043, turn_deg=25.0)
EVERY = (
    Pinhole(diameter_um=260.0, change=0.9),
    Spot(width_um=700.0, height_um=500.0, change=-0.5, form=3),
    Agglomerate(size_um=800.0, change=-0.6, halo_change=-0.2, form=2),
    Scratch(length_um=2500.0, width_um=70.0, change=0.5, bend=0.1),
    Streak(length_um=2400.0, width_um=300.0, change=0.3),
    Stain(width_um=1500.0, height_um=1100.0, change=-0.3, form=1),
    MissingPrint(width_um=1200.0, height_um=900.0, reflectance=(0.7, 0.6, 0.5), form=4),
    ColourShift(width_um=1500.0, height_um=900.0, change=(0.2, -0.1, -0.3), form=4),
    Crease(length_um=2400.0, width_um=160.0, change=0.4, bend=-0.05),
    Hole(width_um=700.0, height_um=600.0, rim_um=80.0, change=-0.9, rim_change=0.6, form=2),
    TextureFault(width_um=1500.0, height_um=1200.0, ratio=2.5, over_um=120.0, form=4),
)
"""One of each kind."""


def ground(*channels: int) -> ArrayReference:
    """Make a target of white noise from 0.3 to 0.5."""
    noise = np.random.default_rng(3).uniform(0.3, 0.5, (*SHAPE, *channels))
    return ArrayReference(data=noise.astype(np.float32), pixel_size_um=PITCH_UM)


def painted(base: Reference, *faults: Fault) -> ImageArray:
    """Draw all rows."""
    return DefectiveReference(base=base, faults=faults).rows(0, base.shape[0])


FAULTS = [each.at(MIDDLE) for each in EVERY]


def mask_of(reference: DefectiveReference, index: int) -> FaultMask:
    """Give the mask of one fault alone."""
    return FaultMask(grid=reference.grid, fault=reference.faults[index])


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.kind)
@pytest.mark.parametrize("channels", [(), (3,)], ids=["grey", "colour"])
def test_a_fault_changes_nothing_outside_its_bounds(
    fault: Fault, channels: tuple[int, ...]
) -> None:
    """Bit for bit; and inside its mask it changes something."""
    base = ground(*channels)
    reference = DefectiveReference(base=base, faults=(fault,))
    assert isinstance(reference, Reference)
    image, (window,) = reference.rows(0, SHAPE[0]), reference.windows
    assert image.dtype == np.float32
    inside = np.zeros(SHAPE, dtype=bool)
    inside[window.top : window.bottom, window.left : window.right] = True
    assert_array_equal(image[~inside], base.data[~inside])
    mask = mask_of(reference, 0).rows(0, SHAPE[0])
    assert np.all(mask[~inside] == 0)
    assert np.abs(image - base.data)[mask > 0.5].mean() > 0.01


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.kind)
def test_a_mask_is_a_share_and_has_the_faults_area(fault: Fault) -> None:
    """0 to 1, float32; its sum times a pixel's area is the area between its edges (2^-24 each)."""
    reference = DefectiveReference(base=ground(), faults=(fault,))
    mask = mask_of(reference, 0)
    assert isinstance(mask, Reference)
    assert mask.pixel_size_um == PITCH_UM
    share = mask.rows(0, SHAPE[0])
    assert share.dtype == np.float32
    assert share.min() == 0
    assert 0 < share.max() <= 1
    got_um2 = share.sum(dtype=np.float64) * PITCH_UM**2
    # edges drawn to 0.05 and 0.02 µm: chords lose 2/3 · 0.03 µm along an outline of up to 6 mm
    assert got_um2 == pytest.approx(fault.area_um2, abs=2 / 3 * 0.03 * 6000)


def test_the_areas_are_those_of_the_docstrings() -> None:
    """Closed forms, to the few parts in 10⁴ of chords and levels."""
    square = pi / 4 * 1500 * 1100
    wanted = {
        "pinhole": pi * 130**2,
        "spot": pi / 4 * 700 * 500,
        "scratch": 2500 * 70 * 0.75,
        "streak": 2400 * 300.0,
        "stain": square * (1 + (1 - 8 / pi**2) * 0.5**2),
        "missing print": pi / 4 * 1200 * 900,
        "crease": 2400 * 160 * 0.7,
        "hole": pi / 4 * 700 * 600,
    }
    areas = {fault.kind: fault.area_um2 for fault in FAULTS}
    assert {kind: areas[kind] for kind in wanted} == pytest.approx(wanted, rel=2e-4)


@pytest.mark.parametrize(
    ("effect", "wanted"),
    [(Relative(change=(-0.4,)), 0.4 * 0.6), (Material(reflectance=(0.07,)), 0.07)],
)
def test_paint_is_base_and_coverage_times_the_difference(effect: Effect, wanted: float) -> None:
    """ρ + coverage (new - ρ), on an even target: two roundings of float32 below 1."""
    base = ArrayReference(data=np.full(SHAPE, 0.4, dtype=np.float32), pixel_size_um=PITCH_UM)
    fault = Spot(width_um=700.0, height_um=500.0, change=effect, form=3).at(MIDDLE)
    mask = mask_of(DefectiveReference(base=base, faults=(fault,)), 0).rows(0, SHAPE[0])
    assert_allclose(painted(base, fault), 0.4 + mask * (wanted - 0.4), rtol=0, atol=2 * 2.0**-24)


def test_light_taken_is_contrast_times_area() -> None:
    """A spot of -50 % takes 0.5 ρ · its area, wherever it lies between the pixels."""
    base = ArrayReference(data=np.full(SHAPE, 0.4, dtype=np.float32), pixel_size_um=PITCH_UM)
    wanted = 0.5 * 0.4 * pi / 4 * 700 * 500
    for place in np.random.default_rng(1).uniform(0, PITCH_UM / 1000, (20, 2)):
        pose = Pose(x_mm=float(place[0]), y_mm=2 + float(place[1]), turn_deg=40.0)
        image = painted(base, replace(EVERY[1], change=-0.5).at(pose))
        taken = (0.4 - image.astype(np.float64)).sum() * PITCH_UM**2
        # 0.4 in float32 is off by 1e-8: 48 000 pixels of 400 µm² each
        assert taken == pytest.approx(wanted, abs=0.5 + 1e-5 * wanted)


def test_reflectance_stays_between_nothing_and_white() -> None:
    """A change of +500 % stops at 1, one of -100 % at 0; what shines beyond white stays."""
    for level, change, wanted in ((0.4, 5.0, 1.0), (0.4, -1.0, 0.0), (1.6, 0.5, 1.6)):
        base = ArrayReference(data=np.full(SHAPE, level, np.float32), pixel_size_um=PITCH_UM)
        image = painted(base, Pinhole(diameter_um=300.0, change=change).at(MIDDLE))
        assert image[102, 135] == np.float32(wanted)


def test_colours_shift_channel_by_channel() -> None:
    """Each by its own factor; on a grey target by their mean."""
    even = np.full((*SHAPE, 3), 0.4, dtype=np.float32)
    shift = ColourShift(width_um=1500.0, height_um=900.0, change=(0.2, -0.1, -0.4), soft=0.0)
    colour = painted(ArrayReference(data=even, pixel_size_um=PITCH_UM), shift.at(MIDDLE))
    assert_allclose(colour[102, 135], [0.48, 0.36, 0.24], rtol=1e-6)
    grey = ArrayReference(data=even[:, :, 0], pixel_size_um=PITCH_UM)
    assert painted(grey, shift.at(MIDDLE))[102, 135] == pytest.approx(0.4 * 0.9, rel=1e-6)


def test_a_crease_is_bright_beside_dark() -> None:
    """Across it: brighter by the change on one side, darker on the other, both as wide."""
    base = ArrayReference(data=np.full(SHAPE, 0.4, dtype=np.float32), pixel_size_um=PITCH_UM)
    crease = Crease(length_um=3000.0, width_um=240.0, change=0.5, taper=0.1)
    row = painted(base, crease.at(Pose(x_mm=0.0, y_mm=2.0)))[100]
    assert_allclose(row[114:120], 0.2, rtol=1e-6)
    assert_allclose(row[120:126], 0.6, rtol=1e-6)


def test_a_hole_has_a_bright_rim() -> None:
    """Dark inside, bright around, and the halo-free mask over both."""
    base = ArrayReference(data=np.full(SHAPE, 0.4, dtype=np.float32), pixel_size_um=PITCH_UM)
    hole = Hole(
        width_um=800.0, height_um=800.0, rim_um=100.0, change=-0.9, rim_change=0.5, ragged=0.0
    )
    row = painted(base, hole.at(Pose(x_mm=0.0, y_mm=2.0)))[100, 120:145]
    assert_allclose(row[:14], 0.04, rtol=1e-5)
    assert_allclose(row[16:19], 0.6, rtol=1e-5)
    assert_allclose(row[21:], np.float32(0.4), rtol=0)


@pytest.mark.parametrize("ratio", [0.0, 0.4, 3.0])
def test_texture_changes_contrast_and_keeps_the_mean(ratio: float) -> None:
    """
    Against `scipy.ndimage.gaussian_filter`, cut off at the same 3 sigma.

    Only what kept_physical leaves alone: reflectance here stays within 0 and 1.
    """
    base = ground()
    fault = TextureFault(
        width_um=2400.0, height_um=2000.0, ratio=ratio, over_um=100.0, soft=0.0, ragged=0.0
    ).at(MIDDLE)
    mean = gaussian_filter(base.data.astype(np.float64), 5.0, truncate=3.0, mode="nearest")
    part = slice(80, 124), slice(112, 160)
    wanted = mean[part] + ratio * (base.data[part] - mean[part])
    assert_allclose(painted(base, fault)[part], wanted, rtol=0, atol=1e-6)


@pytest.mark.parametrize("cut", [23, 64])
def test_rows_by_blocks_are_the_same_as_the_whole(cut: int) -> None:
    """All kinds over each other on a scene, colour or grey: the same bits however it is cut."""
    base = foil(pixel_size_um=PITCH_UM, width_mm=4.8, height_mm=4.0)
    reference = DefectiveReference(base=base, faults=tuple(FAULTS))
    rows = range(60, 140) if cut == 1 else range(200)
    blocks = [reference.rows(k, min(k + cut, rows.stop)) for k in range(rows.start, rows.stop, cut)]
    assert_array_equal(np.concatenate(blocks), reference.rows(0, 200)[rows.start : rows.stop])
    masks = mask_of(reference, 5)
    cuts = [masks.rows(k, min(k + cut, rows.stop)) for k in range(rows.start, rows.stop, cut)]
    assert_array_equal(np.concatenate(cuts), masks.rows(0, 200)[rows.start : rows.stop])


def test_a_finer_reference_shows_the_same_fault() -> None:
    """Means over 2 x 2 pixels of half the size: chords of a thousandth of a pixel apart."""
    for each in EVERY:
        fine, coarse = (
            mask_of(
                DefectiveReference(
                    base=ArrayReference(
                        data=np.zeros((200 * n, 240 * n), dtype=np.float32), pixel_size_um=20.0 / n
                    ),
                    faults=(each.at(MIDDLE),),
                ),
                0,
            )
            for n in (2, 1)
        )
        halved = fine.rows(0, 400).reshape(200, 2, 240, 2).mean(axis=(1, 3))
        assert_allclose(halved, coarse.rows(0, 200), rtol=0, atol=2e-3)


def test_a_fault_beside_the_target_is_not_there() -> None:
    """Empty bounds, an empty mask, the base itself; one across the border is cut there."""
    base = ground()
    beside = replace(FAULTS[0], pose=Pose(x_mm=40.0, y_mm=2.0))
    assert_array_equal(painted(base, beside), base.data)
    cut = replace(FAULTS[0], pose=Pose(x_mm=-2.4, y_mm=0.0))
    mask = mask_of(DefectiveReference(base=base, faults=(cut,)), 0).rows(0, 200)
    assert mask.sum() * PITCH_UM**2 == pytest.approx(pi * 130**2 / 4, rel=1e-5)


def test_faults_leave_their_base_alone() -> None:
    """A base that may not be written to is drawn over all the same."""
    base = ground()
    base.data.setflags(write=False)
    painted(base, *FAULTS)


@dataclass(frozen=True)
class _Counted:
    """A reference that keeps account of what is read."""

    base: ArrayReference
    asked: list[tuple[int, int]]

    @property
    def pixel_size_um(self) -> float:
        return self.base.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        return self.base.shape

    def rows(self, first: int, last: int) -> ImageArray:
        self.asked.append((first, last))
        return self.base.rows(first, last)


def test_only_the_rows_needed_are_read() -> None:
    """Rows asked for, and no more, but for the margin of a fault that needs the local mean."""
    counted = _Counted(base=ground(), asked=[])
    DefectiveReference(base=counted, faults=tuple(FAULTS[:10])).rows(90, 110)
    DefectiveReference(base=counted, faults=tuple(FAULTS)).rows(0, 3)
    DefectiveReference(base=counted, faults=tuple(FAULTS)).rows(90, 110)
    assert counted.asked == [(90, 110), (0, 3), (72, 128)]  # 3 · 120 µm are 18 pixels


def test_each_kind_was_painted() -> None:
    """One of every kind is among the faults of this page, under its own name."""
    assert [fault.kind for fault in FAULTS] == [
        kind.name for kind in KINDS if kind.name not in RELIEF
    ]
