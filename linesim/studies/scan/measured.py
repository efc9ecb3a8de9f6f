"""Figures read off the rendered image, under the names that the budget gives them."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.figures.groups import decibel
from linesim.forward.kept import CLIPPED_SHARE
from linesim.forward.lens import box_mtf
from linesim.forward.profile import column_profile
from linesim.forward.station import Station
from linesim.forward.transport import first_line_um
from linesim.metrics.edge.curve import first_crossing
from linesim.metrics.edge.figures import EdgeResponse, edge_response
from linesim.metrics.flat.noise import FEWEST_LINES, FlatFigures, summed_figures
from linesim.metrics.flat.tally import ColumnSums, HeldRows, ImageRows, tally
from linesim.setup.arrays import FloatArray
from linesim.setup.channels import COLOURS
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.targets.load import TargetSize

Measured = dict[str, Any]
_EVEN = 0.995
"""Columns with at least this share of the brightest column's light count as evenly lit."""
EDGE_SAMPLES = 1 << 26
"""An edge is read from so many samples at most: more lines of it would say nothing new."""
_WHOLE = 1e-6
"""A target of a whole number of pixels must not lose one to rounding."""


def measured(
    setup: Setup, numbers: Station, image: ImageRows, target: str, size: TargetSize
) -> Measured:
    """
    Read off an image what its target lets be read.

    Of "flat" that is signal and noise on white, of "edge" resolution, where the scan lies on it.

    Parameters
    ----------
    image : ImageRows; delivered samples, in memory or in a file [DN]
    """
    seen = tally(image, setup.full_scale_dn)
    found: Measured = {
        "dn_min": seen.lowest_dn,
        "dn_mean": seen.columns.mean_dn(),
        "dn_max": seen.highest_dn,
        "share_at_full_scale": seen.at_full_scale / seen.columns.samples,
    }
    # what lies beyond the ends of the scale cannot be read
    clipped = (seen.at_zero + seen.at_full_scale) / seen.columns.samples
    if target == "flat" and seen.columns.lines >= FEWEST_LINES and clipped <= CLIPPED_SHARE:
        found |= _on_white(setup, numbers, seen.columns)
    if target == "edge":
        found |= _at_edge(setup, numbers, _on_target(setup, numbers, image, size))
    return found


def white_figures(setup: Setup, numbers: Station, image: NDArray[np.uint16]) -> Measured:
    """
    Read signal and noise off an image of white, clipped or not.

    Parameters
    ----------
    image : ndarray of uint16, shape (lines, width) or (lines, width, 3)
        Delivered samples of at least 16 lines. [DN]
    """
    return _on_white(setup, numbers, tally(HeldRows(image_dn=image), setup.full_scale_dn).columns)


def _on_white(setup: Setup, numbers: Station, seen: ColumnSums) -> Measured:
    profile = column_profile(setup, len(seen.sum_dn))
    even = profile >= _EVEN * profile.max()
    # a flat field has brought the columns to one level
    light = np.ones(len(profile)) if setup.acquisition.flat_field else profile
    fall = light[even] / light[even].mean() - 1
    if seen.sum_dn.ndim == 1:
        return _white_figures(numbers, seen.of(even), fall)
    parts = enumerate(numbers.by_colour)
    return _by_colour([_white_figures(one, seen.of(even, k), fall) for k, one in parts])


def _by_colour(each: list[Measured]) -> Measured:
    shared = set.intersection(*(set(found) for found in each))
    return {
        name: {colour: float(found[name]) for colour, found in zip(COLOURS, each, strict=True)}
        for name in each[0]
        if name in shared
    }


def _white_figures(numbers: Station, seen: ColumnSums, fall: FloatArray) -> Measured:
    flat, gain = summed_figures(seen), float(numbers.delivered.gain_dn_e)
    signal_e = float(numbers.delivered.charge_e(flat.mean_dn) - numbers.delivered_dark_e)
    found: Measured = {"dn_white": flat.mean_dn, "electrons_white": signal_e}
    if flat.temporal_noise_dn > 0 and signal_e > 0:
        snr = signal_e * gain / flat.temporal_noise_dn
        found |= {
            "noise_white_e": flat.temporal_noise_dn / gain,
            "snr_white": snr,
            "snr_white_db": decibel(snr),
            "snr_total_white": signal_e
            * gain
            / _total_noise_dn(flat, seen, fall * signal_e * gain),
        }
    return found


def _total_noise_dn(flat: FlatFigures, seen: ColumnSums, fall_dn: FloatArray) -> float:
    """Take what the light's own fall-off adds to the spread of the columns off the total noise."""
    means_dn = seen.sum_dn / seen.lines
    fallen_dn2 = len(means_dn) * (means_dn.var() - (means_dn - fall_dn).var())
    share = seen.lines * fallen_dn2 / ((seen.samples - 1) * flat.total_noise_dn**2)
    return float(flat.total_noise_dn * np.sqrt(max(1 - share, 0.0)))


def _on_target(
    setup: Setup, numbers: Station, image: ImageRows, size: TargetSize
) -> NDArray[np.uint16]:
    """Leave out what looks past the target's ends, where an edge does not go on straight."""
    pixel_um, (in_all, width, *_) = setup.target.pixel_size_um, image.shape
    long_um = size.rows * pixel_um - first_line_um(setup, numbers)
    lines = max(0, int(long_um / float(numbers.timing.line_advance_um) + _WHOLE))
    seen = size.columns * pixel_um / float(numbers.geometry.object_pixel_x_um)
    margin = max(0, int(np.ceil((width - seen) / 2 - _WHOLE)))
    enough = max(1, EDGE_SAMPLES // width)
    return image.rows(0, min(lines, in_all, enough))[:, margin : width - margin]


def _at_edge(setup: Setup, numbers: Station, image: NDArray[np.uint16]) -> Measured:
    """Read the MTF across the edge, of each colour."""
    if image.ndim == 2:  # noqa: PLR2004 -- lines and columns alone
        return _at_one_edge(setup, numbers, image)
    planes = np.moveaxis(image, 2, 0)
    return _by_colour([_at_one_edge(setup, numbers, plane) for plane in planes])


def _at_one_edge(setup: Setup, numbers: Station, image: NDArray[np.uint16]) -> Measured:
    """Read the MTF across the edge; the blur of the reference's own pixels is undone."""
    place, when = numbers.geometry, numbers.timing
    pitch_um = (float(when.line_advance_um), float(place.object_pixel_x_um))
    try:
        seen = edge_response(image, pixel_pitch=pitch_um, limits=(0, setup.full_scale_dn))
    except InputError:
        return {}  # the image does not let it be read: too noisy, too dark or clipped
    axis = "x" if seen.direction == "across" else "y"
    nyquist = 0.5 / pitch_um[1 if axis == "x" else 0]
    return _curve_figures(seen, setup.target.pixel_size_um, nyquist, axis)


def _curve_figures(seen: EdgeResponse, pixel_um: float, nyquist: float, axis: str) -> Measured:
    frequency = np.asarray(seen.frequency_per_unit)
    # an edge is averaged over each reference pixel, and the value then fills it: two boxes
    mtf = np.asarray(seen.mtf) / np.maximum(box_mtf(frequency * pixel_um) ** 2, 0.1)
    found: Measured = {f"mtf_nyquist_{axis}": float(np.interp(nyquist, frequency, mtf))}
    half = first_crossing(frequency, mtf, 0.5)
    if half is not None:
        found[f"mtf50_{axis}_lp_mm"] = 1000 * half
    return found
