"""
The job of a scan as a competent Python user would write it: whole-array calls, one after another.

Something to hold the speed of `linesim.scan` against; it uses nothing of linesim.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, uniform_filter1d
from skimage.measure import block_reduce
from skimage.transform import resize_local_mean

Image = NDArray[np.float32]


def plain_scan(  # noqa: PLR0913 -- one signature for the benchmarks, spelling out the whole job
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
    Scan a reference: lens, motion, pixels, shot noise, read noise, digitising.

    Parameters
    ----------
    reference : ndarray of float32, shape (rows, columns)
        Linear reflectance, 1 for white; row 0 is seen first. Its border goes on outside.
    oversampling : float
        Reference pixels per delivered pixel, each way; need not be whole.
    lens_sigma_px : float
        Standard deviation of the lens's Gaussian blur. [delivered pixels]
    motion_px : float
        Travel during the exposure, which starts at the line's own place; rounded to whole
        reference pixels, 1 or more. [delivered pixels]
    electrons : float
        Electrons in a delivered pixel of white. [e]
    read_noise_e : float
        Standard deviation of the read noise. [e]
    gain : float
        Digital numbers per electron. [DN/e]
    bits : int
        Bit depth, up to 16; no black level.
    seed : int
        Seed of the noise.

    Returns
    -------
    ndarray of uint16, shape (rows // oversampling, columns // oversampling)
        Digital numbers. [DN]

    Notes
    -----
    The mean over the travel is taken at its whole reference pixels 0, 1, …, n − 1, so a line sits
    half a reference pixel before the middle of a steady travel of n.
    """
    rng = np.random.default_rng(seed)
    blurred = gaussian_filter(reference, lens_sigma_px * oversampling, mode="nearest")
    travel = max(1, round(motion_px * oversampling))
    # scipy centres the window; this origin makes it start at the row itself
    blurred = uniform_filter1d(blurred, travel, axis=0, mode="nearest", origin=-(travel // 2))
    expected_e = electrons * _pixels(blurred, oversampling)
    signal_e = rng.poisson(expected_e) + rng.normal(0.0, read_noise_e, expected_e.shape)
    image_dn = np.floor(gain * signal_e + 0.5)
    return np.clip(image_dn, 0, 2**bits - 1).astype(np.uint16)


def _pixels(fine: Image, oversampling: float) -> Image:
    """Mean over the area of each delivered pixel; a rest at the far borders is cut off."""
    rows, columns = (int(size / oversampling) for size in fine.shape)
    fine = fine[: round(rows * oversampling), : round(columns * oversampling)]
    if float(oversampling).is_integer():
        k = int(oversampling)
        return np.asarray(block_reduce(fine, (k, k), np.mean))  # type: ignore[no-untyped-call]
    # weighs the reference pixels that two delivered pixels share
    return np.asarray(resize_local_mean(fine, (rows, columns)))  # type: ignore[no-untyped-call]
