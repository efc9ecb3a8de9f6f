"""Where a comparison looks closely: a planted spot is found, and all scans show that place."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from linesim.setup.load import changed
from linesim.studies.compare.closeup import (
    Window,
    defect_size_um,
    finest,
    samples_in,
    strongest_spot,
    window,
)
from linesim.studies.compare.variants import binning_variants
from linesim.studies.scan.study import Scan, scan
from tests.stations import plain_setup

PIXEL_UM = 15.0
ROWS, COLUMNS = 600, 700
BASE = plain_setup(
    "Closeup",
    target={"pixel_size": f"{PIXEL_UM} um", "height": "9 mm"},
    lens={"blur": "5 um"},
    camera={"pixels": 128},
)
Reflectance = NDArray[np.float64]


def piece(row: int, column: int) -> Reflectance:
    """
    Draw a disc of 300 µm of little contrast, beside a wavy edge and a line of much more.

    The waves are 6 mm long and 75 µm high, so the edge is curved, but no spot.
    """
    along, across = np.mgrid[:ROWS, :COLUMNS]
    edge = 560 + 5 * np.sin(2 * np.pi * along * PIXEL_UM / 6000)
    image = np.where(across > edge, 0.9, 0.2)
    image[np.abs(across - 500 - along // 20) < 5] = 0.9
    image[np.hypot(along - row, across - column) * PIXEL_UM < 150] = 0.35
    return image


def place_um(row: int, column: int) -> tuple[float, float]:
    """Give the middle of a reference pixel: from the axis across, from row 0 along."""
    return (column + 0.5 - COLUMNS / 2) * PIXEL_UM, (row + 0.5) * PIXEL_UM


def scans(image: Reflectance, *texts: str, keep_line_rate: bool = False) -> list[Scan]:
    """Scan a piece in several modes."""
    made = binning_variants(BASE, texts, keep_line_rate=keep_line_rate)
    return [scan(one.setup, reference=image) for one in made]


@pytest.mark.parametrize("mode", ["1x1", "2x1", "1x2", "2x2"])
@pytest.mark.parametrize("keep_line_rate", [False, True], ids=["own", "kept"])
@pytest.mark.parametrize("spot", [(100, 150), (431, 262)])
def test_a_planted_spot_is_found(mode: str, spot: tuple[int, int], *, keep_line_rate: bool) -> None:
    """
    The disc is found to the sample that holds its middle, in spite of stronger edges and lines.

    Across, sample and disc differ by at most half a sample; along, by as much again, for what a
    line sees is not centred on a sample of another raster. One sample of 150 µm covers both.
    """
    (found,) = scans(piece(*spot), mode, keep_line_rate=keep_line_rate)
    assert_allclose(strongest_spot(found, 300.0), place_um(*spot), rtol=0, atol=150.0)


def test_without_a_spot_it_is_the_middle() -> None:
    """An even target has no place that matters more."""
    (found,) = scans(np.full((ROWS, COLUMNS), 0.5), "1x1")
    x_um, y_um = strongest_spot(found, 300.0)
    assert abs(x_um) <= 75
    # 120 lines of 75 um, each seeing from its start two samples further
    assert abs(y_um - 4500) <= 150


def test_colours_count_together() -> None:
    """Of a colour scan the sum is looked at, so that a spot in one colour is found."""
    (found,) = scans(piece(100, 150), "1x1")
    dark = np.zeros_like(found.expected_e)
    in_blue = replace(found, expected_e=np.stack([dark, dark, found.expected_e], axis=2))
    assert strongest_spot(in_blue, 300.0) == strongest_spot(found, 300.0)


def test_a_window_shows_the_same_place_in_all_modes() -> None:
    """
    The mean of the noise-free signal in it is that of the reference there, sample for area.

    Edges go to the nearest sample and a line sees 150 µm (twice that binned) of travel, so up to
    half a sample's frame may differ: of 2.4 mm x 1.5 mm seen by 150 µm, 5 % and 10 %, of an image
    whose values span 0.2 to 0.9 around a mean of 0.27.
    """
    image = piece(300, 250)
    found = scans(image, "1x1", "2x1", "1x2", "2x2")
    near = window(found, place_um(300, 250), (2400.0, 1500.0))
    means = []
    for one in found:
        part = samples_in(one, near)
        assert part.lines * one.budget.number("geometry", "line_advance_um") == near.length_um
        assert part.columns * one.budget.number("geometry", "object_pixel_x_um") == near.width_um
        cut = one.expected_e[
            part.first_line : part.first_line + part.lines,
            part.first_column : part.first_column + part.columns,
        ]
        means.append(float(cut.mean() / one.budget.number("signal", "electrons_white")))
    left = round(near.left_um / PIXEL_UM + COLUMNS / 2)
    top, wide, tall = (
        round(each / PIXEL_UM) for each in (near.top_um, near.width_um, near.length_um)
    )
    expected = float(image[top : top + tall, left : left + wide].mean())
    # the disc is all that differs from 0.2: 0.15 x 0.07 mm² in 3.6 mm²
    assert expected == pytest.approx(0.2 + 0.15 * np.pi * 0.15**2 / (2.4 * 1.5), rel=1e-2)
    assert means == pytest.approx([expected] * 4, rel=1e-3)


def test_a_window_stays_on_the_strip() -> None:
    """Near an end it moves inside; larger than the strip it shrinks to it."""
    found = scans(np.full((ROWS, COLUMNS), 0.5), "1x1", "2x2")
    corner = window(found, (-9e9, 9e9), (2400.0, 1500.0))
    assert (corner.width_um, corner.length_um) == (2400.0, 1500.0)
    part = samples_in(found[0], corner)
    assert (part.first_column, part.columns) == (0, 32)
    # joined lines are seen from 75 um on, single ones from 37.5 um to 9037.5 um: 59 joined ones
    # lie in both and end at 8925 um, which is in the middle of line 118
    assert part.first_line + part.lines == 118
    whole = window(found, (0.0, 0.0), (1e6, 1e6))
    assert whole.width_um == 128 * 75
    assert whole.length_um == 59 * 150


def test_the_finest_has_the_smallest_samples() -> None:
    """By area: 1x1 of all modes; at an unchanged rate too."""
    found = scans(np.full((ROWS, COLUMNS), 0.5), "2x2", "1x1", "2x1")
    assert finest(found) is found[1]


def test_the_size_is_that_of_the_requirement() -> None:
    """The smallest defect where one is asked for; else four of the finest samples."""
    (found,) = scans(np.full((ROWS, COLUMNS), 0.5), "1x1")
    assert defect_size_um(found) == pytest.approx(300.0)
    asked = replace(found, setup=changed(BASE, {"requirement.smallest_defect": "120 um"}))
    assert defect_size_um(asked) == 120.0


def test_a_window_smaller_than_a_sample_holds_one() -> None:
    """Never an empty cut."""
    (found,) = scans(np.full((ROWS, COLUMNS), 0.5), "2x2")
    part = samples_in(found, Window(left_um=0.0, top_um=1000.0, width_um=1.0, length_um=1.0))
    assert (part.lines, part.columns) == (1, 1)
