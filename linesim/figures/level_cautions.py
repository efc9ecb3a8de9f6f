"""Cautions about levels: white and product at their limits, and a texture that nobody counts."""

import numpy as np

from linesim.figures.case import Case, Found, values
from linesim.figures.clipping import PLACES, clipping_limit
from linesim.figures.plain_numbers import apart, digits, percent
from linesim.figures.product import own_texture
from linesim.forward.kept import limit_share
from linesim.forward.station import Station
from linesim.metrics.detection.texture import MeasuredTexture, seen_mtf
from linesim.setup.arrays import FloatArray

_CODES = {"pixel": "well_clips", "binned": "node_clips", "scale": "word_clips"}


def clip_cautions(case: Case) -> Found:
    """Tell whether a white card saturates, and whether the product does."""
    share = case.figure("signal", "saturation_white")
    name = str(case.groups["signal"]["saturation_limit"])
    if share > 1:
        clips = case.figure("limits", "clipping_share") > 1
        what = (
            "Less light, a smaller aperture or a shorter exposure brings it back."
            if clips
            else "The target's brightest part stays under it, so the picture does not clip; "
            "figures on white are those of a sensor without limits."
        )
        text = (
            f"A white card saturates: it asks for {digits(share)} times what {PLACES[name]} "
            f"holds. {what}"
        )
        yield _CODES[name], text
    else:
        yield from _white_noise(case)
    yield from _product(case)


def _with_noise(case: Case, figure: str) -> tuple[float, FloatArray]:
    """Give the share of its nearest limit that a level takes with its noise, and the level."""
    level_e = np.array(values(case.groups["signal"][figure]))
    return float(np.max(limit_share(case.numbers, _signal_e(level_e)))), level_e


def _signal_e(level_e: FloatArray) -> FloatArray | float:
    return level_e if level_e.size > 1 else float(level_e[0])


def _place(case: Case, level_e: FloatArray) -> str:
    """Name the limit that a level comes nearest to."""
    return clipping_limit(case.numbers, _signal_e(level_e))


def _white_noise(case: Case) -> Found:
    """Tell whether the noise of a white that stays under its limit is cut off there."""
    share, level_e = _with_noise(case, "electrons_white")
    if share > 1:
        name = _place(case, level_e)
        text = (
            f"White with its noise takes {percent(share)} of {PLACES[name]}: what lies above "
            "is cut off, so an image of white shows less noise and a higher SNR than its "
            "figures, which are those of a sensor without limits."
        )
        yield _CODES[name], text


def _product(case: Case) -> Found:
    share, level_e = _with_noise(case, "electrons_product")
    if share > 1:
        text = (
            f"Good product itself clips: with its noise it takes {percent(share)} of "
            f"{PLACES[_place(case, level_e)]}. What lies above is cut off, noise and all, so "
            "figures of small dark defects are too good, and light ones are lost."
        )
        yield "clips_product", text


def texture_cautions(case: Case) -> Found:
    """Tell where the target's own texture is more than the noise, and is not counted."""
    need = case.setup.requirement
    if need.texture is not None or case.setup.smallest_defect_um is None:
        return
    found = own_texture(case.size)
    snr = case.figure("signal", "snr_product")
    if found is None or snr <= 0:
        return
    rms = seen_rms(case.numbers, found)
    if rms * snr > 1:
        texture, noise = apart(rms, 1 / snr, percent)
        text = (
            f"The target's own texture, as the samples see it, is {texture} of the "
            f"product's level, more than the {noise} of the noise, and is not "
            "counted: on such product the defect is found less surely than told. texture = "
            '"target" under [requirement] counts it.'
        )
        yield "texture_over_noise", text


def seen_rms(numbers: Station, found: MeasuredTexture) -> float:
    """
    Give the texture that is left behind lens, pixel and motion.

    Notes
    -----
    √ΣP|H|²/n² over the frequencies of a tile of n pixels a side, those of negative sign counted.
    """
    power = found.table.power
    half = power.shape[0] - 1
    step_lp_mm = 1000 / (2 * half * float(found.pixel_um))
    places = step_lp_mm * np.arange(half + 1)
    mirrored: FloatArray = np.concatenate([[1.0], np.full(half - 1, 2.0), [1.0]])
    # of the colours, green stands for the sharpness of all
    seen = np.square(seen_mtf(numbers.green, places, places[:, None]))
    seen = seen * power * np.outer(mirrored, mirrored)
    return float(np.sqrt(seen.sum()) / (2 * half))
