"""
A fault with relief as samples see it: over places, where other figures go by frequencies.

Its transform behind lens, pixel and motion, on frequencies spaced by the inverse of a period that
holds the blurred fault, is turned back. That gives what no integral over frequencies does: by how
much the brightest or darkest place changes, Σs³, and how Σs² swings with the place on the grid of
samples, ∫s² exp(2πix/Δ) over ∫s². A fault much larger than a sample changes like one of some
samples, and is taken for it; of a long one the stretch between its ends is cut short.
"""

from dataclasses import dataclass, replace

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.pixel import longest_side_um
from linesim.forward.station import Station
from linesim.metrics.detection.flanks import Relief
from linesim.metrics.detection.texture import seen_mtf, widened
from linesim.setup.arrays import FloatArray

_ROOM = 5.0
"""Samples around the fault, and blurs of the lens, in a period."""
_STRETCH = 3.0
_NOTHING = 1e-200


@dataclass(frozen=True, slots=True, kw_only=True)
class Fineness:
    """How many frequencies of one sign, and the widest fault in samples that they serve."""

    count: int
    widest: float


OF_SUMS = Fineness(count=24, widest=8.0)
"""Up to 1.8 cycles a sample of the widest."""
OF_EXTREMES = Fineness(count=72, widest=40.0)
"""Up to 1.6 cycles a sample."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictured:
    """What samples at all places see of a fault, as a share of the product's level."""

    change: FloatArray  # shape (..., places along, places across); brighter is positive
    x_um: FloatArray  # places from its middle [µm]
    y_um: FloatArray

    @property
    def extreme(self) -> FloatArray:
        """Give the largest change, with its sign."""
        flat = self.change.reshape(*self.change.shape[:-2], -1)
        place = np.abs(flat).argmax(axis=-1)
        return np.asarray(np.take_along_axis(flat, place[..., None], axis=-1)[..., 0])

    @property
    def third(self) -> FloatArray:
        """Σs³ over Σs², s the darkening."""
        power = np.square(self.change)
        whole = np.maximum(power.sum((-2, -1)), _NOTHING)
        return np.asarray(-(power * self.change).sum((-2, -1)) / whole)

    def waves(self, step_x_um: Figure, step_y_um: Figure) -> tuple[FloatArray, FloatArray]:
        """By which share Σs² swings to either side with the place across, and along."""
        power = np.square(self.change)
        whole = np.maximum(power.sum((-2, -1)), _NOTHING)
        turns = self.x_um / step_x_um, self.y_um / step_y_um
        across, along = (np.abs((power * np.exp(2j * np.pi * t)).sum((-2, -1))) for t in turns)
        return across / whole, along / whole


def pictured(wide: Station, fault: Relief, fineness: Fineness = OF_SUMS) -> Pictured:
    """Turn a fault behind lens, pixel and motion back into a picture."""
    place, lens = wide.geometry, wide.optics
    blur_um = (8 * lens.rest_blur_um + lens.defocus_disc_um) / lens.magnification
    pixels_um = np.asarray(place.object_pixel_x_um), np.asarray(longest_side_um(wide))
    width_um = np.minimum(fault.width_um, fineness.widest * np.minimum(*pixels_um))
    longest_um = fault.flanks.form.ends * width_um + _STRETCH * np.maximum(*pixels_um)
    some = replace(fault, width_um=width_um, length_um=np.minimum(fault.length_um, longest_um))
    period_x, period_y = (
        side_um + _ROOM * pixel_um + blur_um
        for side_um, pixel_um in zip(some.side_um, pixels_um, strict=True)
    )
    count = fineness.count
    turns = np.asarray(np.fft.fftfreq(2 * count, 1 / (2 * count)), dtype=np.float64)
    fx, fy = 1000 * np.arange(count + 1) / period_x, 1000 * turns[:, None] / period_y
    seen = some.signed(fx, fy) * seen_mtf(wide, fx, fy) * _signs(wide, fx, fy)
    change = np.fft.irfft2(seen, s=(2 * count, 2 * count)) * (2 * count) ** 2
    return Pictured(
        change=change / (period_x * period_y),
        x_um=turns / (2 * count) * period_x,
        y_um=turns[:, None] / (2 * count) * period_y,
    )


def _signs(wide: Station, fx: FloatArray, fy: FloatArray) -> FloatArray:
    """Transfer functions are sizes; beyond a box's first zero its transform is negative."""
    place = wide.geometry
    boxes = (fx, place.object_pixel_x_um), (fy, place.row_side_um), (fy, wide.motion_um)
    signs: FloatArray = np.ones(())
    for frequency, side_um in boxes:
        signs = signs * np.sign(np.sinc(frequency * np.asarray(side_um) / 1000))
    return signs


def seen_change(numbers: Station, fault: Relief) -> FloatArray:
    """Give the largest change, as a share of the level, that samples see of a fault."""
    return pictured(widened(numbers), widened(fault), OF_EXTREMES).extreme
