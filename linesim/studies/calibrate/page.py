"""The report of a calibration: before and after, the tone curve, every patch."""

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from linesim.files.photo_in import Photo
from linesim.report.page_parts import (
    Cautions,
    Facts,
    Listing,
    Page,
    Part,
    Picture,
    Pictures,
    Section,
    Table,
    Text,
)
from linesim.report.picture import Grid, picture
from linesim.report.plots import COLOURS as LINE_COLOURS
from linesim.report.plots import INK, new_figure, svg_text
from linesim.setup.channels import COLOURS
from linesim.studies.calibrate.minded import cautions
from linesim.studies.calibrate.outputs import white_of
from linesim.studies.calibrate.study import Calibrated
from linesim.studies.calibrate.words import rms, spoken, target_lines
from linesim.studies.scan.before_after import on_screen, png_of

_LONGEST_PX = 1200
_RGB = 3
_INK, _PAPER = (30, 30, 34), (255, 255, 255)
_POINTS = 256


def _smaller(image: NDArray[np.uint8]) -> tuple[Image.Image, float]:
    """Fit an image to the page by area means."""
    full = Image.fromarray(image).convert("RGB")
    scale = min(1.0, _LONGEST_PX / max(full.size))
    size = (max(1, round(full.width * scale)), max(1, round(full.height * scale)))
    return full.resize(size, Image.Resampling.BOX), scale


def _shown(values: NDArray[np.float32]) -> NDArray[np.uint8]:
    shown = on_screen(values)
    return shown if shown.shape[-1] == _RGB else shown[..., 0]


def _before(photo: Photo, found: Calibrated) -> bytes:
    """Draw the photograph, with patches, corners and ruler in it."""
    drawn, scale = _smaller(_shown(photo.linear))
    draw, font = ImageDraw.Draw(drawn), ImageFont.load_default(size=16)
    for number, patch in enumerate(found.asked.patches, 1):
        region = patch.region
        box = [scale * x for x in (region.x, region.y)]
        far = [scale * x for x in (region.x + region.width, region.y + region.height)]
        draw.rectangle((*box, *far), outline=_PAPER, width=3)
        draw.rectangle((*box, *far), outline=_INK, width=1)
        draw.text(
            (far[0] + 4, box[1]),
            str(number),
            fill=_PAPER,
            font=font,
            stroke_width=2,
            stroke_fill=_INK,
        )
    lines = []
    if found.asked.corners:
        points = found.asked.corners.points
        lines.append((*points, points[0]))
    if found.asked.ruler:
        lines.append(found.asked.ruler.ends)
    for line in lines:
        path = [(scale * x, scale * y) for x, y in line]
        draw.line(path, fill=_PAPER, width=3)
        draw.line(path, fill=_INK, width=1)
    return png_of(np.asarray(drawn))


def _after(found: Calibrated) -> bytes:
    """Draw the target, with scale bars; a perfect white is white."""
    pitch_um = found.scale.pixel_size_um
    shown, scale = _smaller(on_screen(found.data))
    grid = Grid(across_um=pitch_um / scale, along_um=pitch_um / scale)
    own = np.asarray(shown if found.data.ndim == _RGB else shown.convert("L"))
    return png_of(picture(own, grid, f"{pitch_um:g} um a pixel"))


def _curves(found: Calibrated) -> str:
    """Plot reflectance over decoded value, in whole light, with the patches."""
    figure, axes = new_figure(height_mm=80.0)
    plot = axes[0, 0]
    value = np.linspace(0, 1, _POINTS)
    names = ("grey",) if len(found.tone.curves) == 1 else COLOURS
    styles = dict(zip((*COLOURS, "grey"), (1, 2, 0, 6), strict=True))
    matrix = found.tone.matrix
    # curves lie before the matrix
    aims = found.seen.reflectance
    aims = aims if matrix is None else aims @ np.linalg.inv(matrix).T
    for index, (name, curve) in enumerate(zip(names, found.tone.curves, strict=True)):
        colour = LINE_COLOURS[styles[name]]
        plot.plot(value, curve.reflectance(value), color=colour, label=name)
        plot.plot(
            found.seen.values[:, index],
            aims[:, index] * _light(found, index),
            "os^"[index],
            color=colour,
            markersize=5,
        )
    plot.plot(value, value, color=INK, linewidth=0.8, linestyle=(0, (2, 2)), label="as encoded")
    plot.set_xlabel("decoded value of the photograph")
    plot.set_ylabel("reflectance")
    plot.set_xlim(0, 1)
    plot.set_ylim(0, 1.05 * max(1.0, float(found.seen.reflectance.max())))
    plot.legend(fontsize=8)
    return svg_text(figure)


def _light(found: Calibrated, index: int) -> NDArray[np.float64] | float:
    """Give the share of the light at each patch, in one channel."""
    if found.seen.blank is None:
        return 1.0
    curve = found.tone.curves[index]
    whole = curve.light(np.array(curve.blank_level))
    return np.asarray(curve.light(found.seen.blank[:, index]) / whole)


def _patches(found: Calibrated) -> Table:
    made = found.tone.reflectance(found.seen.values, found.seen.blank)
    number = {patch: place for place, patch in enumerate(found.asked.patches, 1)}
    return Table(
        title="Patches",
        head=("", "x, y, width, height", "reflectance", "found", "off by"),
        rows=tuple(
            (
                str(number[patch]),
                str(patch.region),
                ", ".join(f"{each:g}" for each in patch.reflectance),
                _numbers(made[index], "{:.4f}"),
                _numbers(found.residual[index], "{:+.4f}"),
            )
            for index, patch in enumerate(found.used)
        ),
    )


def _numbers(values: NDArray[np.float64], form: str) -> str:
    return ", ".join(form.format(each) for each in values)


def calibration_page(found: Calibrated) -> Page:
    """Make the report of a calibration."""
    pictures = Pictures(
        (
            Picture(
                image=_before(found.photo, found),
                alt="The photograph with its patches",
                caption="Before: the photograph as its encoding decodes it, with what was told of "
                "it: patches by number, corners, ruler.",
            ),
            Picture(
                image=_after(found),
                alt="The target, in reflectance",
                caption="After: the target. A reflectance of 1 is shown as white.",
            ),
        )
    )
    plot = Picture(
        image=_curves(found),
        alt="Reflectance over decoded value, with the patches",
        caption="The tone curve where the light is whole. Patches in other light stand at what "
        "they would be there; those that lie off the curve fit badly.",
    )
    minded = cautions(found)
    rows = tuple((each.code, each.text) for each in minded)
    parts: tuple[Part, ...] = (Cautions("To mind", rows),) if rows else ()
    white = white_of(found.data)
    return Page(
        title=found.asked.image.name,
        job="Calibration of a target",
        lead=spoken(found),
        sections=(
            Section("Before and after", (_facts(found, white), pictures)),
            Section("Tone", (Pictures((plot,)), _patches(found))),
            *((Section("Cautions", parts),) if parts else ()),
            Section(
                "In a setup",
                (
                    Text(("The lines that name the target; the image lies beside this page.",)),
                    Listing("[target]", target_lines(found.scale.pixel_size_um, white)),
                ),
            ),
        ),
    )


def _facts(found: Calibrated, white: float) -> Facts:
    rows, columns = found.data.shape[:2]
    return Facts(
        (
            ("pixel of the target", f"{found.scale.pixel_size_um:g} um", ""),
            ("size", f"{columns} x {rows} pixels", ""),
            ("residual, rms", f"{rms(found.residual):.4f}", "in reflectance"),
            ("white_reflectance", f"{white:g}", "at full scale of the file"),
        )
    )
