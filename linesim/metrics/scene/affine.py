"""An affine map between places of two images, about the middle of one of them."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from linesim.setup.arrays import FloatArray


class Steps(NamedTuple):
    """Parameters of the map, or a step of them; in samples, and samples over samples."""

    along: float = 0.0
    across: float = 0.0
    # relative change of lengths
    grow_along: float = 0.0
    grow_across: float = 0.0
    tilt: float = 0.0  # shift along over distance across
    drift: float = 0.0  # shift across over distance along


STILL = Steps()


@dataclass(frozen=True, slots=True, kw_only=True)
class Affine:
    """Where places of an image lie in a prediction."""

    middle_px: tuple[float, float]  # middle of the image, along and across [px]
    steps: Steps = STILL  # how it lies; all 0: every place lies where it is

    def at(self, along_px: FloatArray, across_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give places in the prediction, along and across, of places of the image. [px]."""
        step = self.steps
        w, u = along_px - self.middle_px[0], across_px - self.middle_px[1]
        return (
            along_px + step.along + step.grow_along * w + step.tilt * u,
            across_px + step.across + step.grow_across * u + step.drift * w,
        )

    def moved(self, more: Steps) -> "Affine":
        """Add a step."""
        total = (own + other for own, other in zip(self.steps, more, strict=True))
        return Affine(middle_px=self.middle_px, steps=Steps(*total))


def shrunk(image: FloatArray, factor: int) -> FloatArray:
    """
    Average squares of samples; what fills none is left out.

    Parameters
    ----------
    image : ndarray of shape (lines, columns)
    """
    rows, columns = (side // factor for side in image.shape)
    squares = image[: rows * factor, : columns * factor].reshape(rows, factor, columns, factor)
    return np.asarray(squares.mean(axis=(1, 3)), dtype=np.float64)
