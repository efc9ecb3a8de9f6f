"""Array types that travel: float64 for tables and curves, float32 for pixels."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.float32]
