"""
Area integrals against other libraries: no resampling grid, whole and fractional ratios.

The lens is made a point (a box of a millionth of a pixel), so what is left of both matrices is the
pixel's own box and the travel, whose integrals others can do as well.
"""

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from skimage.measure import block_reduce

from linesim.forward.reference import ArrayReference
from linesim.forward.sampling.across import AcrossPlan, across_tiles
from linesim.forward.sampling.sampler import Sampler
from linesim.forward.sampling.zones import Sides, Zone
from linesim.forward.spread import Footprint, Spread, footprint
from linesim.forward.transport import steady_lines
from linesim.setup.arrays import FloatArray, ImageArray

# A point of width s behind a pixel of side a makes its ends ramps of width s. Only a reference edge
# inside such a ramp tells it from a step, by at most s/8 for each end and values from 0 to 1: with
# s/a = 2⁻¹⁹ two ends each way make 2⁻²⁰ = 1e-6. Elsewhere the integral is exact to float32's 6e-8.
POINT_SHARE = 2.0**-19
ALLOWED = 1e-6


def places(count: int, step: float, first: float = 0.0) -> FloatArray:
    """Even places."""
    return first + np.arange(count, dtype=np.float64) * step


def box(side_um: float) -> Footprint:
    """Make the footprint of a pixel behind a lens that blurs nothing."""
    point_um = side_um * POINT_SHARE
    return footprint(
        Spread(period_um=point_um, amplitude=np.array([1.0]), step_um=point_um), side_um
    )


def sampled(
    target: ImageArray,
    *,
    left_um: FloatArray,
    width_um: float,
    start_um: FloatArray,
    height_um: float,
    travel_um: float = 0.0,
) -> ImageArray:
    """Sample a target of 1 µm pixels with box pixels."""
    reference = ArrayReference(data=target, pixel_size_um=1.0)
    across, along = (box(width_um),), (box(height_um),)
    sides = Sides(across=across, along=along, weights=(1.0,))
    plan = AcrossPlan(
        axis_um=0.0,
        zones=(Zone(first=0, last=len(left_um), sides=sides),),
        left_um=left_um,
        side_um=width_um,
        profile=np.ones(len(left_um), dtype=np.float32),
    )
    sampler = Sampler(
        reference=reference,
        repeat=False,
        bands=np.full(3, 1 / 3, dtype=np.float32),
        zones=(along,),
        side_um=height_um,
        tiles=across_tiles(plan, reference),
    )
    return sampler.strip(steady_lines(start_um, np.full(len(start_um), travel_um)))


def running_mean(values: FloatArray, starts: FloatArray, width: float) -> FloatArray:
    """Mean of a piecewise constant row from each start on, by its running sum and `np.interp`."""
    total = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    edges = np.arange(len(total))
    rows = [
        np.interp(starts + width, edges, column) - np.interp(starts, edges, column)
        for column in total.T
    ]
    return np.asarray(np.stack(rows, axis=1) / width)


def random_target(rows: int, columns: int, seed: int = 1) -> ImageArray:
    """Make white noise from 0 to 1: the hardest there is."""
    return np.random.default_rng(seed).random((rows, columns)).astype(np.float32)


@pytest.mark.parametrize(("size", "count"), [(1000, 137), (640, 200), (512, 128), (300, 299)])
def test_shrinking_as_opencv_does(size: int, count: int) -> None:
    """`cv2.resize` with INTER_AREA, fractional ratios each way, the same picture to 1e-6."""
    target = random_target(120, size)
    lines = 48
    step_x, step_y = size / count, 120 / lines
    found = sampled(
        target,
        left_um=places(count, step_x),
        width_um=step_x,
        start_um=places(lines, step_y),
        height_um=step_y,
    )
    other = cv2.resize(target, (count, lines), interpolation=cv2.INTER_AREA)
    assert_allclose(found, other, atol=ALLOWED)


@pytest.mark.parametrize(("along", "across"), [(1, 1), (2, 2), (3, 5), (7, 1)])
def test_whole_ratios_as_block_means(along: int, across: int) -> None:
    """`skimage.measure.block_reduce` with the mean: whole pixels joined."""
    target = random_target(42, 210)
    found = sampled(
        target,
        left_um=places(210 // across, across),
        width_um=float(across),
        start_um=places(42 // along, along),
        height_um=float(along),
    )
    told = block_reduce(target, (along, across), np.mean)  # type: ignore[no-untyped-call]
    assert_allclose(found, told, atol=ALLOWED)


@pytest.mark.parametrize("width", [0.37, 1.0, 2.9, 7.123])
@pytest.mark.parametrize("pitch", [0.81, 1.0, 3.3])
def test_any_place_and_width_by_running_sums(width: float, pitch: float) -> None:
    """Pixels narrower and wider than their pitch, at fractional places, by `numpy.interp`."""
    target = random_target(80, 90)
    left = places(20, pitch, 7.77)
    start = places(18, pitch, 3.21)
    found = sampled(target, left_um=left, width_um=width, start_um=start, height_um=width)
    along = running_mean(np.asarray(target, dtype=np.float64), start, width)
    assert_allclose(
        found, np.transpose(running_mean(np.transpose(along), left, width)), atol=ALLOWED
    )


@pytest.mark.parametrize("travel", [0.5, 1.0, 3.7])
def test_travel_is_one_more_box(travel: float) -> None:
    """
    A line that moves while exposed: the mean of running sums over its travel (numpy; derived).

    The running mean is piecewise linear in its start, so its own mean over the travel is exact by
    trapezoids between all kinks.
    """
    target = random_target(60, 8)
    height = 2.6
    start = places(13, 3.1, 5.43)
    found = sampled(
        target,
        left_um=places(8, 1),
        width_um=1.0,
        start_um=start,
        height_um=height,
        travel_um=travel,
    )
    values = np.asarray(target, dtype=np.float64)
    for line, first in enumerate(start):
        ends = np.array([first, first + travel])
        kinks = np.concatenate([np.arange(61.0), np.arange(61.0) - height])
        stops = np.sort(np.append(ends, kinks[(kinks > ends[0]) & (kinks < ends[1])]))
        mean = np.trapezoid(running_mean(values, stops, height), stops, axis=0) / travel
        assert_allclose(found[line], mean, atol=ALLOWED)


def test_light_is_kept_at_any_ratio() -> None:
    """Samples that tile the target: their sum times their area is the integral (derived)."""
    target = random_target(137, 311)
    found = sampled(
        target,
        left_um=places(97, 311 / 97),
        width_um=311 / 97,
        start_um=places(61, 137 / 61),
        height_um=137 / 61,
    )
    total = found.sum(dtype=np.float64) * (311 / 97) * (137 / 61)
    assert total == pytest.approx(target.sum(dtype=np.float64), rel=1e-6)


def test_uneven_lines_each_see_their_own_strip() -> None:
    """Lines at random places and of no order, as jitter has them, by `numpy.interp`."""
    target = random_target(100, 6)
    start = np.random.default_rng(4).uniform(5, 90, 33)
    found = sampled(target, left_um=places(6, 1), width_um=1.0, start_um=start, height_um=4.4)
    told = running_mean(np.asarray(target, dtype=np.float64), start, 4.4)
    assert_allclose(found, told, atol=ALLOWED)
