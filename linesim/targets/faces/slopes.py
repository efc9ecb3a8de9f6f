"""What very many slopes of a face send to the camera, by a table of some."""

from math import ceil

import numpy as np
import scipy

from linesim.setup.arrays import FloatArray
from linesim.targets.faces.face import Face, factors

_STEPS = 2.5
"""Of the table in the rms slope; a lobe is smooth on that scale."""
_MATT_STEP = 0.04
_MARGIN = 8
"""Steps more on each side, where a spline errs."""


def factors_at(face: Face, p: FloatArray, q: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Give radiance factors, matt of white and mirrored, of very many slopes, by a table of some.

    Parameters
    ----------
    p, q : ndarray; tangents by which the normal leans across and along
    """
    finish = face.finish
    steps = [_MATT_STEP] * 2
    if finish:
        steps = [finish.rms_across / _STEPS, finish.rms_along / _STEPS]
    # on a place of the table the level face is right to rounding
    lows = [
        lean - step * (ceil((lean - float(each.min())) / step) + _MARGIN)
        for each, step, lean in zip((p, q), steps, face.slopes, strict=True)
    ]
    counts = [
        ceil((float(each.max()) - low) / step) + _MARGIN
        for each, step, low in zip((p, q), steps, lows, strict=True)
    ]
    axes = [
        low + step * np.arange(count) for low, step, count in zip(lows, steps, counts, strict=True)
    ]
    slopes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    where = np.stack([(p - lows[0]) / steps[0], (q - lows[1]) / steps[1]])
    matt, gloss = (
        np.maximum(
            scipy.ndimage.map_coordinates(each.reshape(counts), where, order=3, mode="nearest"), 0.0
        )
        for each in factors(face, slopes.reshape(-1, 2))
    )
    return matt, gloss
