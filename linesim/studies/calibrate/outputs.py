"""What a calibration leaves on disk, each file whole or not there at all."""

from dataclasses import asdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linesim.files.atomic import write_json, write_text
from linesim.files.images_out import write_tiff
from linesim.setup.arrays import ImageArray
from linesim.studies.calibrate.minded import cautions
from linesim.studies.calibrate.study import Calibrated
from linesim.studies.calibrate.words import rms, spoken, target_lines, worst

_SIXTEEN_BIT = 65535
_BAND_ROWS = 512
_DIGITS = 1000
_LEAST_WHITE = 0.001


def white_of(data: ImageArray) -> float:
    """
    Choose the reflectance that full scale stands for: the largest there is, rounded up.

    Parameters
    ----------
    data : ndarray; reflectances
    """
    return max(_LEAST_WHITE, float(np.ceil(float(data.max()) * _DIGITS - 1e-3) / _DIGITS))


def codes_of(data: ImageArray, white: float) -> NDArray[np.uint16]:
    """
    Encode reflectances linearly, to the nearest of 65535 steps.

    Parameters
    ----------
    data : ndarray; reflectances, none over white
    """
    codes = np.empty(data.shape, dtype=np.uint16)
    for first in range(0, len(data), _BAND_ROWS):
        band = data[first : first + _BAND_ROWS].astype(np.float64)
        codes[first : first + _BAND_ROWS] = np.rint(_SIXTEEN_BIT * np.clip(band / white, 0, 1))
    return codes


def calibration_json(found: Calibrated) -> dict[str, object]:
    """Give a calibration as calibration.json has it."""
    residual = found.residual
    made = found.tone.reflectance(found.seen.values, found.seen.blank)
    plain: dict[str, object] = {
        "image": found.asked.image.name,
        "encoding": found.asked.encoding,
        "pixel_size_um": found.scale.pixel_size_um,
        "pixel_size_from": found.scale.source,
        "photograph_pixel_um": list(found.scale.seen_um),
        "white_reflectance": white_of(found.data),
        "curves": [asdict(curve) for curve in found.tone.curves],
        "patches": [
            {
                **patch.region.as_dict(),
                "reflectance": list(patch.reflectance),
                "decoded": found.seen.values[index].tolist(),
                "found": made[index].tolist(),
            }
            for index, patch in enumerate(found.used)
        ],
        "residual_rms": rms(residual),
        "residual_worst": float(np.abs(residual).max()),
        "worst_patch": worst(found),
        "share_darker_than_patches": found.share_below,
        "share_lighter_than_patches": found.share_above,
        "share_at_lowest_number": found.ends.share_lowest,
        "share_at_highest_number": found.ends.share_highest,
        "coarse_below_reflectance": found.coarse_reflectance,
        "share_coarse": found.share_coarse,
        "block_step_ratio": found.blocks,
    }
    if found.predicted is not None:
        plain["predicted_rms"] = rms(found.predicted)
        plain["predicted_worst"] = float(np.abs(found.predicted).max())
    if found.tone.matrix is not None:
        plain["matrix"] = found.tone.matrix.tolist()
    if found.field is not None:
        plain["light_range"] = list(found.field.span)
    return {
        **plain,
        "said": list(spoken(found)),
        "cautions": [each.as_dict() for each in cautions(found)],
    }


def write_calibration(found: Calibrated, folder: Path) -> tuple[Path, ...]:
    """Write target, the lines that name it, and the figures."""
    white = white_of(found.data)
    paths = tuple(folder / name for name in ("target.tif", "target.toml", "calibration.json"))
    write_tiff(paths[0], codes_of(found.data, white))
    write_text(paths[1], target_lines(found.scale.pixel_size_um, white))
    write_json(paths[2], calibration_json(found))
    return paths
