"""The page of a comparison: one grey scale, one place on the target, samples as they come."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from numpy.typing import NDArray

from linesim.report.picture import INK, tones
from linesim.setup.load import changed
from linesim.studies.compare.sheet import compare_sheet
from linesim.studies.compare.study import Comparison, compare
from tests.stations import plain_setup

BASE = plain_setup(
    "Dim foil",
    target={"image": "foil", "width": "8 mm", "height": "6 mm"},
    light={"illuminance": "4 klx"},
    camera={"pixels": 96, "read_noise": "20 e"},
    requirement={"smallest_defect": "300 um", "snr": 30},
)
Page = NDArray[np.uint8]


@pytest.fixture(scope="module")
def four() -> Comparison:
    """Compare the four common modes."""
    return compare(BASE)


@pytest.fixture(scope="module")
def two() -> Comparison:
    """Compare 1x1 and 2x2 at the same exposure."""
    return compare(BASE, ("1x1", "2x2"), exposure="same")


def frames(page: Page) -> list[tuple[int, int, int, int]]:
    """Find the framed pictures of a page: (top, left, height, width) of what is inside. [px]."""
    dark = (page == INK).all(axis=2)
    found = []
    for top in range(1, len(page)):
        starts = np.flatnonzero(_long_runs(dark[top - 1]) & ~_long_runs(dark[top]))
        if starts.size:
            for run in np.split(starts, np.flatnonzero(np.diff(starts) > 1) + 1):
                left, right = int(run[0]), int(run[-1])
                below = np.flatnonzero(dark[top:, left : right + 1].all(axis=1))
                sides = dark[top, left] and dark[top, right]
                if sides and below.size:
                    found.append((top, left + 1, int(below[0]), right - left - 1))
    return found


def _long_runs(row: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Keep what is dark for 100 px or more at a stretch; a bar of the scale is shorter."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(np.int8)))
    kept = np.zeros_like(row)
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        kept[first:last] = last - first >= 100
    return kept


def inside(page: Page, frame: tuple[int, int, int, int]) -> Page:
    """Cut a picture out of its frame, grey."""
    top, left, height, width = frame
    return page[top : top + height, left : left + width, 0]


def test_the_upper_row_has_one_grey_scale(two: Comparison) -> None:
    """Each sample shows what it is against the white of the brightest variant, bit for bit."""
    page = compare_sheet(two)
    upper = frames(page)[:2]
    black = BASE.camera.black_level_dn
    white = max(float(np.percentile(one.scan.image, 99.9)) for one in two.variants)
    for one, frame in zip(two.variants, upper, strict=True):
        image = one.scan.image
        seen = inside(page, frame)
        lines, width = (side // count for side, count in zip(seen.shape, image.shape, strict=True))
        assert_array_equal(
            seen[lines // 2 :: lines, width // 2 :: width], tones(image, black, white)
        )


def test_too_dark_looks_too_dark(two: Comparison) -> None:
    """
    On that scale 1x1 is a quarter as light as 2x2; below, both are stretched to the same white.

    The light of a page is the mean of its grey values decoded by sRGB (IEC 61966-2-1). Of the
    brighter picture the thousandth that is clipped is missing, and values are rounded to 1 in 255,
    which in the middle is 1 % of a value and cancels in the mean: 1 % in all.
    """
    page = compare_sheet(two)
    found = frames(page)
    dim, bright = (light(inside(page, frame)) for frame in found[:2])
    assert dim / bright == pytest.approx(0.25, rel=0.01)
    below = [light(inside(page, frame)) for frame in found[2:4]]
    # single samples have more noise, so that a thousandth of them lies further above white
    assert 0.7 < below[0] / below[1] <= 1


def light(grey: Page) -> float:
    """Decode sRGB and average."""
    share = grey / 255
    return float(np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4).mean())


def test_the_same_place_is_as_large_in_all(four: Comparison) -> None:
    """Undone in proportion, all pictures are of one size, and so are all details."""
    page = compare_sheet(four, true_proportion=True)
    found = frames(page)
    assert len(found) == 12
    sizes = [frame[2:] for frame in found]
    assert len({width for _, width in sizes}) == 1
    assert len({height for height, _ in sizes[:8]}) == 1
    assert len({height for height, _ in sizes[8:]}) == 1


def test_samples_are_squares_as_they_come(four: Comparison) -> None:
    """Without undoing it, 2x1 is twice as tall as 1x1 and 1x2 half as tall, of one width."""
    page = compare_sheet(four)
    heights = [frame[2] for frame in frames(page)[:4]]
    assert [height / heights[0] for height in heights] == [1, 2, 0.5, 1]


def test_a_wide_scan_is_cut_not_shrunk() -> None:
    """Area means would take noise away: of 2000 samples, as many as fit are shown as they are."""
    wide = changed(
        BASE, {"camera.pixels": 2000, "target.width": "150 mm", "target.pixel_size": "50 um"}
    )
    found = compare(wide, ("1x1", "2x2"))
    page = compare_sheet(found)
    first = inside(page, frames(page)[0])
    # 2 of 1300 px, and an even number of joined samples
    assert first.shape[1] == 648
    image = found.variants[0].scan.image
    black = BASE.camera.black_level_dn
    white = max(float(np.percentile(one.scan.image, 99.9)) for one in found.variants)
    shown = tones(image, black, white)
    columns = [
        k for k in range(2000 - 648 + 1) if np.array_equal(shown[: len(first), k : k + 648], first)
    ]
    assert len(columns) == 1
