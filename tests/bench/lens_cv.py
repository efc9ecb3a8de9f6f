"""
The job of a scan written for speed with OpenCV, with the lens that linesim gives it.

`careful_cv` has a Gaussian for a lens and a line half a reference pixel off. Here all weights are
linesim's own, both lens terms and diffraction included, so that both ways err alike and what is
left between them is how they multiply. Every fourth column is filtered as an image of its own with
every fourth weight, and every fourth row: filters at the pitch of the reference would work out four
columns and four rows for each one that is delivered.

``python -m tests.bench.lens_cv`` tells how far the expected electrons of both ways lie apart.
"""

import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.spread import Footprint, footprint, lens_spread
from linesim.forward.station import station
from linesim.setup.setup import Setup
from tests.bench.careful_cv import LINES_PER_STRIP, THREADS
from tests.bench.plain import Image


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """What pixels weigh reference pixels with, of one lens term and direction."""

    before: int  # pixels that the first weights lie before the own one
    phases: Image  # shape (reference pixels in a pixel, pixels); every so-manieth weight


@dataclass(frozen=True, slots=True, kw_only=True)
class LensJob:
    """One scan: weights of each lens term across and along, and levels."""

    across: tuple[Weights, ...]
    along: tuple[Weights, ...]
    electrons: float
    read_noise_e: float
    gain: float
    white_dn: int

    @property
    def fine(self) -> int:
        """Reference pixels in a delivered one."""
        return len(self.across[0].phases)


def lens_job(setup: Setup, fine: int, levels: tuple[float, float, float, int]) -> LensJob:
    """
    Take lens, pixel and travel of a monochrome camera that joins no pixels and never rests.

    Parameters
    ----------
    setup : Setup
    fine : int; reference pixels in a delivered one
    levels : tuple; electrons of white [e], read noise [e], gain [DN/e], bits
    """
    numbers = station(setup)
    side_um = float(numbers.geometry.row_side_um)
    spread = lens_spread(numbers.by_colour[0].optics, side_um)
    electrons, read_noise_e, gain, bits = levels
    return LensJob(
        across=tuple(
            _weights(footprint(term, side_um), side_um, (fine, 0.0), sign)
            for sign, term in zip(spread.weights, spread.terms, strict=True)
        ),
        along=tuple(
            _weights(footprint(term, side_um), side_um, (fine, side_um), 1.0)
            for term in spread.along
        ),
        electrons=electrons,
        read_noise_e=read_noise_e,
        gain=gain,
        white_dn=2**bits - 1,
    )


def _weights(foot: Footprint, side_um: float, way: tuple[int, float], sign: float) -> Weights:
    """Weigh all reference pixels that a blurred pixel sees while it travels."""
    fine, travel_um = way
    before = int(np.ceil(foot.reach_um / side_um))
    pixels = 2 * before + 1 + int(np.ceil(travel_um / side_um))
    place_um = (np.arange(pixels * fine + 1) / fine - before - 0.5) * side_um
    weights = sign * np.diff(foot.moving_integral(place_um, np.full(1, travel_um)))
    return Weights(before=before, phases=weights.reshape(pixels, fine).T.astype(np.float32))


def lens_scan(reference: Image, job: LensJob, seed: int) -> NDArray[np.uint16]:
    """Scan a reference whose sides are whole pixels; in threads, a strip at a time."""
    lines, columns = (size // job.fine for size in reference.shape)
    image_dn = np.empty((lines, columns), dtype=np.uint16)
    threads_before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        with ThreadPoolExecutor(THREADS) as pool:
            starts = range(0, lines, LINES_PER_STRIP)
            list(
                pool.map(lambda first: _scan_strip(reference, image_dn, (first, seed), job), starts)
            )
    finally:
        cv2.setNumThreads(threads_before)
    return image_dn


def _scan_strip(
    reference: Image, image_dn: NDArray[np.uint16], draw: tuple[int, int], job: LensJob
) -> None:
    """Fill some lines of the image: noise as in `careful_cv`."""
    first, seed = draw
    last = min(first + LINES_PER_STRIP, len(image_dn))
    expected_e = expected(reference, (first, last), job)
    cv2.setRNGSeed(((seed << 16) + first) & 0x7FFFFFFF)
    noise_e = np.empty_like(expected_e)
    cv2.randn(noise_e, np.zeros(1), np.ones(1))
    noise_e *= np.sqrt(expected_e + np.float32(job.read_noise_e**2))
    noise_e += expected_e
    strip_dn = cv2.addWeighted(noise_e, job.gain, noise_e, 0.0, 0.0, dtype=cv2.CV_16U)
    np.minimum(strip_dn, job.white_dn, out=image_dn[first:last])


def expected(reference: Image, ends: tuple[int, int], job: LensJob) -> Image:
    """Blur and shrink some lines, across then along. [e]."""
    fine, (first, last) = job.fine, ends
    size, width = (side // fine for side in reference.shape)
    before, past = job.along[0].before, len(job.along[0].phases[0]) - job.along[0].before - 1
    low, high = max(first - before, 0), min(last + past, size)
    side = job.across[0].before * fine
    seen = cv2.copyMakeBorder(
        reference[low * fine : high * fine],
        (low - first + before) * fine,
        (last + past - high) * fine,
        side,
        side,
        cv2.BORDER_REPLICATE,
    )
    columns = [
        np.asarray(each, np.float32) for each in cv2.split(seen.reshape(len(seen), -1, fine))
    ]
    total = np.zeros((last - first, width), dtype=np.float32)
    for across, along in zip(job.across, job.along, strict=True):
        narrow = _filtered(columns, across.phases[:, None, :])[:, :width]
        rows = [np.ascontiguousarray(narrow[phase::fine]) for phase in range(fine)]
        total += _filtered(rows, along.phases[:, :, None])[: last - first]
    total *= np.float32(job.electrons)
    return total


def _filtered(planes: list[Image], weights: Image) -> Image:
    """Filter each plane with weights of its own and add them up; the first weight at the pixel."""
    out: Image = np.asarray(cv2.filter2D(planes[0], cv2.CV_32F, weights[0], anchor=(0, 0)))
    for plane, own in zip(planes[1:], weights[1:], strict=True):
        cv2.add(out, cv2.filter2D(plane, cv2.CV_32F, own, anchor=(0, 0)), dst=out)
    return out


def apart(setup: Setup, reference: Image, pitch_um: float) -> float:
    """Tell how far both ways lie apart at most, over the largest number of electrons."""
    fine = round(float(station(setup).geometry.row_side_um) / pitch_um)
    seen = ArrayReference(data=reference, pixel_size_um=pitch_um)
    ours = render(setup, seen, len(reference) // fine, 0).expected_e
    theirs = expected(reference, (0, len(ours)), lens_job(setup, fine, (1.0, 0.0, 1.0, 12)))
    return float(np.abs(ours / ours.mean() - theirs / theirs.mean()).max())


if __name__ == "__main__":
    from tests.bench.kinds import BASE, FINE, WIDTH

    board = np.random.default_rng(1).random((100 * FINE, WIDTH * FINE), dtype=np.float32)
    sys.stdout.write(f"{apart(BASE, board, BASE.target.pixel_size_um):.1e} of the mean apart\n")
