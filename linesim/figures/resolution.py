"""MTF and Nyquist figures in closed form, on the target. They take numbers or arrays."""

from collections.abc import Callable

import numpy as np

from linesim.figures.groups import ENDS, Group
from linesim.forward.geometry import Figure
from linesim.forward.lens import Optics
from linesim.forward.pixel import (
    longest_side_um,
    motion_mtf,
    pixel_mtf_across,
    pixel_mtf_along,
)
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray

OF_LENS = frozenset({"mtf_nyquist_x", "mtf_nyquist_y", "mtf50_x_lp_mm", "mtf50_y_lp_mm"})
"""Figures that change with the lens along the line."""
_STEPS = 60
_CLOSE = 1e-13
"""Of one half: no nearer than the rounding of an MTF lets it come in a step or two."""


def mtf_across(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """MTF across the web at a frequency on the target: lens and pixel."""
    lens = np.abs(numbers.optics.mtf(frequency_lp_mm / numbers.optics.magnification))
    return lens * pixel_mtf_across(numbers, frequency_lp_mm)


def mtf_along(numbers: Station, frequency_lp_mm: Figure) -> FloatArray:
    """MTF along travel: lens, pixel, motion, joined lines and stages out of step."""
    lens = np.abs(numbers.optics.mtf(0.0, frequency_lp_mm / numbers.optics.magnification))
    return lens * pixel_mtf_along(numbers, frequency_lp_mm)


def first_crossing(
    mtf: Callable[[Station, Figure], FloatArray], numbers: Station, last_lp_mm: Figure
) -> Figure:
    """
    Find the frequency at which an MTF first falls to one half, by regula falsi.

    By the Illinois rule: an end that stays a second time counts half as much (M. Dowell and
    P. Jarratt, BIT 11, 1971, from memory). What has been found stays, so that a place does not
    depend on the others in an array.
    """
    under = mtf(numbers, last_lp_mm) - 0.5
    low, high = np.zeros_like(under), last_lp_mm + np.zeros_like(under)
    over, place, left = low + 0.5, high, under
    stayed = np.zeros_like(under, dtype=bool)
    for _ in range(_STEPS):
        found = np.abs(left) < _CLOSE
        if found.all():
            break
        place = np.where(found, place, low + (high - low) * over / (over - under))
        before, left = stayed, mtf(numbers, place) - 0.5
        stayed = left > 0
        half = np.where(stayed == before, 0.5, 1.0)
        low, high = np.where(stayed, place, low), np.where(stayed, high, place)
        over, under = np.where(stayed, left, half * over), np.where(stayed, half * under, left)
    return np.asarray(place)


def defocus_zero_lp_mm(lens: Optics) -> Figure:
    """Find where the lens lets nothing pass for the first time, at the sensor."""
    cutoff = lens.cutoff_lp_mm
    inner = 1 - 4 * 1219.67 / (np.maximum(lens.defocus_disc_um, 1e-9) * cutoff)
    return np.where(inner >= 0, cutoff / 2 * (1 - np.sqrt(np.maximum(inner, 0))), cutoff)


def _last_along_lp_mm(numbers: Station, zero_lp_mm: Figure) -> Figure:
    """End the search for a crossing at the dip of charge left behind, where that lies below it."""
    sensor = numbers.sensor
    if not np.any((np.asarray(sensor.lag) > 0) | (np.asarray(sensor.inefficiency) > 0)):
        return zero_lp_mm
    # such a transfer is least at half a cycle a line, and whole again at a cycle
    dip_lp_mm = np.minimum(500 / numbers.timing.exposed_advance_um, zero_lp_mm)
    return np.where(mtf_along(numbers, dip_lp_mm) < 0.5, dip_lp_mm, zero_lp_mm)  # noqa: PLR2004 -- MTF50


def resolution_group(numbers: Station) -> Group:
    """Give Nyquist frequencies and MTF figures, all on the target."""
    place, lens = numbers.geometry, numbers.optics
    nyquist_x = 500 / place.object_pixel_x_um
    nyquist_y = 500 / numbers.timing.line_advance_um
    # first zeros of pixel, diffraction and defocus: up to the nearest, the product falls steadily
    lens_zero = defocus_zero_lp_mm(lens) * lens.magnification
    zero_x = np.minimum(lens_zero, 1000 / place.object_pixel_x_um)
    zero_y = _last_along_lp_mm(numbers, np.minimum(lens_zero, 1000 / longest_side_um(numbers)))
    return {
        "nyquist_x_lp_mm": nyquist_x,
        "nyquist_y_lp_mm": nyquist_y,
        "mtf_nyquist_x": mtf_across(numbers, nyquist_x),
        "mtf_nyquist_y": mtf_along(numbers, nyquist_y),
        "mtf_motion_nyquist_y": motion_mtf(numbers, nyquist_y),
        "mtf50_x_lp_mm": first_crossing(mtf_across, numbers, zero_x),
        "mtf50_y_lp_mm": first_crossing(mtf_along, numbers, zero_y),
    }


def sharpness_group(numbers: Station) -> Group:
    """Give the figures of resolution in the middle, and at the worst place (named ``_ends``)."""
    middle = resolution_group(numbers)
    if numbers.even_optics:
        return middle
    ends = resolution_group(numbers.at_ends)
    return {**middle, **{name + ENDS: ends[name] for name in ends if name in OF_LENS}}
