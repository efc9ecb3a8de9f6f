"""Array types that travel: float64 for tables and curves, float32 for pixels."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.float32]


def is_any(value: float | FloatArray) -> bool:
    """Tell whether any number is not 0; of one alone numpy would take five times as long."""
    return bool(value.any() if isinstance(value, np.ndarray) else value)
