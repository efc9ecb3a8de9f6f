"""What to mind about a calibration: each a code and a sentence."""

from collections.abc import Iterator

import numpy as np

from linesim.figures.cautions import Caution
from linesim.figures.plain_numbers import digits, percent
from linesim.studies.calibrate.patches import BLOCKY, COARSE_STEP
from linesim.studies.calibrate.study import Calibrated, ceiling_of

_FEW, _SOME = 0.001, 0.01
"""Shares of samples from which something is told; our choice."""
_UNEVEN = 0.05
_MUCH = 0.02
"""Residual, in reflectance, over which the curve does not fit; our choice."""
_STRONG_FALL = 4.0


def cautions(found: Calibrated) -> tuple[Caution, ...]:
    """List what to mind about a calibration."""
    own = (*_of_patches(found), *_of_tone(found), *_beyond(found), *_cut(found))
    pairs = (*own, *found.scale.cautions, *_of_light(found), *_of_ends(found), *_of_detail(found))
    read = tuple(Caution("file", text) for text in found.photo.cautions)
    return read + tuple(Caution(code, text) for code, text in pairs)


def _of_patches(found: Calibrated) -> Iterator[tuple[str, str]]:
    for region, share in found.dropped:
        text = (
            f"The patch {region} has {percent(share)} of its samples at an end of the scale; it "
            "was left out."
        )
        yield "patch_clipped", text
    for patch, uneven in zip(found.used, found.uneven, strict=True):
        if uneven > _UNEVEN:
            text = (
                f"The patch {patch.region} differs by {percent(uneven)} from one quarter to "
                "another; its mean was used. A patch well inside its field is even."
            )
            yield "patch_uneven", text


def _of_tone(found: Calibrated) -> Iterator[tuple[str, str]]:
    off = float(np.sqrt(np.mean(found.residual**2)))
    if found.predicted is not None and off > _MUCH:
        text = (
            f"The curve leaves {off:.3f} rms of reflectance at the patches; one of them may be "
            "mixed up, lie in a shadow or mirror a lamp."
        )
        yield "tone_fits_badly", text
    if any(curve.at_its_end for curve in found.tone.curves):
        text = (
            "The curve is bent as far as it may be (gamma 1/3 to 3, shoulder -0.8 to 19, glare "
            "-0.3 to 0.9); reflectances between the patches are uncertain. Patches of other "
            "levels, or a photograph without automatic tone, help."
        )
        yield "tone_at_its_end", text


def _beyond(found: Calibrated) -> Iterator[tuple[str, str]]:
    levels = found.seen.reflectance
    ends = (
        (found.share_below, "darker than the darkest", levels.min(), "down", found.data.min()),
        (found.share_above, "lighter than the lightest", levels.max(), "up", found.data.max()),
    )
    for share, side, level, direction, end in ends:
        if share > _SOME:
            text = (
                f"{percent(share)} of the samples are {side} patch ({level:g}), {direction} to "
                f"{digits(float(end))}: there the curve is carried on, not checked."
            )
            yield "beyond_patches", text


def _cut(found: Calibrated) -> Iterator[tuple[str, str]]:
    if found.share_negative > _FEW:
        text = (
            f"{percent(found.share_negative)} of the samples came out below no reflectance and "
            "were set to 0: noise about black, uneven glare, or a dark patch lighter than told."
        )
        yield "below_black", text
    if found.share_over > _FEW:
        text = (
            f"{percent(found.share_over)} of the samples came out over a reflectance of "
            f"{ceiling_of(found.used):g} and were cut there. Highlights show the photograph's "
            "lamp in the face, and belong into target.gloss; a patch over 1 raises the limit."
        )
        yield "above_ceiling", text


def _of_light(found: Calibrated) -> Iterator[tuple[str, str]]:
    if found.field is None:
        return
    low, high = found.field.span
    if high / max(low, 1e-9) > _STRONG_FALL:
        text = (
            f"The light falls to {percent(low / high)} of its best over the photograph; noise in "
            "the dim part has been raised with it."
        )
        yield "light_very_uneven", text


def _of_ends(found: Calibrated) -> Iterator[tuple[str, str]]:
    ends = ((found.ends.share_lowest, "lowest"), (found.ends.share_highest, "highest"))
    for share, side in ends:
        if share > _FEW:
            text = (
                f"{percent(share)} of the samples are at the {side} number there is; what they "
                "were beyond it is not known."
            )
            yield "clipped", text


def _of_detail(found: Calibrated) -> Iterator[tuple[str, str]]:
    if found.share_coarse > _SOME:
        text = (
            f"Below a reflectance of {digits(found.coarse_reflectance)} one step of the number is "
            f"over {percent(COARSE_STEP)} of it; {percent(found.share_coarse)} of the samples lie "
            "there, and weak defects in them are lost."
        )
        yield "coarse_steps", text
    if found.blocks > BLOCKY:
        text = (
            f"Steps over the borders of blocks of 8 x 8 pixels are {digits(found.blocks)} times "
            "those elsewhere: JPEG has taken weak detail away, and left borders that the target "
            "now has."
        )
        yield "jpeg_blocks", text
    elif found.photo.is_jpeg:
        text = "A JPEG has lost its weakest detail; a defect of little contrast may be among it."
        yield "jpeg", text
