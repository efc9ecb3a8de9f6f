"""
Draw marks of one sheet under a lamp in four places, and its rolling lines turned both ways.

``python -m tests.bench.light_sheet`` writes both sheets to ``outputs/gallery/``. Each panel is cut
from a noisy scan; the figure under it is measured on the expected electrons of the same scan.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import imageio.v3 as iio
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from linesim.figures.plain_numbers import digits, percent, ratio_words
from linesim.report.picture import Grid, tones
from linesim.report.sheet import Panel, sheet
from linesim.setup.load import changed, setup_from
from linesim.studies.compare.lights import ARRANGEMENTS, light_variants
from linesim.studies.scan.study import Scan, scan
from linesim.targets.painted import FacedTarget, grid_of
from linesim.targets.sheet import DENTS, GROOVES, HOLE_PLACE, MARK_PLACE
from linesim.targets.sheet import sheet as rolled_sheet
from linesim.targets.texture import Scene

GALLERY = Path(__file__).parents[2] / "outputs" / "gallery"
PITCH_UM, SIDES_MM = 15.0, (40.0, 30.0)
STATION: Mapping[str, object] = {
    "title": "Rolled sheet",
    "target": {"image": "sheet", "pixel_size": f"{PITCH_UM:g} um"},
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.15, "f_number": 5.6},
    "light": {
        "illuminance": "50 klx",
        "arrangement": "line",
        "angle": "20 deg",
        "angular_width": "10 deg",
    },
    "camera": {"angle": "20 deg", "pixels": 800, "pixel_width": "7.5 um", "full_well": "60 ke"},
    "acquisition": {"line_rate": "square"},
}
WHITES = {"bright field": 1.1, "dark field": 4.0, "even": 1.1}
"""What is shown as white, over the product; in back light it is what passes the hole."""
HEADING = (
    "The same light from four places. White is 1.1 times the product, 4 times in dark field; in "
    "back light it is the hole"
)
_PANEL_MM = (6.0, 4.6)
_HARDLY = 0.02
"""Under it a mark is lost in what the sheet's own lines do; our choice."""
_DARK_E = 1.0
_DENT = 1
"""Which of the dents: the largest."""
_GROOVE = 1
"""Which of the grooves: that across travel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A mark, the middle of its panel from its own, and the box in which it is measured. [mm]."""

    name: str
    place: tuple[float, float]
    aside_mm: float
    box_mm: tuple[float, float, float, float]


