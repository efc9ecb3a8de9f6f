"""A camera evaluated from frames in the dark and of an even target at stepped exposures."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.camera.transfer import dark_noise, photon_transfer
from linesim.metrics.flat.noise import Estimate, Split, frame_figures


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFigures:
    """A camera by EMVA 1288."""

    gain_dn_e: Estimate
    dark_noise_e: Estimate
    dsnu_e: Split
    prnu: Split


def camera_figures(
    dark_dn: NDArray[np.generic], lit_dn: Sequence[NDArray[np.generic]], *, saturation_dn: float
) -> CameraFigures:
    """Evaluate by EMVA 1288 R4.0 RC: K (50), σ_d (53)(54) and C.4, DSNU (66), PRNU (67)."""
    dark, lit = frame_figures(dark_dn), [frame_figures(each) for each in lit_dn]
    every = (dark, *lit)
    mean_dn = np.array([each.mean_dn.value for each in every])
    gain = photon_transfer(
        mean_dn,
        np.array([each.temporal_dn2.value for each in every]),
        saturation_dn=saturation_dn,
        samples=(len(dark_dn) - 1) * dark_dn[0].size,
    )
    half = int(np.abs(mean_dn[1:] - mean_dn[0] - saturation_dn / 2).argmin())
    signal = lit[half].mean_dn.less(dark.mean_dn)
    pattern_dn2 = lit[half].spatial_dn2.less(dark.spatial_dn2)
    return CameraFigures(
        gain_dn_e=gain,
        dark_noise_e=dark_noise(dark.temporal_dn2, gain),
        dsnu_e=dark.spatial_dn2.each(lambda part: part.root().over(gain)),
        prnu=pattern_dn2.each(lambda part: part.root().over(signal)),
    )
