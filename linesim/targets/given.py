"""A target given from Python in place of a setup's image: taken, or refused in a sentence."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.channels import COLOURS
from linesim.setup.errors import InputError, refuse

MOST_REFLECTANCE = 10.0
"""A perfect matt white is 1; more than ten times that is a code, not a reflectance. Our choice."""
_EXPECTED = (
    "expected finite linear reflectances as floating-point numbers, 0 for black and 1 for a "
    f"perfect white (at most {MOST_REFLECTANCE:g}), of shape (rows, columns) or (rows, columns, 3)"
)
_KINDS = {
    "u": "whole numbers, which are codes",
    "i": "whole numbers, which are codes",
    "b": "truth values",
    "c": "complex numbers",
    "M": "dates",
    "m": "times",
}


def reference_of(given: Reference | ArrayLike, pixel_size_um: float) -> Reference:
    """
    Take a target that is at hand, or linear reflectances of it.

    Parameters
    ----------
    given : Reference or array_like; of shape (rows, columns) or (rows, columns, 3)

    Raises
    ------
    InputError
        Where it holds anything but finite reflectances from 0 to 10 as floating-point numbers,
        masked
        values, or has another shape.
    """
    if not isinstance(given, Reference):
        return ArrayReference(data=_reflectances(given), pixel_size_um=pixel_size_um)
    if not (np.isfinite(given.pixel_size_um) and given.pixel_size_um > 0):
        refuse(f"reference: read a pixel of {given.pixel_size_um} um; expected a size above 0 um")
    _refuse_shape(given.shape)
    if isinstance(given, ArrayReference):
        _refuse_values(given.data)
    return given


def _reflectances(given: ArrayLike) -> NDArray[np.float32]:
    if isinstance(given, np.ma.MaskedArray) and np.ma.is_masked(given):
        refuse(f"reference: read an array with masked values; {_EXPECTED}, none of them masked")
    try:
        data = np.asarray(given)
    except (TypeError, ValueError, RuntimeError) as fault:  # ragged lists, tensors of a device
        msg = f"reference: read what is no array ({fault}); {_EXPECTED}"
        raise InputError(msg) from fault
    if data.dtype.kind != "f":
        kind = _KINDS.get(data.dtype.kind, "no numbers")
        hint = "; codes become reflectances by an image file, or array / 255.0 where linear"
        refuse(
            f"reference: read an array of {data.dtype}, {kind}; {_EXPECTED}"
            f"{hint if data.dtype.kind in 'ui' else ''}"
        )
    _refuse_shape(data.shape)
    _refuse_values(data)
    return data.astype(np.float32, copy=False)


def _refuse_shape(shape: tuple[int, ...]) -> None:
    if len(shape) not in (2, 3) or 0 in shape or shape[2:] not in ((), (len(COLOURS),)):
        refuse(f"reference: read an array of shape {shape}; {_EXPECTED}")


def _refuse_values(data: NDArray[np.floating]) -> None:
    low, high = float(data.min()), float(data.max())
    if not (low >= 0 and high <= MOST_REFLECTANCE):  # NaN fails as well
        refuse(f"reference: read values from {low:g} to {high:g}; {_EXPECTED}")
