"""
A contact sheet: pictures of one scale side by side, each with a line of text under it.

All pictures have the same scale across, so that one bar serves the sheet. A sample is shown as a
square: where the sampling stretches a picture along travel it looks stretched, and an upright bar
beside it shows the same length along travel.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from linesim.report.console import typeset
from linesim.report.picture import (
    INK,
    PAPER,
    Font,
    Grid,
    broken_lines,
    caption_font,
    draw_bar,
    round_length_mm,
)

_EDGE_PX = 20
_GAP_PX = 22
_BESIDE_PX = 18
_SIZE_PX = 13
_HEADING_PX, _HEADING_LINE_PX = 18, 26
_NARROWEST_PX = 480
_LINE_PX = 19
_SQUARE = 0.005
"""Samples closer than this share to square count as square; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """Part of a picture that is shown once more, magnified to the picture's width."""

    # sample in its upper left corner
    first_line: int
    first_column: int
    lines: int
    columns: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Panel:
    """One picture of a sheet."""

    image: NDArray[np.uint8]  # shape (lines, width); ready for the screen
    grid: Grid
    title: str  # what the picture shows, in a few words
    detail: Detail | None = None  # shown magnified under it
    inset: NDArray[np.uint8] | None = None  # another picture of as many or fewer samples, under it

    @property
    def width_mm(self) -> float:
        """Seen on the target across. [mm]."""
        return int(self.image.shape[1]) * self.grid.across_um / 1000

    @property
    def length_mm(self) -> float:
        """Seen on the target along travel. [mm]."""
        return int(self.image.shape[0]) * self.grid.along_um / 1000

    @property
    def stretch(self) -> float:
        """How much longer than on the target it looks along travel."""
        return self.grid.across_um / self.grid.along_um

    @property
    def is_stretched(self) -> bool:
        """Tell whether it has its own scale along travel."""
        return abs(self.stretch - 1) > _SQUARE


def scale_px_mm(panels: Sequence[Panel], width_px: int) -> float:
    """Choose the scale of a sheet."""
    scale = width_px / max(panel.width_mm for panel in panels)
    finest_mm = min(panel.grid.across_um for panel in panels) / 1000
    # a share of a pixel that rounding takes must not halve the size
    whole = np.floor(scale * finest_mm + 1e-9)
    return float(whole / finest_mm) if whole >= 1 else scale


def bar_mm(panels: Sequence[Panel]) -> float:
    """Choose the length of a sheet's scale bar, so that it fits into every picture."""
    upright_mm = [0.9 * panel.length_mm for panel in panels if panel.is_stretched]
    return round_length_mm(min(0.4 * max(panel.width_mm for panel in panels), *upright_mm, np.inf))


def _resized(image: NDArray[np.uint8], size: tuple[int, int]) -> Image.Image:
    """Resize: nearest sample up; down area means, which take noise away."""
    resample = Image.Resampling.BOX if size[0] < image.shape[1] else Image.Resampling.NEAREST
    return Image.fromarray(image).convert("RGB").resize(size, resample)


def _wide(image: NDArray[np.uint8], width_px: int) -> Image.Image:
    """Bring a picture to a width, its samples square."""
    lines, width = image.shape[:2]
    return _resized(image, (width_px, max(1, round(width_px * lines / width))))


def _framed(body: Image.Image) -> Image.Image:
    """Draw a frame, so that white samples do not run out into the paper."""
    page = Image.new("RGB", (body.width + 2, body.height + 2), INK)
    page.paste(body, (1, 1))
    return page


def _pictures(panel: Panel, px_mm: float) -> list[Image.Image]:
    """Bring the picture, and its detail or what else stands under it, to size."""
    lines, width = panel.image.shape[:2]
    sample_px = px_mm * panel.grid.across_um / 1000
    size = (max(1, round(width * sample_px)), max(1, round(lines * sample_px)))
    body = _resized(panel.image, size)
    if panel.inset is not None:
        return [_framed(body), _framed(_wide(panel.inset, size[0]))]
    if panel.detail is None:
        return [_framed(body)]
    part = panel.detail
    lines_to, columns_to = part.first_line + part.lines, part.first_column + part.columns
    cut = panel.image[part.first_line : lines_to, part.first_column : columns_to]
    detail = _wide(cut, size[0])
    places = (part.first_column, part.first_line, columns_to, lines_to)
    box = [round(place * sample_px) for place in places]
    ImageDraw.Draw(body).rectangle((box[0], box[1], box[2] - 1, box[3] - 1), outline=INK, width=2)
    return [_framed(body), _framed(detail)]


