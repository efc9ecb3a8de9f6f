"""MTF50 of a capture, by the blur that the prediction lacks."""

import numpy as np

from linesim.figures.resolution import mtf_across, mtf_along
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import Station
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.compared import Transfer
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.against.agreement import Difference

_FARTHEST_CYC_PX = 1.0
_GRID = 2001


def sharpness(numbers: Station, found: Transfer, reference_um: float) -> tuple[Difference, ...]:
    """
    Give MTF50 of the prediction, and of the prediction times the blur that was found.

    A reference is a mean over each pixel, drawn as a square: of its detail the prediction holds
    sinc² of the pixel's side, where the target itself may hold all; and its lens is good to
    `OFF_AXIS_ERROR`. So much is no difference.
    """
    sides_um = (
        float(numbers.geometry.object_pixel_x_um),
        float(numbers.timing.line_advance_um),
    )
    each = zip(
        ("x", "y"), sides_um, (mtf_across, mtf_along), (found.blur_x, found.blur_y), strict=True
    )
    differences = []
    cycles = np.linspace(0, _FARTHEST_CYC_PX, _GRID)
    for axis, side_um, mtf, blur in each:
        own = mtf(numbers, 1000 * cycles / side_um)
        predicted, measured, low, high = (
            _half(cycles, own * np.exp(-exponent * cycles**2)) * 1000 / side_um
            for exponent in (0.0, blur.value, blur.value - blur.sd, blur.value + blur.sd)
        )
        drawn = own * np.sinc(cycles * reference_um / side_um) ** 2
        differences.append(
            Difference(
                name=f"mtf50_{axis}_lp_mm",
                predicted=predicted,
                measured=Estimate(value=measured, sd=abs(high - low) / 2),
                least=predicted - _half(cycles, drawn - OFF_AXIS_ERROR) * 1000 / side_um,
            )
        )
    return tuple(differences)


def _half(cycles: FloatArray, mtf: FloatArray) -> float:
    """First frequency at which a curve falls to one half. [cycles/px]."""
    below = int(np.argmax(mtf < 0.5)) or len(mtf) - 1  # noqa: PLR2004 -- MTF50
    return float(np.interp(-0.5, -mtf[below - 1 : below + 1], cycles[below - 1 : below + 1]))
