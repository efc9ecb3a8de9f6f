"""Captures ready to be fitted: placed, cut to bands of lines, and what rendering needs of them."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import correlate1d

from linesim.files.samples_in import read_samples
from linesim.forward.kept import CLIPPED_SHARE
from linesim.metrics.scene.affine import Affine
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies.measure.against.placed import Placed, placed
from linesim.studies.measure.against.predicted import Prediction

MOST_SAMPLES = 250_000
"""Samples of a capture that are fitted, in bands of lines over its whole length; our choice."""
_BANDS = 4
_LEAST_SIDE = 32
_FIVE = np.array([1.0, -8.0, 0.0, 8.0, -1.0]) / 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Window:
    """What is fitted of one capture."""

    name: str
    captured_dn: FloatArray  # shape (lines, columns)
    lines: FloatArray  # shape (lines,); their numbers in the capture
    bands: tuple[slice, ...]  # runs of neighbouring lines, in these arrays
    columns: slice
    first_column: int  # of the sensor that the capture starts with
    mirrored: str
    # shape (lines of the capture,); of each line [px]
    strays_px: FloatArray
    sways_px: FloatArray
    taken: float  # share of the samples' freedom that placing lines one by one took
    lies: Affine
    errors: FloatArray  # shape (6, 6); covariance of its steps

    def slopes(self, image: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the slopes of an image along and across, band by band."""
        along, across = np.empty_like(image), np.empty_like(image)
        for band in self.bands:
            along[band], across[band] = (_slope(image[band], axis) for axis in (0, 1))
        return along, across


def _slope(image: FloatArray, axis: int) -> FloatArray:
    """Give the slope by five samples, of fourth order; at the rim by fewer."""
    slope = np.gradient(image, axis=axis)
    inner = np.moveaxis(slope, axis, 0)[2:-2]
    inner[:] = np.moveaxis(correlate1d(image, _FIVE, axis=axis), axis, 0)[2:-2]
    return np.asarray(slope)


def read_capture(setup: Setup, image: Path | NDArray[np.uint16], name: str) -> FloatArray:
    """Read an image of one channel as its camera delivered it. [DN]."""
    samples = image
    if isinstance(image, Path):
        samples, _ = read_samples(image, bit_depth=setup.camera.bit_depth)
    seen = np.asarray(samples)
    if seen.ndim != 2 or min(seen.shape) < _LEAST_SIDE:  # noqa: PLR2004 -- lines and columns
        refuse(
            f"{name}: read {' x '.join(map(str, seen.shape))} samples (lines x columns); expected "
            f"one channel, and at least {_LEAST_SIDE} lines and columns"
        )
    clipped = float(np.mean((seen == 0) | (seen >= setup.full_scale_dn)))
    if clipped > CLIPPED_SHARE:
        refuse(
            f"{name}: {clipped:.2%} of the samples are at an end of the scale; expected at most "
            f"{CLIPPED_SHARE:.1%}: less light, or a black level above 0"
        )
    return seen.astype(np.float64)


def window_of(own: Prediction, captured_dn: FloatArray, name: str, said: str) -> Window:
    """Place a capture, and choose what of it is fitted."""
    lines, columns = captured_dn.shape
    if columns > own.width_px:
        refuse(
            f"{said}: read {columns} columns, but the setup delivers {own.width_px}; expected no "
            "more than that"
        )
    found = placed(own, captured_dn[:, :, None], said)
    bands, taken = _bands(*found.captured_dn.shape[:2])
    start = found.lines.start
    index = np.concatenate([np.arange(band.start, band.stop) for band in bands])
    first = found.first_column
    return Window(
        name=name,
        captured_dn=found.captured_dn[index, :, 0],
        lines=(start + index).astype(np.float64),
        bands=taken,
        columns=slice(first + found.columns.start, first + found.columns.stop),
        first_column=first,
        mirrored=found.mirrored,
        strays_px=_filled(found, lines)[0],
        sways_px=_filled(found, lines)[1],
        taken=_taken(found),
        lies=found.lies,
        errors=found.errors,
    )


def _bands(lines: int, columns: int) -> tuple[list[slice], tuple[slice, ...]]:
    """Choose runs of lines, and say where each comes to lie among those chosen."""
    most = max(MOST_SAMPLES // columns, _BANDS * 8)
    if lines <= most:
        return [slice(0, lines)], (slice(0, lines),)
    each = most // _BANDS
    starts = np.linspace(0, lines - each, _BANDS).astype(int).tolist()
    return (
        [slice(start, start + each) for start in starts],
        tuple(slice(k * each, (k + 1) * each) for k in range(_BANDS)),
    )


def _filled(found: Placed, lines: int) -> list[FloatArray]:
    return [
        np.zeros(lines)
        if each is None
        else np.pad(each.values[:lines], (0, max(0, lines - len(each.values))), mode="edge")
        for each in (found.along, found.across)
    ]


def _taken(found: Placed) -> float:
    """One figure a line, over its samples."""
    columns = found.captured_dn.shape[1]
    strayed = [each for each in (found.along, found.across) if each is not None]
    return len(strayed) / int(columns)
