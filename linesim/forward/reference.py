"""The target as the forward model sees it: linear reflectance on a fine square grid."""

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np

from linesim.setup.arrays import ImageArray


@runtime_checkable
class Reference(Protocol):
    """
    One face for an array, a formula, a mapped file or a repeat.

    Row 0 meets the camera first; columns run across the web.
    """

    @property
    def pixel_size_um(self) -> float:
        """Side of one square reference pixel on the target. [µm]."""

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3) for red, green, blue."""

    def rows(self, first: int, last: int) -> ImageArray:
        """
        Linear reflectance of rows ``first`` to ``last`` (exclusive), float32.

        Each value is the mean over the area of its pixel.
        """


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrayReference:
    """A reference held in memory."""

    # shape (rows, columns); Linear reflectance; 1 is a perfect white. float32 is used as it is,
    # never copied.
    data: ImageArray
    pixel_size_um: float  # side of one square pixel on the target [µm]

    def __post_init__(self) -> None:
        """Bring other number types to float32 once."""
        object.__setattr__(self, "data", np.asarray(self.data, dtype=np.float32))

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3)."""
        return self.data.shape

    def rows(self, first: int, last: int) -> ImageArray:
        """
        Give a view of some rows.

        Returns
        -------
        ndarray of float32; a view, not a copy
        """
        return self.data[first:last]
