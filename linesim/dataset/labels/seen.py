"""
How well the camera sees a fault: the electrons that it adds or takes, against the noise.

The forward model up to the electrons is linear in the reflectance, so a fault's own signal s is the
scan of the difference that it makes on the target: lens, motion and binning are in it. With σ the
temporal noise and σ_c the streaks of the columns, both at the signal without the fault,

    d' = Σs² / √(Σσ²s² + Σ_columns σ_c² (Σ_lines s)² + σ_l² Σ_lines (Σ_columns s)²),
    CNR = √(mean s²) / √(σ² + σ_l²), the noise its mean over the mask,

σ_l the noise that all samples of a line share; d' over the fault and the reach of its blur, the sum
over colours too. Both are capped where the
nearest limit (well or full scale) cuts the signal off.

That is what the camera alone allows, `camera_dprime`: place and shape of the fault are taken as
known, the product's own texture as well. `dprime` is the same before that texture as noise
(`linesim.dataset.labels.backdrop`), as verdicts have it: what the best linear filter makes of the
image without knowing the good product under it. Neither is what a detector reaches.
"""

from dataclasses import dataclass
from math import ceil

import numpy as np

from linesim.dataset.labels.backdrop import Backdrop, Seen, backdrop, index_in
from linesim.defects.window import Window
from linesim.forward.channels import channels
from linesim.forward.expose import Exposer, exposer
from linesim.forward.reference import Reference
from linesim.forward.station import Station, station
from linesim.forward.transport import STRIP_LINES
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup

_BLUR = 4.0
"""Standard deviations of the lens's rest blur that a signal is followed out to; our choice."""
_MORE_PX = 2
_LEAST_E = 1e-6
_COLOUR = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """How well one fault is seen."""

    contrast: float
    cnr: float
    dprime: float  # before the product's texture
    camera_dprime: float  # against the camera's noise alone


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Change:
    """What one fault makes of the target: the difference, as a reference of its own."""

    shape: tuple[int, ...]  # of the target
    pixel_size_um: float  # of the target [µm]
    window: Window  # where it differs
    part: ImageArray  # new less old reflectance there

    def rows(self, first: int, last: int) -> ImageArray:
        """Give the difference in some rows."""
        start, stop, _ = slice(first, last).indices(self.shape[0])
        out = np.zeros((max(stop - start, 0), *self.shape[1:]), dtype=np.float32)
        met = self.window.between(start, stop)
        if not met.empty:
            place = slice(met.top - start, met.bottom - start), slice(met.left, met.right)
            out[place] = self.part[met.within(self.window)]
        return out


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Judge:
    """What tells how well a fault is seen, once its own signal is known."""

    numbers: Station
    behind: Backdrop | None  # the product's texture

    def strength(self, with_e: FloatArray, own_e: FloatArray, inside: FloatArray) -> Strength:
        """
        Tell how well a fault is seen.

        Parameters
        ----------
        with_e : ndarray of shape (lines, columns, channels)
            Of the image with all faults, around this one. [e]
        own_e : ndarray of the same shape; what this fault adds or takes there [e]
        inside : ndarray of shape (lines, columns); its mask
        """
        without_e = with_e - own_e
        limit_e = np.asarray(self.numbers.saturation_e)
        signal_e = np.minimum(with_e, limit_e) - np.minimum(without_e, limit_e)
        return self._judged(signal_e, np.minimum(without_e, limit_e), inside)

    def _judged(self, signal_e: FloatArray, ground_e: FloatArray, mask: FloatArray) -> Strength:
        noise_e = self.numbers.noise_e(ground_e)
        streaks_e2 = (np.asarray(self.numbers.pattern_e(ground_e)) ** 2).mean(axis=0)
        lines_e2 = float(np.square(self.numbers.line_noise_e))

        def shared_e2(weights: FloatArray) -> float:
            beside = weights.shape[1] - streaks_e2.shape[0]
            each_e2 = np.pad(streaks_e2, ((0, beside), (0, 0)), mode="edge")
            streaks = float((each_e2 * weights.sum(axis=0) ** 2).sum())
            return streaks + lines_e2 * float((weights.sum(axis=1) ** 2).sum())

        spread_e2 = float(((noise_e**2 - lines_e2) * signal_e**2).sum()) + shared_e2(signal_e)
        camera = float((signal_e**2).sum()) / float(np.sqrt(spread_e2)) if spread_e2 > 0 else 0.0
        before = self.behind
        seen = Seen(
            signal_e=signal_e,
            white_e2=np.asarray(noise_e**2 - lines_e2),
            level_e=self._unclipped(ground_e),
        )
        weights = (mask / mask.sum())[:, :, None]
        mean_ground_e = (weights * ground_e).sum(axis=(0, 1))
        share = (weights * signal_e).sum(axis=(0, 1)) / np.maximum(mean_ground_e, _LEAST_E)
        rms_e = np.sqrt((weights * signal_e**2).sum(axis=(0, 1)))
        cnr = rms_e / (weights * noise_e).sum(axis=(0, 1))
        return Strength(
            contrast=float(share[np.abs(share).argmax()]),
            cnr=float(cnr.max()),
            dprime=camera if before is None else min(camera, index_in(before, seen, shared_e2)),
            camera_dprime=camera,
        )

    def _unclipped(self, ground_e: FloatArray) -> FloatArray:
        """Give the mean level of each colour, samples that clip counted as nothing: no texture."""
        limit_e = np.asarray(self.numbers.saturation_e)
        return np.asarray(np.where(ground_e < limit_e, ground_e, 0.0).mean(axis=(0, 1)))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Eye:
    """The first half of the camera, ready to look at single faults of one scan."""

    judge: Judge
    seed: int  # of the jitter, as for the image
    exposers: tuple[Exposer, ...]  # one a channel
    expected_e: ImageArray  # shape (lines, columns, channels); of the image with all faults [e]
    margin: tuple[int, int]  # lines and columns that a fault's blur reaches beyond its mask

    def strength(
        self, change: Change, box: tuple[int, int, int, int], mask: ImageArray
    ) -> Strength:
        """Tell how well a fault is seen."""
        lines, columns = around(box, self.margin, self.expected_e.shape[:2])
        with_e = self.expected_e[slice(*lines), slice(*columns)].astype(np.float64)
        inside = with_margin(mask, box, lines, columns)
        return self.judge.strength(with_e, self._signal_e(change, lines, columns), inside)

    def _signal_e(
        self, change: Change, lines: tuple[int, int], columns: tuple[int, int]
    ) -> FloatArray:
        """Scan the difference, a strip at a time, with the tiles that see it."""
        tiles = self.exposers[0].samplers[0].tiles
        across = tiles[-1].last // self.expected_e.shape[1]
        met = [
            k
            for k, tile in enumerate(tiles)
            if tile.first < columns[1] * across and tile.last > columns[0] * across
        ]
        some, inside = slice(met[0], met[-1] + 1), slice(*(end * across for end in columns))
        starts = range(lines[0], lines[1], STRIP_LINES)
        found = []
        for each in self.exposers:
            part = each.part(change, some)
            strips = [
                part.strip(self.seed, first, min(first + STRIP_LINES, lines[1]))[:, :, inside]
                for first in starts
            ]
            exposures = np.concatenate(strips, axis=1, dtype=np.float64)
            shape = (exposures.shape[0], exposures.shape[1], columns[1] - columns[0], across)
            found.append(exposures.reshape(shape).sum(axis=(0, 3)))
        return np.stack(found, axis=2)


