"""What bars should show by the station's closed forms: response, and Coltman's contrast."""

from collections.abc import Callable
from functools import partial

import numpy as np

from linesim.figures.resolution import mtf_across, mtf_along
from linesim.forward.geometry import Figure
from linesim.forward.station import Station, station
from linesim.metrics.bars.figures import coltman
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.sharpness_input import Direction

Transfer = Callable[[FloatArray], FloatArray]
"""Response with its sign, over frequencies on the target [lp/mm]."""


def expected_transfer(setup: Setup, direction: Direction) -> Transfer:
    """
    Give the response from a drawn target to the image, with its sign.

    Lens, pixel and motion as the budget has them, and the reference's own pixels: what is drawn is
    averaged over each, and the value then fills it, two boxes.
    """
    made = _across if direction == "across" else _along
    return partial(made, station(setup), setup.target.pixel_size_um / 1000)


def expected_contrast(transfer: Transfer, frequency_lp_mm: float) -> float:
    """Give the contrast of an endless wave of bars."""
    return float(coltman(transfer, np.array([frequency_lp_mm]))[0])


def _lens(numbers: Station, frequency_lp_mm: FloatArray) -> FloatArray:
    """Sign of the lens, which a defocus disc turns."""
    return np.sign(numbers.optics.mtf(frequency_lp_mm / numbers.optics.magnification))


def _across(numbers: Station, reference_mm: float, frequency_lp_mm: FloatArray) -> FloatArray:
    pixel = np.sinc(frequency_lp_mm * numbers.geometry.object_pixel_x_um / 1000)
    size = mtf_across(numbers, frequency_lp_mm) * np.sinc(frequency_lp_mm * reference_mm) ** 2
    return np.asarray(size * np.sign(pixel) * _lens(numbers, frequency_lp_mm))


def _along(numbers: Station, reference_mm: float, frequency_lp_mm: FloatArray) -> FloatArray:
    place, advance_um = numbers.geometry, numbers.timing.exposed_advance_um
    per_um = frequency_lp_mm / 1000
    sign = (
        np.sign(np.sinc(per_um * place.row_side_um))
        * np.sign(np.sinc(per_um * numbers.motion_um))
        * _comb_sign(place.lines_joined, per_um * advance_um)
        * _comb_sign(place.stages, per_um * (advance_um - place.row_side_um))
    )
    size = mtf_along(numbers, frequency_lp_mm) * np.sinc(frequency_lp_mm * reference_mm) ** 2
    return np.asarray(size * sign * _lens(numbers, frequency_lp_mm))


def _comb_sign(count: Figure, cycles: Figure) -> FloatArray:
    """Sign of sin(πNx)/sin(πx), x the cycles from one look to the next."""
    part = np.asarray(cycles) - np.rint(cycles)
    turned = (np.rint(cycles) * (np.asarray(count) - 1)) % 2
    return np.asarray(np.sign(np.sinc(np.asarray(count) * part)) * (1 - 2 * turned))
