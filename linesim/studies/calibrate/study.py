"""
A photograph or an office scan made a target: tone, fall-off of the light, size, in this order.

``calibrate`` reads the photograph and the blank, fits, converts and lays flat; words, page and
files are made by others from what it gives.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from linesim.files.photo_in import Photo, read_photo
from linesim.files.srgb import linear_from_codes
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.studies.calibrate.asked import Asked, Patch, refuse_outside
from linesim.studies.calibrate.colour import Seen, Tone, fit_tone, left_out
from linesim.studies.calibrate.patches import (
    Ends,
    at_an_end,
    blockiness,
    coarse_below,
    counting,
    ends,
    refuse_falling,
    seen_of,
    unevenness,
)
from linesim.studies.calibrate.scale import Scale, find_scale, laid_flat
from linesim.studies.calibrate.shading import Field, of_blank, of_itself

GREY_WEIGHTS = (0.2126, 0.7152, 0.0722)
"""Of linear red, green and blue in luminance: IEC 61966-2-1, with the primaries of ITU-R BT.709."""
_COLOURS = 3
_MOST_CLIPPED = 0.01
"""Share of a blank's samples at an end of the scale over which it is refused; our choice."""
_CLEARLY = 0.05
_BAND_SAMPLES = 2_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibrated:
    """A target, and how it came about."""

    asked: Asked
    photo: Photo
    data: ImageArray  # shape (rows, columns); reflectances from 0 up
    tone: Tone
    used: tuple[Patch, ...]  # those that the tone was fitted to
    seen: Seen  # what the photograph shows of them
    # shape (patches, channels); what the curve of all the others makes of each patch, less what it
    # is
    predicted: FloatArray | None
    field: Field | None
    scale: Scale
    # of the samples, darker or lighter than all patches
    share_below: float
    share_above: float
    # of the samples, cut at no reflectance and at the ceiling
    share_negative: float
    share_over: float
    coarse_reflectance: float  # under which a step of the number is a coarse step of reflectance
    share_coarse: float
    ends: Ends  # samples at the ends of the scale
    blocks: float  # steps over the borders of JPEG blocks over those elsewhere
    # patches that did not count, with their share of samples at an end
    dropped: tuple[tuple[Region, float], ...]
    uneven: tuple[float, ...]  # of each patch, range of its quarters' means over their mean

    @property
    def residual(self) -> FloatArray:
        """What the curve makes of each patch, less what it is; shape (patches, channels)."""
        return self.tone.residual(self.seen)


def calibrate(asked: Asked) -> Calibrated:
    """
    Make a photograph a target.

    Raises
    ------
    InputError
        An image cannot be read, the blank has another size, a patch or a corner lies outside,
        patches do not fit the image or one another, or nothing tells the size.
    """
    photo = _photo(asked.image, "image", asked)
    _refuse_places(asked, photo)
    field = _field(asked, photo)
    scale = find_scale(asked, photo.dpi)
    used, dropped = counting(asked.patches, photo)
    seen = seen_of(used, photo, field)
    tone = fit_tone(seen)
    refuse_falling(used, seen, tone)
    converted = _converted(photo.linear, tone, field)
    area = _area(asked, photo.linear.shape)
    coarse = max(
        coarse_below(_levels(tone, photo.full_scale, asked)[:, index])
        for index in range(len(tone.curves))
    )
    data = laid_flat(converted, asked.corners, scale) if asked.corners else converted[area]
    below, above = _outside(data, seen)
    negative, over = float(np.mean(data < 0)), float(np.mean(data > ceiling_of(used)))
    np.clip(data, 0, ceiling_of(used), out=data)
    return Calibrated(
        asked=asked,
        photo=photo,
        data=np.ascontiguousarray(data[..., 0] if data.shape[2] == 1 else data),
        tone=tone,
        used=used,
        seen=seen,
        predicted=left_out(seen, tone),
        field=field,
        scale=scale,
        share_below=below,
        share_above=above,
        share_negative=negative,
        share_over=over,
        coarse_reflectance=coarse,
        share_coarse=float(np.mean(data < coarse)),
        ends=ends(photo.codes[area], photo.full_scale),
        blocks=blockiness(photo.codes),
        dropped=dropped,
        uneven=tuple(unevenness(each.region.cut(photo.linear)) for each in used),
    )


