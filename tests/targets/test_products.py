"""Products by what they are made of: the weave's pitch, growth rings, dots of a screen."""

from typing import Any

import numpy as np
import pytest

from linesim.forward.reference import Reference
from linesim.setup.arrays import FloatArray
from linesim.targets.products.cloth import WARP_MM, WEFT_MM, cloth
from linesim.targets.products.printed import DOT_MM, INK, PAPER, printed
from linesim.targets.products.timber import RING_MM, timber

GOOD: dict[str, Any] = {"seed": 3, "faults": False}


def whole(target: Reference) -> FloatArray:
    """Draw all of a target."""
    return target.rows(0, target.shape[0]).astype(np.float64)


def peak_lp_mm(wave: FloatArray, pixel_mm: float, least: float) -> float:
    """Give the frequency that is strongest, from a least one on."""
    power = np.abs(np.fft.rfft(wave - wave.mean())) ** 2
    frequencies = np.fft.rfftfreq(len(wave), pixel_mm)
    power[frequencies < least] = 0
    return float(frequencies[power.argmax()])


def test_yarns_lie_at_their_pitch_each_way() -> None:
    """The mean over all rows swings once a warp yarn, that over all columns once a weft yarn."""
    image = whole(cloth(pixel_size_um=20.0, width_mm=36.0, height_mm=42.0, **GOOD))
    # frequencies are 1/36 and 1/42 lp/mm apart, and yarns stray by a hundredth of their pitch
    assert peak_lp_mm(image.mean(axis=0), 0.02, 1.0) == pytest.approx(1 / WARP_MM, abs=0.06)
    assert peak_lp_mm(image.mean(axis=1), 0.02, 1.0) == pytest.approx(1 / WEFT_MM, abs=0.06)


@pytest.mark.parametrize("make", [cloth, timber, printed])
def test_a_coarse_target_is_the_mean_of_a_fine_one(make: object) -> None:
    """
    The mean over 8 x 8 fine pixels is a coarse pixel.

    Textures, dots and boxes are exact, waves but for their bend within a coarse pixel of 0.08 mm.
    Where dots meet a rule in one pixel they are laid over each other by their shares, which is off
    by up to a quarter of the contrast: in the few pixels on the rim of a rule.
    """
    size = {"width_mm": 6.4, "height_mm": 4.8}
    fine, coarse = (
        whole(make(pixel_size_um=pitch, **size, **GOOD))  # type: ignore[operator]
        for pitch in (10.0, 80.0)
    )
    rows, columns = coarse.shape[:2]
    blocks = fine.reshape(rows, 8, columns, 8, *fine.shape[2:]).mean(axis=(1, 3))
    away = np.abs(coarse - blocks)
    assert np.quantile(away, 0.95) < 0.02
    assert away.max() < 0.25
    assert coarse.mean() == pytest.approx(blocks.mean(), abs=1e-3)


def test_print_is_ink_on_paper_by_the_area_of_its_dots() -> None:
    """Away from line work the mean is paper less the share that dots cover, of either."""
    image = whole(printed(pixel_size_um=10.0, width_mm=12.0, height_mm=6.0, **GOOD))
    inked = (PAPER - image) / (PAPER - INK)
    assert 0.06 < inked.mean() < 0.55
    # dots lie on a screen at 45 degrees: along a row of pixels every 2 x pitch/√2, and at half
    column = peak_lp_mm(inked.mean(axis=0), 0.01, 3.0)
    assert column == pytest.approx(np.sqrt(2) / DOT_MM, rel=0.02)


def test_growth_rings_of_a_board_lie_closer_away_from_the_pith() -> None:
    """Far from the pith rings come every RING_MM; in its middle the board shows them broader."""
    image = whole(timber(pixel_size_um=150.0, width_mm=150.0, height_mm=60.0, **GOOD))
    row = image[150:160, :, 0].mean(axis=0)
    ends = max(
        (peak_lp_mm(part, 0.15, 0.15) for part in (row[:250], row[-250:])),
        key=lambda found: -abs(found - 1 / RING_MM),
    )
    # the board is cut 12 to 28 mm beside the pith: at 50 mm rings are up to 1.15 as wide
    assert 1 / (1.3 * RING_MM) < ends < 1.1 / RING_MM


@pytest.mark.parametrize("make", [cloth, timber, printed])
def test_faults_are_there_on_wish_alone(make: object) -> None:
    """The same piece with and without faults is alike in most places, and not in all."""
    size = {"pixel_size_um": 100.0, "width_mm": 60.0, "height_mm": 60.0, "seed": 1}
    good, bad = (whole(make(**size, faults=faults)) for faults in (False, True))  # type: ignore[operator]
    differs = np.abs(good - bad) > 0.02
    assert 0.001 < differs.mean() < 0.6