MARKS = (
    Mark(
        name="groove across travel, 4 um deep",
        place=GROOVES[_GROOVE][:2],
        aside_mm=3.0,
        box_mm=(0.5, -0.04, 4.5, 0.04),
    ),
    # the flank that leans towards the lamp, where it is steepest
    Mark(
        name="dent, 45 um deep",
        place=DENTS[_DENT][:2],
        aside_mm=0.0,
        box_mm=(-0.2, -0.6, 0.2, -0.3),
    ),
    Mark(name="print mark", place=MARK_PLACE, aside_mm=0.0, box_mm=(-1.1, -0.1, -0.3, 0.1)),
    Mark(name="hole, 0.7 mm", place=HOLE_PLACE, aside_mm=0.0, box_mm=(-0.2, -0.2, 0.2, 0.2)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A mark in one scan: electrons on it and on the product around it, and its panel."""

    mark: Mark
    arrangement: str
    mark_e: float
    product_e: float
    panel: tuple[slice, slice]

    @property
    def change(self) -> float:
        """Of the product's level."""
        return self.mark_e / self.product_e - 1


def scans() -> dict[str, Scan]:
    """Scan the sheet at the four places of the lamp."""
    variants = light_variants(setup_from(STATION, GALLERY), ARRANGEMENTS)
    return {one.title: scan(one.setup, seed=1) for one in variants}


def seen(found: Scan, mark: Mark, arrangement: str) -> Seen:
    """Measure a mark: the mean over its box, against the median of the same columns around it."""
    grid = grid_of(pixel_size_um=PITCH_UM, width_mm=SIDES_MM[0], height_mm=SIDES_MM[1])
    ((x_mm, y_mm),) = Scene(grid=grid, seed=0, faults=True).at(np.array([mark.place])).tolist()
    middle_mm = (x_mm + mark.aside_mm, y_mm)
    half_mm = (_PANEL_MM[0] / 2, _PANEL_MM[1] / 2)
    left, top, right, bottom = mark.box_mm
    panel = _part(
        found,
        tuple(at - half for at, half in zip(middle_mm, half_mm, strict=True)),
        tuple(at + half for at, half in zip(middle_mm, half_mm, strict=True)),
    )
    rows, columns = _part(found, (x_mm + left, y_mm + top), (x_mm + right, y_mm + bottom))
    around_e = np.median(found.expected_e[panel[0], columns], axis=0)
    return Seen(
        mark=mark,
        arrangement=arrangement,
        mark_e=float(found.expected_e[rows, columns].mean()),
        product_e=float(around_e.mean()),
        panel=panel,
    )


def _part(
    found: Scan, start_mm: tuple[float, ...], end_mm: tuple[float, ...]
) -> tuple[slice, slice]:
    """Give the lines and columns whose middles lie between two places on the target."""
    place, exposed = found.budget["geometry"], found.budget["exposure"]
    across_um, along_um = float(place["object_pixel_x_um"]), float(place["line_advance_um"])
    seen_um = float(place["object_pixel_y_um"]) + float(exposed["motion_blur_um"])
    top_um = (seen_um - along_um) / 2
    columns = [round(1000 * at[0] / across_um) for at in (start_mm, end_mm)]
    rows = [round((1000 * at[1] - top_um) / along_um) for at in (start_mm, end_mm)]
    return slice(*rows), slice(*columns)


def words(one: Seen, read_noise_e: float) -> str:
    """Say how a mark is seen."""
    if one.product_e < _DARK_E:
        return (
            "no light"
            if one.mark_e < _DARK_E
            else f"bright, {digits(one.mark_e / 1000, 2)} ke on black"
        )
    over = abs(one.change) * one.product_e / (one.product_e + read_noise_e**2) ** 0.5
    sense = f"{percent(abs(one.change), 2)} {'brighter' if one.change > 0 else 'darker'}"
    if abs(one.change) < _HARDLY:
        return f"hardly shows, {sense}"
    if one.change >= 1:
        sense = f"{ratio_words(1 + one.change)} as bright"
    return f"{sense}, {digits(over, 2)} times the noise"


def _panel(found: Scan, one: Seen, white_e: float) -> Panel:
    sensor, black_dn = found.budget["signal"], found.setup.camera.black_level_dn
    dn_e = (float(sensor["dn_white"]) - black_dn) / float(sensor["electrons_white"])
    return Panel(
        image=tones(found.image[one.panel], black_dn, black_dn + white_e * dn_e),
        grid=_grid(found),
        title=f"{one.mark.name}, {one.arrangement}: {words(one, found.setup.camera.read_noise_e)}",
    )


def _grid(found: Scan) -> Grid:
    place = found.budget["geometry"]
    return Grid(
        across_um=float(place["object_pixel_x_um"]), along_um=float(place["line_advance_um"])
    )


def draw_marks() -> None:
    """Draw each mark at each place of the lamp."""
    panels = []
    taken = scans()
    for mark in MARKS:
        for name, found in taken.items():
            one = seen(found, mark, name)
            white_e = seen(found, MARKS[-1], name).mark_e
            if name in WHITES:
                white_e = WHITES[name] * one.product_e
            panels.append(_panel(found, one, white_e))
    _write("lights_marks", panels, columns=len(ARRANGEMENTS), heading=HEADING)


LINES_MM = 10.0
LINES = {"rolling lines along travel": False, "the same sheet turned, lines across travel": True}
_RANGE_UM = 100.0
_LINES_SHOWN = (0.7, 1.3)
"""Black and white, over the mean level."""
_LINES_ANGLE = "28 deg"
"""Of the lamp: its near edge is 3 degrees off the mirror, where a lean changes most."""
LINES_HEADING = "Lamp 8 degrees off the mirror; black is 0.7, white 1.3 times the mean"


def lines_scan(folder: Path, *, turned: bool) -> Scan:
    """Scan a piece of good sheet as it is rolled, or turned by 90 degrees."""
    drawn = rolled_sheet(
        pixel_size_um=PITCH_UM, width_mm=SIDES_MM[0], height_mm=SIDES_MM[1], faults=False
    )
    assert isinstance(drawn, FacedTarget)
    side = round(1000 * LINES_MM / PITCH_UM)
    heights, matt = (part(0, side)[:, :side] for part in (drawn.heights, drawn.rows))
    if turned:
        heights, matt = heights.T, matt.T
    iio.imwrite(folder / "relief.png", _sixteen(0.5 + heights / _RANGE_UM))
    iio.imwrite(folder / "matt.png", _sixteen(matt))
    rms = ("0.03", "0.08") if turned else ("0.08", "0.03")
    keys = {
        "target.image": "matt.png",
        "target.encoding": "linear",
        "target.gloss": 0.6,
        "target.rms_slope_across": float(rms[0]),
        "target.rms_slope_along": float(rms[1]),
        "target.relief": "relief.png",
        "target.relief_range": f"{_RANGE_UM:g} um",
        "light.angle": _LINES_ANGLE,
        "camera.pixels": round(LINES_MM * 1000 / 50),
    }
    return scan(changed(setup_from(STATION, folder), keys), seed=1)


def _sixteen(share: NDArray[np.floating]) -> NDArray[np.uint16]:
    return np.asarray(np.round(np.clip(share, 0, 1) * 65535), dtype=np.uint16)


def streaks(found: Scan, *, turned: bool) -> float:
    """Give the rms of the lines' own levels over their mean, on the expected electrons."""
    levels = found.expected_e.mean(axis=1 if turned else 0)
    return float(levels.std() / levels.mean())


def draw_lines() -> None:
    """Draw the rolling lines both ways."""
    panels = []
    with TemporaryDirectory() as folder:
        for name, turned in LINES.items():
            found = lines_scan(Path(folder), turned=turned)
            black_dn = found.setup.camera.black_level_dn
            mean_dn = float(np.mean(found.image)) - black_dn
            shown = [black_dn + times * mean_dn for times in _LINES_SHOWN]
            panels.append(
                Panel(
                    image=tones(found.image, *shown),
                    grid=_grid(found),
                    title=f"{name}: {percent(streaks(found, turned=turned), 2)} rms",
                )
            )
    _write("lights_lines", panels, columns=2, heading=LINES_HEADING)


def _write(name: str, panels: list[Panel], *, columns: int, heading: str) -> None:
    page = sheet(panels, columns=columns, width_px=256, heading=heading)
    Image.fromarray(page).convert("L").save(GALLERY / f"{name}.png", optimize=True)


if __name__ == "__main__":
    draw_marks()
    draw_lines()
