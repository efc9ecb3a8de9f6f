"""A slanted edge is found among other things, and where there is none it is said why."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from linesim.metrics.edge.find import EdgeSearch, find_edge
from linesim.metrics.edge.line import Direction
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError

HALF_POINT = 0.187391  # of a Gaussian, times σ: √(ln 2 / 2)/π
SIGMA_PX = 0.8
CENTRE = (260.0, 180.0)
COS, SIN = np.cos(np.radians(5.0)), np.sin(np.radians(5.0))


def patch(lines: int = 320, width: int = 420) -> FloatArray:
    """Give a dark square of 160 px, turned by 5°, on a light ground."""
    y, x = np.mgrid[:lines, :width].astype(float)
    x, y = x - CENTRE[0], y - CENTRE[1]
    u, v = x * COS + y * SIN, y * COS - x * SIN
    sides = [norm.cdf((80 + sign * each) / SIGMA_PX) for each in (u, v) for sign in (-1, 1)]
    return np.asarray(200.0 - 130.0 * np.prod(sides, axis=0))


def scene() -> NDArray[np.uint8]:
    """Add waves, a noisy field and an upright edge, and count in whole numbers of 8 bit."""
    random, image = np.random.default_rng(5), patch()
    image += random.normal(0, 2, image.shape)
    image[:90, :160] += 30 * np.sin(np.arange(160) / 3)
    image[200:, :150] = random.normal(120, 30, (120, 150))
    image[:, 390:] -= 60
    return np.clip(np.rint(image), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("direction", [None, "across", "along"])
def test_the_edge_is_found_among_other_things(direction: Direction | None) -> None:
    """The region lies on a side of the square, and the half point is that of the blur."""
    found = find_edge(EdgeSearch(image=scene(), direction=direction, limits=(0.0, 255.0)))
    seen, region = found.response, found.region
    assert direction in (None, seen.direction)
    # a line through n rows that stray by s: slope to s √12 / n^1.5, here 0.021°; four times that
    assert abs(seen.angle_deg) == pytest.approx(5.0, abs=0.085)
    # noise of 2 on a step of 130 over 96 px: one percent, four times that
    assert seen.mtf50_cyc_px == pytest.approx(HALF_POINT / SIGMA_PX, rel=0.04)
    assert seen.edge_length_px > 80
    # the middle of the edge found lies on a side of the square, 80 px from its centre
    row = 0.5 * (seen.line.first_row + seen.line.last_row)
    column = float(seen.line.columns(np.array([row]))[0])
    x, y = (column, row) if seen.direction == "across" else (row, column)
    off = np.array([region.x + x - CENTRE[0], region.y + y - CENTRE[1]])
    turned = np.array([[COS, SIN], [-SIN, COS]]) @ off
    assert np.abs(turned).max() == pytest.approx(80.0, abs=0.1)
    assert found.tried >= found.usable >= 1


def test_a_single_edge_is_taken_whole() -> None:
    """An image that holds nothing else is used from end to end."""
    image = patch()[140:220, 130:230]
    found = find_edge(EdgeSearch(image=image))
    assert found.region == Region.whole(image.shape)


@pytest.mark.parametrize(
    ("image", "reason"),
    [
        (np.full((300, 300), 100.0), "all values are alike"),
        (np.random.default_rng(0).normal(100, 5, (300, 300)), "no straight edge found"),
        (np.where(np.arange(300) < 150, 50.0, 200.0) * np.ones((300, 1)), "expected 1 px or more"),
        (np.zeros((12, 300)), "300 x 12 px read"),
    ],
    ids=["even", "noise", "upright", "low"],
)
def test_no_edge_is_told_with_its_reason(image: FloatArray, reason: str) -> None:
    """What keeps the whole image from being measured, and how many places were tried."""
    with pytest.raises(InputError, match=reason) as refusal:
        find_edge(EdgeSearch(image=image))
    assert "tried), or name one by its region" in str(refusal.value)


def test_clipped_edges_are_not_used() -> None:
    """A square that is black through and through has no usable side."""
    image = np.clip(patch() - 75, 0, 255)
    with pytest.raises(InputError, match="clipped"):
        find_edge(EdgeSearch(image=image, limits=(0.0, 255.0)))
