"""What every stage of the second half is, from pixel electrons to delivered numbers."""

from typing import Any, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[Any]
"""(exposures, lines, columns) until the exposures are joined, (lines, columns) from then on."""


class Columns(NamedTuple):
    """
    Some columns of a line.

    Parameters
    ----------
    as_they_come, delivered : ndarray of int
        Numbers of the same columns before and after they are joined.
    """

    as_they_come: NDArray[np.intp]
    delivered: NDArray[np.intp]


class Stage:
    """
    One effect on a strip of lines; a frozen dataclass of the few numbers that it needs.

    A stage may write into the samples that it is given. What it draws comes from a random stream of
    its own, by strip, so that a stage put in or taken out changes no other's draw.
    """

    __slots__ = ()

    def __call__(self, samples: Samples, strip: int) -> Samples:
        """Take a strip through the stage."""
        raise NotImplementedError

    def at(self, columns: Columns) -> Self:  # noqa: ARG002 -- of the face
        """Give the same stage for some columns alone."""
        return self
