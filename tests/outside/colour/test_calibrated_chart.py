"""
A published colour chart through a camera with overlapping channels: its reflectances come back.

The spectral reflectances are BabelColor's averages of 30 charts, as colour-science has them
(`SDS_COLOURCHECKERS["BabelColor Average"]`); reflectances in red, green and blue are means over
bands of 610 to 680, 500 to 580 and 430 to 490 nm.
"""

from pathlib import Path

import colour
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from linesim.metrics.region import Region
from linesim.studies.calibrate.asked import Asked, Patch
from linesim.studies.calibrate.study import Calibrated, calibrate

BANDS = ((610, 680), (500, 580), (430, 490))
CROSSTALK = np.array([[0.78, 0.18, 0.04], [0.12, 0.76, 0.12], [0.03, 0.20, 0.77]])
"""Each channel takes of its neighbours; rows sum to 1, as after a white balance."""
SIDE = 16


def chart() -> NDArray[np.float64]:
    """Give the 24 reflectances in three bands."""
    found = []
    for spectrum in colour.SDS_COLOURCHECKERS["BabelColor Average"].values():
        nm, share = spectrum.wavelengths, spectrum.values
        found.append([share[(nm >= low) & (nm <= high)].mean() for low, high in BANDS])
    return np.array(found)


def photograph(path: Path, levels: NDArray[np.float64]) -> Path:
    """Write what such a camera sees: crosstalk, 2 % of glare, another gamma a channel, float32."""
    seen = (0.8 * levels @ CROSSTALK.T + 0.02) ** (1 / np.array([1.1, 1.15, 1.2]))
    image = np.kron(seen.reshape(4, 6, 3), np.ones((SIDE, SIDE, 1)))
    tifffile.imwrite(path, image.astype(np.float32), photometric="rgb")
    return path


def calibrated(path: Path, levels: NDArray[np.float64], told: list[int]) -> Calibrated:
    """Tell of some fields of the chart."""
    patches = tuple(
        Patch(
            region=Region(x=SIDE * (n % 6), y=SIDE * (n // 6), width=SIDE, height=SIDE),
            reflectance=tuple(levels[n].tolist()),
        )
        for n in told
    )
    return calibrate(Asked(image=path, patches=patches, encoding="linear", pixel_size_um=100.0))


def fields(found: Calibrated) -> NDArray[np.float64]:
    """Average each field of the target."""
    means = found.data.reshape(4, SIDE, 6, SIDE, 3).mean(axis=(1, 3), dtype=np.float64)
    return np.asarray(means.reshape(24, 3))


def test_the_chart_is_the_published_one() -> None:
    """In order, and in reflectance: the last six are greys, from white to black (from memory)."""
    levels = chart()
    assert levels.shape == (24, 3)
    assert levels[18] == pytest.approx(0.90, abs=0.03)
    assert levels[23] == pytest.approx(0.032, abs=0.003)
    assert np.ptp(levels[18:], axis=1).max() < 0.04


def test_a_matrix_gives_colours_that_were_not_told(tmp_path: Path) -> None:
    """
    Six greys and six colours told, the other twelve come back within 0.01 of reflectance.

    Without noise the model is that of the camera but for one thing: crosstalk comes before the
    curve, which the matrix behind the curve undoes exactly. What stays is how far the turns of
    curve and matrix have converged, the greys' own slight colour included.
    """
    levels = chart()
    told = [*range(18, 24), 0, 3, 6, 11, 13, 14]
    found = calibrated(photograph(tmp_path / "chart.tif", levels), levels, told)
    others = [n for n in range(24) if n not in told]
    assert found.tone.matrix is not None
    np.testing.assert_allclose(found.tone.matrix @ CROSSTALK, np.eye(3), atol=0.02)
    assert np.abs(fields(found) - levels)[others].max() < 0.01


def test_greys_alone_leave_the_crosstalk(tmp_path: Path) -> None:
    """Greys tell no matrix: the same colours are off by what channels overlap."""
    levels = chart()
    found = calibrated(photograph(tmp_path / "chart.tif", levels), levels, list(range(18, 24)))
    assert found.tone.matrix is None
    assert np.abs(fields(found) - levels)[:18].max() > 0.05
    assert np.abs(fields(found) - levels)[18:].max() < 0.005
