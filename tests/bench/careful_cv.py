"""
The job of a scan as an OpenCV expert would write it for speed.

Something to hold the speed of `linesim.scan` against; it uses nothing of linesim. Strips that fit
the cache, in two threads; motion folded into the lens's kernel; the image narrowed across before it
is filtered along; one normal draw for shot and read noise together (right for bright pixels only:
its noise has no skewness).

``python -m tests.bench.careful_cv`` compares it with the plain way.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.bench.plain import Image, plain_scan

LINES_PER_STRIP = 64
THREADS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """One scan: sizes, kernels and levels; `reach` rows are needed on each side of a strip."""

    oversampling: float
    lines: int
    columns: int
    across: Image
    along: Image
    reach: int
    electrons: float
    read_noise_e: float
    gain: float
    white_dn: int
    seed: int


def careful_scan(  # noqa: PLR0913 -- one signature for the benchmarks, spelling out the whole job
    reference: Image,
    *,
    oversampling: float,
    lens_sigma_px: float,
    motion_px: float,
    electrons: float,
    read_noise_e: float,
    gain: float,
    bits: int,
    seed: int,
) -> NDArray[np.uint16]:
    """
    Scan a reference; parameters, result and place of the lines as in `plain_scan`.

    Fractional oversampling: every strip starts at a reference row, so `LINES_PER_STRIP` times the
    oversampling must be whole.

    Raises
    ------
    ValueError
        If the strips do not start at reference rows.
    """
    if not float(LINES_PER_STRIP * oversampling).is_integer():
        msg = f"{LINES_PER_STRIP} lines must be whole reference rows, got {oversampling} a line"
        raise ValueError(msg)
    across, along = _kernels(lens_sigma_px * oversampling, max(1, round(motion_px * oversampling)))
    job = _Job(
        oversampling=oversampling,
        lines=int(reference.shape[0] / oversampling),
        columns=int(reference.shape[1] / oversampling),
        across=across,
        along=along,
        reach=along.size // 2,
        electrons=electrons,
        read_noise_e=read_noise_e,
        gain=gain,
        white_dn=2**bits - 1,
        seed=seed,
    )
    return _in_threads(reference, job)


def _in_threads(reference: Image, job: _Job) -> NDArray[np.uint16]:
    """Scan strips in own threads; OpenCV's inner ones would only get in their way."""
    image_dn = np.empty((job.lines, job.columns), dtype=np.uint16)
    threads_before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        with ThreadPoolExecutor(THREADS) as pool:
            starts = range(0, job.lines, LINES_PER_STRIP)
            list(pool.map(lambda first: _scan_strip(reference, image_dn, first, job), starts))
    finally:
        cv2.setNumThreads(threads_before)
    return image_dn


def _kernels(sigma: float, travel: int) -> tuple[Image, Image]:
    """Lens across; lens and motion along, of odd length, reaching farther ahead than back."""
    reach = int(4 * sigma + 0.5)
    lens = np.exp(-0.5 * (np.arange(-reach, reach + 1) / max(sigma, 1e-6)) ** 2)
    lens /= lens.sum()
    # OpenCV correlates: weights of travel 0 … travel − 1 stand right of the middle
    motion = np.concatenate([np.zeros(travel - 1), np.full(travel, 1 / travel)])
    return lens.astype(np.float32), np.convolve(lens, motion).astype(np.float32)


def _scan_strip(reference: Image, image_dn: NDArray[np.uint16], first: int, job: _Job) -> None:
    """Fill lines `first` to `first + LINES_PER_STRIP` of the image."""
    expected_e = _expected(reference, first, job)
    # each thread has a generator of its own, seeded by an int of 31 bits
    cv2.setRNGSeed(((job.seed << 16) + first) & 0x7FFFFFFF)
    noise_e = np.empty_like(expected_e)
    cv2.randn(noise_e, np.zeros(1), np.ones(1))
    noise_e *= np.sqrt(expected_e + np.float32(job.read_noise_e**2))
    noise_e += expected_e
    # rounds and holds the result within 0 … 65535
    strip_dn = cv2.addWeighted(noise_e, job.gain, noise_e, 0.0, 0.0, dtype=cv2.CV_16U)
    np.minimum(strip_dn, job.white_dn, out=image_dn[first : first + LINES_PER_STRIP])


def _expected(reference: Image, first: int, job: _Job) -> Image:
    """Blur and shrink one strip, across then along. [e]."""
    last = min(first + LINES_PER_STRIP, job.lines)
    start, stop = (round(line * job.oversampling) for line in (first, last))
    width = round(job.columns * job.oversampling)
    rows = reference[max(0, start - job.reach) : stop + job.reach]
    border = cv2.BORDER_REPLICATE
    # filter2D with a row or a column: two to six times as fast as sepFilter2D with a 1 beside it
    lens = cv2.filter2D(rows, cv2.CV_32F, job.across[np.newaxis], borderType=border)
    narrow = cv2.resize(lens[:, :width], (job.columns, len(rows)), interpolation=cv2.INTER_AREA)
    along = cv2.filter2D(narrow, cv2.CV_32F, job.along[:, np.newaxis], borderType=border)
    before = start - max(0, start - job.reach)
    own = along[before : before + stop - start]
    pixels = cv2.resize(own, (job.columns, last - first), interpolation=cv2.INTER_AREA)
    return np.asarray(pixels, dtype=np.float32) * np.float32(job.electrons)


def _compare(oversampling: float) -> float:
    """
    Give the rise of the variance of the difference over that of the noise, in its own sigmas.

    Shot, read and rounding noise of two images have variance 2 (K² (λ + σ²) + 1/12); the
    variance of n normals has relative standard deviation √(2/n).
    """
    rows, columns = round(576 * oversampling), round(640 * oversampling)
    texture = np.random.default_rng(5).random((rows, columns), dtype=np.float32)
    reference = np.clip(0.5 + 3 * (cv2.GaussianBlur(texture, (0, 0), 3) - 0.5), 0.05, 1)
    reference[rows // 3 : rows // 2, columns // 4 : columns // 2] = 0.1
    electrons, read_noise_e, gain = 20_000.0, 20.0, 0.15
    plain, careful = (
        scan(
            reference,
            oversampling=oversampling,
            lens_sigma_px=0.6,
            motion_px=1.0,
            electrons=electrons,
            read_noise_e=read_noise_e,
            gain=gain,
            bits=12,
            seed=7,
        ).astype(float)
        for scan in (plain_scan, careful_scan)
    )
    level_e = (plain + careful) / 2 / gain
    noise = 2 * (gain**2 * (level_e + read_noise_e**2) + 1 / 12)
    ratio = ((plain - careful) ** 2 / noise).mean()
    return float((ratio - 1) / np.sqrt(2 / plain.size))


if __name__ == "__main__":
    for k in (4.0, 3.5):
        print(f"oversampling {k}: plain and careful differ by {_compare(k):+.1f} sigma")  # noqa: T201 -- a program for the console