def _photo(path: Path, key: str, asked: Asked) -> Photo:
    """Read a photograph, and make it grey where that is asked for."""
    photo = read_photo(path, key, asked.encoding)
    if not asked.grey or photo.linear.shape[2] != _COLOURS:
        return photo
    grey = photo.linear @ np.array(GREY_WEIGHTS, dtype=np.float32)
    return replace(photo, linear=grey[..., np.newaxis])


def _refuse_places(asked: Asked, photo: Photo) -> None:
    shape, channels = photo.linear.shape, photo.linear.shape[2]
    for patch in asked.patches:
        patch.region.cut(photo.codes, "--patch")
        if len(patch.reflectance) > channels:
            refuse(
                f"--patch: read three reflectances for {patch.region}, but the photograph is "
                "grey; expected one number a patch"
            )
    if asked.crop:
        asked.crop.cut(photo.codes, "--crop")
    if asked.corners:
        refuse_outside(shape, asked.corners.points, "--corners")
    if asked.ruler:
        refuse_outside(shape, asked.ruler.ends, "--length")


def _area(asked: Asked, shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Give the part of the photograph that the target comes from, the box around corners."""
    if asked.corners:
        points = np.array(asked.corners.points)
        (left, top), (right, bottom) = np.floor(points.min(axis=0)), np.ceil(points.max(axis=0))
        return slice(int(top), int(bottom)), slice(int(left), int(right))
    if asked.crop:
        each = asked.crop
        return slice(each.y, each.y + each.height), slice(each.x, each.x + each.width)
    return slice(0, shape[0]), slice(0, shape[1])


def _field(asked: Asked, photo: Photo) -> Field | None:
    if asked.flatten:
        return of_itself(photo.linear, [patch.region for patch in asked.patches])
    if asked.blank is None:
        return None
    blank = _photo(asked.blank, "--blank", asked)
    if blank.linear.shape != photo.linear.shape:
        read, wanted = (
            f"{shape[0]} x {shape[1]} pixels (rows x columns) in "
            f"{'one channel' if shape[2] == 1 else 'three channels'}"
            for shape in (blank.linear.shape, photo.linear.shape)
        )
        refuse(f'--blank "{asked.blank}": read {read}; expected {wanted}, as the photograph has')
    clipped = at_an_end(blank.codes, blank.full_scale)
    if clipped > _MOST_CLIPPED:
        refuse(
            f'--blank "{asked.blank}": {clipped:.1%} of its samples lie at an end of the scale, '
            "where the light is not known; expected a white sheet photographed darker"
        )
    return of_blank(blank.linear)


def ceiling_of(patches: tuple[Patch, ...]) -> float:
    """Give the largest reflectance of a target: 1, or that of a patch that is lighter."""
    return max(1.0, *(max(each.reflectance) for each in patches))


def _converted(linear: ImageArray, tone: Tone, field: Field | None) -> ImageArray:
    """Convert by bands of rows."""
    out = np.empty_like(linear)
    for first, last in _bands(linear.shape):
        blank = None if field is None else field.at(first, last, linear.shape[1])
        out[first:last] = tone.reflectance(linear[first:last].astype(np.float64), blank)
    return out


def _bands(shape: tuple[int, ...]) -> Iterator[tuple[int, int]]:
    rows = max(1, _BAND_SAMPLES // (shape[1] * shape[2]))
    for first in range(0, shape[0], rows):
        yield first, min(first + rows, shape[0])


def _outside(data: ImageArray, seen: Seen) -> tuple[float, float]:
    """Give the shares of samples clearly darker and lighter than all patches."""
    low, high = seen.reflectance.min(axis=0), seen.reflectance.max(axis=0)
    return (
        float(np.mean(data < (1 - _CLEARLY) * low)),
        float(np.mean(data > (1 + _CLEARLY) * high)),
    )


def _levels(tone: Tone, full_scale: int, asked: Asked) -> FloatArray:
    """Give the reflectance of each code of the scale, in each channel, in whole light."""
    if full_scale == 1:  # floats, which have no steps
        return np.zeros((1, len(tone.curves)))
    codes = np.arange(full_scale + 1, dtype=np.uint16)[np.newaxis]
    values = linear_from_codes(codes, full_scale, asked.encoding)[0].astype(np.float64)
    curves = [curve.reflectance(values) for curve in tone.curves]
    return np.stack(curves, axis=-1)
