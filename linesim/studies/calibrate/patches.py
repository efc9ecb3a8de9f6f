"""Patches in a photograph: which of them count, what it shows of them, whether they make sense."""

import numpy as np

from linesim.files.photo_in import Photo
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import InputError
from linesim.studies.calibrate.asked import Patch
from linesim.studies.calibrate.colour import Seen, Tone
from linesim.studies.calibrate.samples import at_an_end
from linesim.studies.calibrate.shading import Field

_MOST_CLIPPED = 0.01
"""Share of a patch's samples at an end of the scale over which it does not count; our choice."""


def counting(
    patches: tuple[Patch, ...], photo: Photo
) -> tuple[tuple[Patch, ...], tuple[tuple[Region, float], ...]]:
    """Leave out patches that lie at an end of the scale."""
    clipped = [at_an_end(each.region.cut(photo.codes), photo.full_scale) for each in patches]
    used = tuple(
        each for each, share in zip(patches, clipped, strict=True) if share <= _MOST_CLIPPED
    )
    dropped = tuple(
        (each.region, share)
        for each, share in zip(patches, clipped, strict=True)
        if share > _MOST_CLIPPED
    )
    if not used:
        msg = (
            "--patch: every patch has samples at an end of the scale, where the number says "
            "nothing; expected a photograph in which they are neither black nor blown out"
        )
        raise InputError(msg)
    return used, dropped


def seen_of(patches: tuple[Patch, ...], photo: Photo, field: Field | None) -> Seen:
    """Average each patch in linear light, and the blank at its place."""
    channels, width_px = photo.linear.shape[2], photo.linear.shape[1]
    values = [each.region.cut(photo.linear).mean(axis=(0, 1), dtype=np.float64) for each in patches]
    blank = None
    if field is not None:
        blank = np.array([_mean_of(field, each.region, width_px) for each in patches])
    return Seen(
        values=np.array(values),
        reflectance=np.array([each.in_channels(channels) for each in patches], dtype=np.float64),
        blank=blank,
        blank_level=np.ones(channels) if field is None else field.level,
        coloured=np.array([len(each.reflectance) > 1 for each in patches]),
    )


def _mean_of(field: Field, region: Region, width_px: int) -> FloatArray:
    rows = field.at(region.y, region.y + region.height, width_px)
    return np.asarray(rows[:, region.x : region.x + region.width].mean(axis=(0, 1)))


def unevenness(image: ImageArray) -> float:
    """Compare the means of the four quarters of a patch: their range over their mean."""
    high, wide = (max(1, side // 2) for side in image.shape[:2])
    parts = [
        image[rows, columns].mean()
        for rows in (slice(high), slice(-high, None))
        for columns in (slice(wide), slice(-wide, None))
    ]
    return float((max(parts) - min(parts)) / max(float(np.mean(parts)), 1e-6))


def refuse_falling(patches: tuple[Patch, ...], seen: Seen, tone: Tone) -> None:
    """Refuse patches by which the picture would be a negative."""
    for index, curve in enumerate(tone.curves):
        order = np.argsort(seen.reflectance[:, index])
        low, high = int(order[0]), int(order[-1])
        falls = curve.gain <= 0 or (
            seen.reflectance[high, index] > seen.reflectance[low, index]
            and seen.values[high, index] <= seen.values[low, index]
        )
        if falls:
            msg = (
                f"--patch: {patches[high].region} should be lighter than {patches[low].region} "
                f"({seen.reflectance[high, index]:g} against {seen.reflectance[low, index]:g}), "
                f"but is not in the photograph (decoded {seen.values[high, index]:.3g} against "
                f"{seen.values[low, index]:.3g}); expected reflectances with the right patches"
            )
            raise InputError(msg)
