"""
The job of a scan in whole-array OpenCV calls, one after another, with numpy's noise.

Between the plain way and the careful one: what somebody writes who knows OpenCV and does not tune.
It uses nothing of linesim.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.bench.plain import Image


def whole_scan(  # noqa: PLR0913 -- one signature for the benchmarks, spelling out the whole job
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
    """Scan a reference; parameters, result and place of the lines as in `plain_scan`."""
    rng = np.random.default_rng(seed)
    blurred = cv2.GaussianBlur(
        reference, (0, 0), lens_sigma_px * oversampling, borderType=cv2.BORDER_REPLICATE
    )
    travel = max(1, round(motion_px * oversampling))
    blurred = cv2.boxFilter(
        blurred, -1, (1, travel), anchor=(0, 0), borderType=cv2.BORDER_REPLICATE
    )
    lines, columns = (int(side / oversampling) for side in reference.shape)
    expected_e = electrons * cv2.resize(blurred, (columns, lines), interpolation=cv2.INTER_AREA)
    signal_e = rng.poisson(expected_e) + rng.normal(0.0, read_noise_e, expected_e.shape)
    return np.clip(np.floor(gain * signal_e + 0.5), 0, 2**bits - 1).astype(np.uint16)
