"""What a slanted edge must be like to be measured; each refusal says why and what would do."""

import numpy as np
from numpy.typing import NDArray

from linesim.forward.kept import CLIPPED_SHARE
from linesim.metrics.edge.curve import mtf_noise
from linesim.metrics.edge.line import MIN_HALF_WIDTH_PX, MIN_ROWS, EdgeLine
from linesim.metrics.edge.spread import EdgeSpread
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse

MAX_ANGLE_DEG = 40.0
MIN_BINS_PER_PIXEL = 2
MIN_STEP_TO_NOISE = 2.0
# Largest standard deviation of the response at 0.25 cycles/px that is still a measurement.
MAX_MTF_NOISE = 0.1
# Share of the step that may change in the outer half of the region.
MAX_STRANGE = 0.25


def check_options(
    direction: str | None,
    pixel_pitch: tuple[float, float],
    bins_per_pixel: int,
    half_width_px: float | None,
) -> None:
    """Refuse options out of range."""
    faults = []
    if direction not in {None, "across", "along"}:
        faults.append(f"direction: {direction!r} read; expected 'across' or 'along'")
    if not all(np.isfinite(p) and p > 0 for p in pixel_pitch):
        faults.append(f"pixel_pitch: {pixel_pitch} read; expected two lengths above 0")
    if bins_per_pixel < MIN_BINS_PER_PIXEL:
        faults.append(f"bins_per_pixel: {bins_per_pixel} read; expected 2 or more")
    if half_width_px is not None and not half_width_px >= MIN_HALF_WIDTH_PX:
        faults.append(
            f"half_width_px: {half_width_px:g} read; expected {MIN_HALF_WIDTH_PX:g} px or more"
        )
    if faults:
        raise InputError(*faults)


def checked_values(image: NDArray[np.generic], limits: tuple[float, float] | None) -> FloatArray:
    """Give the image as float64 once it is one channel, large enough, finite and not clipped."""
    if image.ndim != 2:  # noqa: PLR2004 -- lines and width
        refuse(f"edge: an image of shape {image.shape} read; expected one channel, (lines, width)")
    if min(image.shape) < MIN_ROWS:
        refuse(
            f"edge: an image of {image.shape[1]} x {image.shape[0]} px read; expected at least "
            f"{MIN_ROWS} px each way"
        )
    values = image.astype(np.float64)
    if not np.isfinite(values).all():
        refuse("edge: the image holds values that are no finite numbers; expected finite ones")
    if limits is None and image.dtype.kind in "iu":
        kind = np.iinfo(image.dtype.name)
        limits = (kind.min, kind.max)
    if limits is not None:
        _check_clipping(values, limits)
    return values


def _check_clipping(values: FloatArray, limits: tuple[float, float]) -> None:
    """Refuse an image with samples at the ends of its scale."""
    for name, share in (
        (f"lower limit {limits[0]:g}", float(np.mean(values <= limits[0]))),
        (f"upper limit {limits[1]:g}", float(np.mean(values >= limits[1]))),
    ):
        if share > CLIPPED_SHARE:
            refuse(
                f"edge: clipped, {share:.2%} of the samples lie at the {name}; expected at most "
                f"{CLIPPED_SHARE:.1%} (change the exposure or the black level, or state wider "
                "limits if nothing is cut off)"
            )


def check_angle(line: EdgeLine, angle_deg: float) -> None:
    """Refuse an edge along an axis or near the diagonal."""
    if abs(angle_deg) > MAX_ANGLE_DEG:
        refuse(
            f"edge: {abs(angle_deg):.1f}° from the axis, too near to 45°; expected up to "
            f"{MAX_ANGLE_DEG:g}°, best 2° to 10°"
        )
    shift = abs(line.slope) * (line.rows - 1)
    if shift < 1.0:
        refuse(
            f"edge: {abs(angle_deg):.2f}° from the axis, it shifts by {shift:.2f} px over its "
            f"{line.rows} px; expected 1 px or more (a longer edge, or an angle of 2° to 10°)"
        )


def check_step(spread: EdgeSpread) -> None:
    """Refuse a second edge beside the first, and a step lost in noise."""
    dark, bright = spread.levels
    outer = np.abs(spread.position_px) > 0.5 * spread.half_width_px
    level = np.where(spread.position_px < 0, dark, bright)
    strange = float(np.abs(spread.value - level)[outer].max())
    span = float(np.ptp(spread.value))
    if strange > MAX_STRANGE * span + 5.0 * spread.bin_noise:
        refuse(
            f"edge: {strange / span:.0%} of all change lies far from the edge; expected one edge "
            "between two even areas, with more room on both sides of it"
        )
    if not spread.step > MIN_STEP_TO_NOISE * spread.noise:
        refuse(
            f"edge: no edge found, or too noisy: a step of {spread.step:.3g} with a noise of "
            f"{spread.noise:.3g}; expected a step above {MIN_STEP_TO_NOISE:g} times the noise"
        )


def check_noise(spread: EdgeSpread, half_width_px: float) -> None:
    """Refuse an edge whose response would be mostly noise."""
    noise = mtf_noise(spread, half_width_px)
    if noise > MAX_MTF_NOISE:
        refuse(
            f"edge: too noisy, the response would be uncertain by {noise:.2f} at 0.25 cycles/px; "
            f"expected at most {MAX_MTF_NOISE:g} (a longer edge, more light, or a smaller "
            "half_width_px)"
        )
