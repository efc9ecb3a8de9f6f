"""The geometry of a station drawn to scale: rows of the sensor, and lines on the target."""

from dataclasses import dataclass
from itertools import accumulate

from linesim.forward.station import station
from linesim.report.page_parts import Picture
from linesim.report.scale_drawing import INK, LEFT_PX, TOP_PX, sheet
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup

_FILLED = {"fill": "#0072b2", "fill-opacity": "0.55", "stroke": INK}
_PASSED = {"fill": "#cfe3f1", "fill-opacity": "0.6"}
_ENDED = {"fill": "none", "stroke": INK, "stroke-dasharray": "4 3"}
_EMPTY = {"fill": "#fff", "stroke": "#85858f"}
_LINES = 4
_MOST_ROWS = 12
_FEWEST_COLUMNS, _MOST_COLUMNS = 6, 24
_ARROW_PX = 100.0
_SPREAD = 1.1
"""Width over height that a drawing of many rows gets."""


def _um(length_um: float) -> str:
    return f"{length_um:.4g} µm"


def lines_on_target(setup: Setup) -> Picture:
    """Draw four lines on the target to scale: what a pixel sees, its motion, what is passed."""
    numbers = station(setup)
    place, when = numbers.geometry, numbers.timing
    wide, tall = float(place.object_pixel_x_um), float(place.object_pixel_y_um)
    advance, moved = float(when.line_advance_um), float(numbers.motion_um)
    size_um = (_LINES * wide, (_LINES - 1) * advance + tall + moved)
    drawn = sheet(size_um, least_tall_px=_ARROW_PX)
    for line in range(_LINES):
        x, y = line * wide, line * advance
        drawn.box((x, y), (wide, tall + moved), _PASSED)
        drawn.box((x, y), (wide, tall), _FILLED)
        drawn.box((x, y + moved), (wide, tall), _ENDED)
    drawn.length_across((0, wide), TOP_PX - 8, "a")
    drawn.length_down((0, tall), LEFT_PX - 14, "b", -1)
    right = drawn.at(_LINES * wide, 0)[0]
    drawn.length_down(((_LINES - 2) * advance, (_LINES - 1) * advance), right + 16, "c")
    last = (_LINES - 1) * advance + tall
    drawn.length_down((last, last + moved), right + 44, "d")
    drawn.arrow_up(LEFT_PX - 48, "travel")
    legend = (
        f"a  object pixel across {_um(wide)}",
        f"b  object pixel along {_um(tall)}",
        f"c  line advance {_um(advance)}",
        f"d  travel while exposed {_um(moved)}",
    )
    return Picture(
        image=drawn.finish(legend),
        alt=f"Four lines on the target, to scale: {'; '.join(each[3:] for each in legend)}.",
        caption=(
            "On the target: four lines, one after the other, each drawn one pixel further across. "
            "Solid: what a pixel sees when its exposure starts; dashed: when it ends; pale: what "
            "passes meanwhile."
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows of a sensor, from the first that a strip of the target meets."""

    tops_um: tuple[float, ...]
    heights_um: tuple[float, ...]
    read: range
    words: str


def sensor_rows(setup: Setup) -> Rows:
    """Lay out the rows of a setup's sensor, a dozen at most."""
    camera, side_um = setup.camera, setup.pixel_height_um
    if camera.kind == "three-line":
        tops = tuple(
            colour * setup.line_spacing_um + row * side_um
            for colour in range(len(COLOURS))
            for row in range(setup.rows_read)
        )
        return Rows(
            tops_um=tops,
            heights_um=(side_um,) * len(tops),
            read=range(len(tops)),
            words=f"rows of {', '.join(COLOURS)}",
        )
    if camera.tdi_stages > 1:
        heights = (side_um * setup.rows_read,) * camera.tdi_stages
        words, read = f"{len(heights)} stages", range(len(heights))
    else:
        heights, first = setup.row_heights_um, setup.first_row
        count = len(heights)
        words = f"{count} row{'s' * (count > 1)}"
        read = range(first, first + setup.rows_read)
    start = max(0, min(read.start, len(heights) - _MOST_ROWS))
    shown = heights[start : start + _MOST_ROWS]
    if len(shown) < len(heights):
        words = f"{len(shown)} of {words}"
    return Rows(
        tops_um=tuple(accumulate((0.0, *shown[:-1]))),
        heights_um=tuple(shown),
        read=range(read.start - start, min(read.stop - start, len(shown))),
        words=words,
    )


def _columns(setup: Setup, tall_um: float) -> int:
    """Choose how many pixels of a row to draw: whole delivered ones, about as wide as high."""
    width_um, across = setup.camera.pixel_width_um, setup.acquisition.binning.across
    wanted = min(max(_SPREAD * tall_um / width_um, _FEWEST_COLUMNS), _MOST_COLUMNS)
    whole = setup.camera.pixels // across
    return min(max(2, round(wanted / across)), whole) * across


def rows_of_sensor(setup: Setup) -> Picture:
    """Draw a piece of the sensor to scale: rows, pixels, and those joined into a delivered one."""
    rows, width_um = sensor_rows(setup), setup.camera.pixel_width_um
    across = setup.acquisition.binning.across
    tall_um = max(map(sum, zip(rows.tops_um, rows.heights_um, strict=True)))
    columns = _columns(setup, tall_um)
    drawn = sheet((columns * width_um, tall_um))
    for row, (top_um, height_um) in enumerate(zip(rows.tops_um, rows.heights_um, strict=True)):
        for column in range(columns):
            is_read = row in rows.read and column < across
            style = _FILLED if is_read else _EMPTY
            drawn.box((column * width_um, top_um), (width_um, height_um), style)
    read_um = rows.tops_um[rows.read.start]
    height_um = rows.heights_um[rows.read.start]
    drawn.length_across((0, width_um), TOP_PX - 8, "a")
    drawn.length_down((read_um, read_um + height_um), LEFT_PX - 14, "b", -1)
    legend = [f"a  pixel width {_um(width_um)}", f"b  pixel height {_um(height_um)}"]
    if setup.camera.kind == "three-line":
        right = drawn.at(columns * width_um, 0)[0]
        drawn.length_down((0, setup.line_spacing_um), right + 16, "c")
        legend.append(f"c  from colour to colour {_um(setup.line_spacing_um)}")
    return Picture(
        image=drawn.finish(legend),
        alt=f"{columns} pixels of the sensor's {rows.words}, to scale: "
        f"{'; '.join(each[3:] for each in legend)}.",
        caption=f"On the sensor: {columns} of {setup.camera.pixels} pixels; {rows.words}. Filled: "
        f"{_joined_words(setup)}.",
    )


def _joined_words(setup: Setup) -> str:
    binning, colour = setup.acquisition.binning, setup.camera.kind != "mono"
    joined = binning.across * setup.rows_read * setup.camera.tdi_stages
    each = " of each colour" if colour else ""
    return (
        f"the {joined} that make a delivered one{each}"
        if joined > 1
        else (f"the one that makes a delivered one{each}")
    )
