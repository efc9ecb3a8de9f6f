"""
Draw the rolled foil of the bright-field and dark-field setups: grooves, a dent, a pimple, a print.

``python -m tests.bench.foil_relief`` writes ``foil_relief.png`` (heights, 16 bit, black low) and
``foil_print.png`` (reflectances, linear, 16 bit) into sample_targets. All of it is invented.
"""

from pathlib import Path

import imageio.v3 as iio
import numpy as np

from linesim.setup.arrays import FloatArray

HOME = Path(__file__).parents[2] / "sample_targets"
PIXEL_MM = 0.01
ROWS, COLUMNS = 560, 800
RANGE_UM = 20.0
LEVEL, PRINT = 0.35, 0.05
_GROOVES = (
    # middle x, y; length, width [mm]; depth [um]; turn from across [deg]
    (1.6, 2.0, 2.6, 0.07, 3.0, 90.0),
    (3.6, 1.0, 2.0, 0.07, 3.0, 0.0),
    (4.4, 3.9, 2.4, 0.06, 2.5, 35.0),
)
_BUMPS = ((2.9, 4.2, 0.20, -9.0), (6.4, 3.2, 0.14, 7.0))
"""Middle x, y and radius [mm], height [um]: a dent and a pimple."""
_PRINT_MM = (5.7, 6.9, 0.7, 1.4)
_SEED = 5


def heights_um() -> FloatArray:
    """Add up all there is on the foil; the middle of the range is its level."""
    y, x = (np.mgrid[:ROWS, :COLUMNS] + 0.5) * PIXEL_MM
    found = np.zeros((ROWS, COLUMNS))
    for x0, y0, length, width, depth, turn in _GROOVES:
        cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        along, beside = (x - x0) * cos + (y - y0) * sin, (y - y0) * cos - (x - x0) * sin
        ends = 1 / (1 + np.exp((np.abs(along) - length / 2) / 0.02))
        found -= depth * np.exp(-0.5 * (beside / (width / 2.355)) ** 2) * ends
    for x0, y0, radius, height in _BUMPS:
        found += height * np.exp(-((x - x0) ** 2 + (y - y0) ** 2) / radius**2)
    return found


def reflectances() -> FloatArray:
    """Give bare foil and a printed mark."""
    y, x = (np.mgrid[:ROWS, :COLUMNS] + 0.5) * PIXEL_MM
    left, right, top, bottom = _PRINT_MM
    inside = (x > left) & (x < right) & (y > top) & (y < bottom)
    return np.where(inside, PRINT, LEVEL)


def _sixteen(share: FloatArray) -> FloatArray:
    return np.round(np.clip(share, 0, 1) * 65535).astype(np.uint16)


def main() -> None:
    """Write both images."""
    iio.imwrite(HOME / "foil_relief.png", _sixteen(0.5 + heights_um() / RANGE_UM))
    iio.imwrite(HOME / "foil_print.png", _sixteen(reflectances()))


if __name__ == "__main__":
    main()
