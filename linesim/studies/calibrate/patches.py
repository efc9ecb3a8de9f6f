"""Patches in a photograph: which of them count, what it shows of them, whether they make sense."""

from dataclasses import dataclass

import numpy as np

from linesim.files.photo_in import Photo
from linesim.files.pixels import Codes
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.studies.calibrate.asked import Patch
from linesim.studies.calibrate.colour import Seen, Tone
from linesim.studies.calibrate.shading import Field

_BLOCK_PX = 8
"""Side of a JPEG block (ISO/IEC 10918-1)."""
BLOCKY = 1.1
"""Ratio of `blockiness` over which blocks are to be seen; our choice."""
COARSE_STEP = 0.05
"""Share of the reflectance over which a step of the number counts as coarse; our choice."""
_MOST_CLIPPED = 0.01
"""Share of a patch's samples at an end of the scale over which it does not count; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """Samples at the ends of the scale."""

    share_lowest: float
    share_highest: float


def ends(codes: Codes, full_scale: int) -> Ends:
    """Count the samples at either end of the scale."""
    return Ends(
        share_lowest=float(np.mean(codes <= 0)), share_highest=float(np.mean(codes >= full_scale))
    )


def at_an_end(codes: Codes, full_scale: int) -> float:
    """Give the share of samples at either end."""
    found = ends(codes, full_scale)
    return found.share_lowest + found.share_highest


def blockiness(codes: Codes) -> float:
    """Compare steps over borders of blocks with those within, by medians; 1 where none are."""
    grey = codes.astype(np.float32)
    grey = grey if grey.ndim == 2 else grey.mean(axis=2)  # noqa: PLR2004 -- rows, columns
    borders, others = 0.0, 0.0
    for image in (grey, grey.T):
        steps = np.abs(np.diff(image, axis=1)).mean(axis=0)
        is_border = np.arange(1, len(steps) + 1) % _BLOCK_PX == 0
        if not is_border.any() or is_border.all():
            return 1.0
        borders += float(np.median(steps[is_border]))
        others += float(np.median(steps[~is_border]))
    return borders / others if others > 0 else 1.0


def coarse_below(levels: FloatArray) -> float:
    """Tell under which reflectance a step is coarse, by the rising reflectances of all codes."""
    steps = np.diff(levels)
    coarse = levels[:-1] * COARSE_STEP < steps
    return float(levels[:-1][coarse].max()) if coarse.any() else 0.0


def counting(
    patches: tuple[Patch, ...], photo: Photo
) -> tuple[tuple[Patch, ...], tuple[tuple[Region, float], ...]]:
    """Leave out patches that lie at an end of the scale."""
    pairs = [(each, at_an_end(each.region.cut(photo.codes), photo.full_scale)) for each in patches]
    used = tuple(each for each, share in pairs if share <= _MOST_CLIPPED)
    dropped = tuple((each.region, share) for each, share in pairs if share > _MOST_CLIPPED)
    if not used:
        refuse(
            "--patch: every patch has samples at an end of the scale, where the number says "
            "nothing; expected a photograph in which they are neither black nor blown out"
        )
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
    """Refuse patches that are all black, or by which the picture would be a negative."""
    if not seen.reflectance.any():
        refuse(
            "--patch: every reflectance is 0, which gives no scale; expected at least one patch "
            "that is lighter, such as a white or grey field"
        )
    for index, curve in enumerate(tone.curves):
        order = np.argsort(seen.reflectance[:, index])
        low, high = int(order[0]), int(order[-1])
        falls = curve.gain <= 0 or (
            seen.reflectance[high, index] > seen.reflectance[low, index]
            and seen.values[high, index] <= seen.values[low, index]
        )
        if falls:
            refuse(
                f"--patch: {patches[high].region} should be lighter than {patches[low].region} "
                f"({seen.reflectance[high, index]:g} against {seen.reflectance[low, index]:g}), "
                f"but is not in the photograph (decoded {seen.values[high, index]:.3g} against "
                f"{seen.values[low, index]:.3g}); expected reflectances with the right patches"
            )
