"""Sums of samples are whole numbers: right, and the same however an image is cut."""

from fractions import Fraction

import numpy as np
import pytest

from linesim.metrics.flat import tally as tallying
from linesim.metrics.flat.tally import HeldRows, tally

RNG = np.random.default_rng(5)


@pytest.mark.parametrize("shape", [(50, 31), (50, 31, 3)])
def test_as_numpy_has_it(shape: tuple[int, ...]) -> None:
    """Counts and extremes exactly, variances to rounding: 10⁻¹⁶ of E[x²], 12 σ² here."""
    image = RNG.integers(0, 4096, shape).astype(np.uint16)
    seen = tally(HeldRows(image_dn=image), 4095)
    assert (seen.lowest_dn, seen.highest_dn) == (image.min(), image.max())
    assert (seen.at_zero, seen.at_full_scale) == ((image == 0).sum(), (image == 4095).sum())
    assert seen.columns.mean_dn() == pytest.approx(image.mean(dtype=np.float64), rel=1e-14)
    assert seen.columns.variance_dn2() == pytest.approx(np.var(image, ddof=1), rel=1e-13)
    along = np.var(image, axis=0, ddof=1).mean()
    assert seen.columns.column_variance_dn2() == pytest.approx(along, rel=1e-13)


def test_however_it_is_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    """One line at a time, or all at once: the same figures to the last bit."""
    image = RNG.integers(0, 65536, (97, 13)).astype(np.uint16)
    whole = tally(HeldRows(image_dn=image), 65535).columns
    monkeypatch.setattr(tallying, "BLOCK_SAMPLES", 1)
    cut = tally(HeldRows(image_dn=image), 65535).columns
    assert cut.variance_dn2() == whole.variance_dn2()
    assert cut.column_variance_dn2() == whole.column_variance_dn2()
    assert cut.mean_dn() == whole.mean_dn()


def test_a_small_variance_on_a_large_level() -> None:
    """65534 and 65535 DN by turns: variance n/(4 (n − 1)), though the squares add up to 10¹³."""
    image = np.resize(np.array([[65534], [65535]], dtype=np.uint16), (2000, 3))
    found = tally(HeldRows(image_dn=image), 65535).columns
    assert found.column_variance_dn2() == float(Fraction(2000, 4 * 1999))
    assert found.variance_dn2() == float(Fraction(6000, 4 * 5999))


def test_eight_bit_and_some_columns() -> None:
    """Samples of 8 bit count alike, and columns can be left out."""
    image = RNG.integers(0, 256, (20, 6)).astype(np.uint8)
    chosen = np.array([True, False, True, True, False, False])
    found = tally(HeldRows(image_dn=image.astype(np.uint16)), 255).columns.of(chosen)
    assert found.mean_dn() == pytest.approx(image[:, chosen].mean(), rel=1e-14)