def _cell(panel: Panel, px_mm: float, upright_mm: float, font: Font) -> Image.Image:
    """Lay out one panel: picture, its upright bar where it needs one, detail, title."""
    bodies = _pictures(panel, px_mm)
    width_px = bodies[0].width
    said = broken_lines(typeset(panel.title), font, width_px)
    above_px = sum(body.height + 6 for body in bodies)
    size = (width_px + _BESIDE_PX, above_px + _LINE_PX * len(said))
    cell = Image.new("RGB", size, PAPER)
    draw, down = ImageDraw.Draw(cell), 0
    for body in bodies:
        cell.paste(body, (0, down))
        down += body.height + 6
    if panel.is_stretched:
        length_px = round(upright_mm * px_mm * panel.stretch)
        draw_bar(draw, (width_px + 9, 2), (0, length_px))
    for place, line in enumerate(said):
        draw.text((0, above_px + _LINE_PX * place), line, fill=INK, font=font)
    return cell


def sheet(
    panels: Sequence[Panel], *, columns: int, width_px: int = 260, heading: str = ""
) -> NDArray[np.uint8]:
    """
    Lay pictures out in rows and columns, in reading order, at one scale, with a scale bar below.

    Parameters
    ----------
    width_px : int; most that the widest picture may take [px]

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
    """
    if not panels or columns < 1:
        msg = f"a sheet needs a panel and a column, got {len(panels)} and {columns}"
        raise ValueError(msg)
    px_mm, length_mm = scale_px_mm(panels, width_px), bar_mm(panels)
    font = caption_font(_SIZE_PX)
    cells = [_cell(panel, px_mm, length_mm, font) for panel in panels]
    rows = [cells[first : first + columns] for first in range(0, len(cells), columns)]
    body = _in_rows(rows)
    note = f"{length_mm:g} mm across and along" + (
        f"; where sampling stretches a picture, the bar beside it is {length_mm:g} mm along"
        if any(panel.is_stretched for panel in panels)
        else ""
    )
    return np.asarray(_page(body, heading, (round(length_mm * px_mm), note)))


def _in_rows(rows: list[list[Image.Image]]) -> Image.Image:
    """Put cells into rows, all columns of one width."""
    step_px = max(cell.width for row in rows for cell in row) + _GAP_PX - _BESIDE_PX
    heights_px = [max(cell.height for cell in row) + _GAP_PX for row in rows]
    columns = max(len(row) for row in rows)
    body = Image.new("RGB", (columns * step_px + _BESIDE_PX, sum(heights_px)), PAPER)
    for line, row in enumerate(rows):
        for place, cell in enumerate(row):
            body.paste(cell, (place * step_px, sum(heights_px[:line])))
    return body


def _page(body: Image.Image, heading: str, bar: tuple[int, str]) -> Image.Image:
    """Put a heading above and the scale bar below."""
    large, small = caption_font(_HEADING_PX), caption_font(_SIZE_PX)
    heading = typeset(heading)
    bar_px, note = bar
    note_px = bar_px + 16 + round(small.getlength(note))
    said = broken_lines(heading, large, max(body.width, _NARROWEST_PX)) if heading else []
    width_px = max([body.width, note_px, *(round(large.getlength(line)) for line in said)])
    top_px = _EDGE_PX + (10 + _HEADING_LINE_PX * len(said) if heading else 0)
    size = (width_px + 2 * _EDGE_PX, top_px + body.height + 36)
    page = Image.new("RGB", size, PAPER)
    page.paste(body, (_EDGE_PX, top_px))
    draw = ImageDraw.Draw(page)
    for place, line in enumerate(said):
        top = _EDGE_PX - 6 + _HEADING_LINE_PX * place
        draw.text((_EDGE_PX, top), line, fill=INK, font=large)
    below_px = top_px + body.height + 12
    draw_bar(draw, (_EDGE_PX, below_px), (bar_px, 0))
    draw.text((_EDGE_PX + bar_px + 16, below_px - 9), note, fill=INK, font=small)
    return page
