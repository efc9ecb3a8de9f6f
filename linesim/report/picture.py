"""Pictures of scans for the eye: samples as delivered, with a scale bar each way."""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from linesim.files.srgb import linear_to_srgb
from linesim.report.console import typeset
from linesim.setup.arrays import FloatArray

_LEFT_PX = 104
_BELOW_PX = 54
_CAPTION_LINE_PX = 24
_NARROWEST_CAPTION_PX = 400
INK = (30, 30, 34)
PAPER = (255, 255, 255)
_ROUND = (1.0, 2.0, 5.0)
_LONGEST_SIDE_PX = 1600
_SMALLEST_SIDE_PX = 320
_TOP_PERCENTILE = 99.9

_SIZE_PX = 16

Font = ImageFont.FreeTypeFont


@cache
def _letters() -> bytes:
    return files("linesim.report").joinpath("font", "DejaVuSans-part.ttf").read_bytes()


@cache
def caption_font(size_px: float) -> Font:
    """Give the letters of captions, which are those of the plots and have µ, ×, ² and –."""
    return ImageFont.truetype(BytesIO(_letters()), size_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """What one sample of an image covers on the target."""

    # distance from sample to sample [µm]
    across_um: float
    along_um: float


def round_length_mm(longest_mm: float) -> float:
    """Give the largest of 1, 2, 5 times a power of ten that is not longer than a length."""
    power = 10.0 ** np.floor(np.log10(longest_mm))
    return float(max(step * power for step in _ROUND if step * power <= longest_mm * (1 + 1e-9)))


def tones(
    image_dn: NDArray[np.uint16] | FloatArray, black_dn: float, white_dn: float
) -> NDArray[np.uint8]:
    """
    Bring samples to the screen: black and white as given [DN], linear light encoded as sRGB.

    Parameters
    ----------
    image_dn : ndarray; samples [DN]
    """
    share = np.clip((image_dn - black_dn) / max(white_dn - black_dn, 1e-9), 0, 1)
    return np.asarray(np.rint(255 * linear_to_srgb(share)), dtype=np.uint8)


def white_for(image_dn: NDArray[np.uint16], black_dn: float) -> float:
    """
    Choose what to show as white: the brightest but a thousandth of the samples.

    Parameters
    ----------
    image_dn : ndarray; samples [DN]
    """
    return float(max(np.percentile(image_dn, _TOP_PERCENTILE), black_dn + 1))


def _fitted(shown: NDArray[np.uint8], grid: Grid, *, true_proportion: bool) -> Image.Image:
    """Fit the samples to a page; whole factors up, area means down."""
    lines, width = shown.shape[:2]
    tall = lines * (grid.along_um / grid.across_um if true_proportion else 1.0)
    scale = _LONGEST_SIDE_PX / max(width, tall)
    scale = 1.0 if scale >= 1 else scale
    if max(width, tall) < _SMALLEST_SIDE_PX:
        scale = float(_SMALLEST_SIDE_PX // max(width, int(np.ceil(tall))) + 1)
    size = (max(1, round(width * scale)), max(1, round(tall * scale)))
    resample = Image.Resampling.BOX if scale < 1 else Image.Resampling.NEAREST
    return Image.fromarray(shown).convert("RGB").resize(size, resample)


def draw_bar(draw: ImageDraw.ImageDraw, start: tuple[int, int], step: tuple[int, int]) -> None:
    """Draw a scale bar: a line with a stop at each end."""
    (x, y), (dx, dy) = start, step
    draw.line((x, y, x + dx, y + dy), fill=INK, width=3)
    stop = (6 if dy else 0, 6 if dx else 0)
    for px, py in ((x, y), (x + dx, y + dy)):
        draw.line((px - stop[0], py - stop[1], px + stop[0], py + stop[1]), fill=INK, width=3)


def picture(
    shown: NDArray[np.uint8], grid: Grid, caption: str, *, true_proportion: bool = False
) -> NDArray[np.uint8]:
    """
    Frame an image with scale bars and a caption, which is broken into lines at spaces.

    Parameters
    ----------
    shown : ndarray of uint8, shape (lines, width) or (lines, width, 3); ready for the screen
    true_proportion : bool; undo the stretch of unequal sampling; otherwise each sample is a square
    """
    body = _fitted(shown, grid, true_proportion=true_proportion)
    font = caption_font(_SIZE_PX)
    left, top = _LEFT_PX, 8
    under = broken_lines(typeset(caption), font, max(body.width, _NARROWEST_CAPTION_PX))
    width_px = left + max(body.width, *(int(font.getlength(line)) for line in under)) + 16
    height_px = top + body.height + _BELOW_PX + _CAPTION_LINE_PX * len(under)
    page = Image.new("RGB", (width_px, height_px), PAPER)
    page.paste(body, (left, top))
    draw = ImageDraw.Draw(page)
    # a frame, so that white samples do not run out into the paper
    draw.rectangle((left - 1, top - 1, left + body.width, top + body.height), outline=INK)
    lines, width = shown.shape[:2]
    wide_mm, wide_px = _bar_length(width * grid.across_um / 1000, body.width)
    tall_mm, tall_px = _bar_length(lines * grid.along_um / 1000, body.height)
    below = top + body.height + 20
    draw_bar(draw, (left, below), (wide_px, 0))
    draw.text((left + wide_px + 16, below - 11), f"{wide_mm:g} mm across", fill=INK, font=font)
    draw_bar(draw, (left - 24, top + 8), (0, tall_px))
    draw.text((8, top + tall_px + 20), f"{tall_mm:g} mm\nalong", fill=INK, font=font)
    for place, line in enumerate(under):
        draw.text((left, below + 20 + _CAPTION_LINE_PX * place), line, fill=INK, font=font)
    return np.asarray(page)


def broken_lines(text: str, font: Font, most_px: int) -> list[str]:
    """Break a text into lines at spaces."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and font.getlength(longer) > most_px:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _bar_length(side_mm: float, side_px: int) -> tuple[float, int]:
    """Choose a round bar of at most two fifths of a side."""
    length_mm = round_length_mm(0.4 * side_mm)
    return length_mm, round(side_px * length_mm / side_mm)