def eye(
    setup: Setup,
    reference: Reference,
    expected_e: ImageArray,
    seed: int,
    texture: Texture | None = None,
) -> Eye:
    """Make ready to look at single faults."""
    numbers = station(setup)
    return Eye(
        judge=Judge(numbers=numbers, behind=backdrop(numbers, texture)),
        seed=seed,
        exposers=tuple(exposer(setup, reference, each) for each in channels(setup, numbers)),
        expected_e=expected_e if expected_e.ndim == _COLOUR else expected_e[:, :, None],
        margin=margin_px(numbers),
    )


def margin_px(numbers: Station) -> tuple[int, int]:
    """Tell how many lines and columns a fault's blur reaches beyond its mask."""
    place, lens = numbers.geometry, numbers.ends_optics
    blur_um = np.max(_BLUR * lens.rest_blur_um + lens.defocus_disc_um / 2)
    blur_um = float(blur_um) / float(lens.magnification)
    return (
        ceil(blur_um / float(numbers.timing.line_advance_um)) + _MORE_PX + len(numbers.trail) - 1,
        ceil(blur_um / float(place.object_pixel_x_um)) + _MORE_PX,
    )


def around(
    box: tuple[int, int, int, int], margin: tuple[int, int], shape: tuple[int, ...]
) -> tuple[tuple[int, int], tuple[int, int]]:
    """
    Give a box with a margin, as far as the image goes.

    Parameters
    ----------
    box : tuple of int; first line and column, and one past the last of each
    margin : (int, int); lines and columns
    shape : tuple of int; lines and columns of the image

    Returns
    -------
    two pairs of int; first line and one past the last, and columns alike
    """
    lines, columns = (
        (max(box[k] - margin[k], 0), min(box[k + 2] + margin[k], shape[k])) for k in (0, 1)
    )
    return lines, columns


def with_margin(
    mask: ImageArray,
    box: tuple[int, int, int, int],
    lines: tuple[int, int],
    columns: tuple[int, int],
) -> FloatArray:
    """
    Lay a mask into its box with the margin around it, where it is 0.

    Parameters
    ----------
    mask : ndarray of the shape of the box
    box : tuple of int; first line and column, and one past the last of each
    lines, columns : (int, int); of the box with its margin, as `around` gives them

    Returns
    -------
    ndarray of shape (lines, columns)
    """
    inside = np.zeros((lines[1] - lines[0], columns[1] - columns[0]))
    inside[box[0] - lines[0] : box[2] - lines[0], box[1] - columns[0] : box[3] - columns[0]] = mask
    return inside
