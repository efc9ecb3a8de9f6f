"""The page of a fit and its plots: what changed, what is left of each capture, what tells what."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import scipy

from linesim.figures.budget import budget
from linesim.figures.safety import CODES
from linesim.metrics.scene.affine import shrunk
from linesim.report.page_parts import Cautions, Page, Part, Picture, Pictures, Section, Table, Text
from linesim.report.page_sections import Case, caution_section
from linesim.report.plots import COLOURS, INK, new_figure, png_bytes, svg_text
from linesim.report.setup_tables import making_section, setup_section
from linesim.report.setup_words import job_in_words
from linesim.setup.arrays import FloatArray
from linesim.studies.fit.found import Fitted, FoundCapture
from linesim.studies.fit.words import (
    answer,
    bound,
    change_text,
    evidence_of,
    interval_text,
    left_lines,
    place_lines,
    value_text,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST_PX = 400
_RANGE = 4.0
_FEW = 3
"""Captures that a page shows, the first ones."""
_WIDE = 2.0
"""Columns over lines from which on maps stand one above the other."""
_HEADROOM = 1.3


def left_png(each: FoundCapture) -> bytes:
    """Map what is left of a capture, before and after, in standard deviations of the noise."""
    wide = each.columns > _WIDE * each.lines
    rows, columns = (2, 1) if wide else (1, 2)
    figure, axes = new_figure(height_mm=120.0 if wide else 85.0, rows=rows, columns=columns)
    factor = max(1, max(each.left_after.shape) // _MOST_PX)
    for place, left, name in zip(axes.ravel(), each.both, ("set up", "fitted"), strict=True):
        drawn = place.imshow(
            # the mean of n² samples scatters by 1/n
            shrunk(left, factor) * factor,
            cmap="RdBu_r",
            vmin=-_RANGE,
            vmax=_RANGE,
            interpolation="nearest",
        )
        place.set(title=f"Left by the setup as {name}", xlabel="column", ylabel="line")
        place.set(xticks=[], yticks=[])
        place.grid(visible=False)
    figure.colorbar(drawn, ax=axes.ravel().tolist(), label="standard deviations", shrink=0.8)
    return png_bytes(figure)


def spread_svg(each: FoundCapture) -> str:
    """Draw how what is left is spread, before and after, beside noise alone."""
    figure, axes = new_figure(height_mm=75.0)
    place = axes[0, 0]
    edges = np.linspace(-6, 6, 61)
    middle = (edges[1:] + edges[:-1]) / 2
    for index, (left, name) in enumerate(zip(each.both, ("set up", "fitted"), strict=True)):
        share = np.histogram(left, edges)[0] / left.size
        place.step(middle, share, where="mid", label=f"as {name}", color=COLOURS[index])
    noise = np.diff(scipy.special.ndtr(edges))
    place.plot(middle, noise, color=INK, linestyle=(0, (2, 2)), linewidth=1.0, label="noise alone")
    place.set_ylim(0, _HEADROOM * noise.max())
    place.set(
        xlabel="captured less expected, standard deviations of noise", ylabel="share of samples"
    )
    place.legend()
    return svg_text(figure)


def intervals_svg(found: Fitted) -> str:
    """Draw each key's interval over what the setup had; 1 is as set up."""
    keys = [each for each in found.found if each.before > 0]
    figure, axes = new_figure(height_mm=20.0 + 9.0 * max(len(keys), 1))
    place = axes[0, 0]
    for row, each in enumerate(keys):
        low, value, high = (
            end / each.before
            for end in (each.interval.low, each.interval.value, each.interval.high)
        )
        colour = COLOURS[0] if each.is_as_set_up else COLOURS[1]
        place.plot([low, high], [row, row], color=colour, linewidth=3.0, solid_capstyle="butt")
        place.plot([value], [row], color=colour, marker="o" if each.is_as_set_up else "D")
    place.axvline(1.0, color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
    place.set_yticks(range(len(keys)), [each.name for each in keys])
    place.set(xlabel="fitted over set up, with 95 %", ylim=(len(keys) - 0.5, -0.5))
    return svg_text(figure)


def bound_svg(found: Fitted) -> str:
    """Draw the correlations of the errors of all keys that were moved."""
    names = list(dict.fromkeys(name for pair in found.correlations for name in pair))
    matrix = np.eye(len(names))
    for (one, other), value in found.correlations.items():
        at = names.index(one), names.index(other)
        matrix[at] = matrix[at[::-1]] = value
    figure, axes = new_figure(height_mm=45.0 + 9.0 * len(names), width_mm=150.0)
    _matrix(axes[0, 0], matrix, names)
    return svg_text(figure)


def _matrix(place: "Axes", matrix: FloatArray, names: list[str]) -> None:
    place.imshow(matrix, cmap="RdBu_r", vmin=-1, vmax=1)
    for (row, column), value in np.ndenumerate(matrix):
        dark = abs(value) > 0.6  # noqa: PLR2004 -- white is read on dark
        place.text(
            column,
            row,
            f"{value:+.2f}",
            ha="center",
            va="center",
            fontsize=8,
            color="white" if dark else INK,
        )
    short = [name.partition(".")[2] for name in names]
    place.set_xticks(range(len(names)), short, rotation=35, ha="right")
    place.set_yticks(range(len(names)), names)
    place.grid(visible=False)


def fit_page(found: Fitted) -> Page:
    """Make the page of a fit."""
    return Page(
        title=found.before.title,
        job="Fitted to captures",
        lead=tuple(answer(found)),
        sections=tuple(_sections(found)),
    )


def _sections(found: Fitted) -> Iterator[Section]:
    if found.found:
        yield Section("What the captures tell", tuple(_keys(found)))
    left = tuple(left_lines(found))
    if left:
        yield Section("What they do not tell", (Text(left),))
    yield Section("What is left of the captures", tuple(_left(found)))
    if found.correlations:
        yield Section("Keys that are known together", tuple(_bound(found)))
    own = tuple((each.code, each.text) for each in found.cautions if each.code not in CODES)
    if own:
        yield Section("Of this fit", (Cautions("The fit", own),))
    yield caution_section(Case(title="", setup=found.after, budget=budget(found.after)))
    yield Section("The station, as fitted", (Text(job_in_words(found.after)),))
    yield setup_section(found.after)
    yield making_section(found.before, "linesim fit setup.toml, with the captures")


def _keys(found: Fitted) -> Iterator[Part]:
    yield Table(
        title="Values with their 95 % intervals",
        head=("", "set up", "fitted", "95 %", "change", "told by"),
        rows=tuple(
            (
                each.name,
                value_text(each.before, each.interval, each.unit),
                value_text(each.interval.value, each.interval, each.unit),
                interval_text(each),
                change_text(each),
                evidence_of(each),
            )
            for each in found.found
        ),
    )
    if any(each.before > 0 for each in found.found):
        drawing = Picture(
            image=intervals_svg(found),
            alt="Interval of each fitted key over what the setup had",
            caption="Each interval over the setup's value; a diamond lies off it.",
        )
        yield Pictures((drawing,))


def _left(found: Fitted) -> Iterator[Part]:
    for each in found.captures[:_FEW]:
        yield Pictures(
            (
                Picture(
                    image=left_png(each),
                    alt="Maps of captured less expected, before and after the fit",
                    caption=f"{each.name}: captured less expected, over the noise.",
                ),
                Picture(
                    image=spread_svg(each),
                    alt="Histogram of captured less expected, before and after, beside noise alone",
                    caption="Where the fit is right, noise alone is left.",
                ),
            )
        )
    yield Text(tuple(place_lines(found)))


def _bound(found: Fitted) -> Iterator[Part]:
    drawing = Picture(
        image=bound_svg(found),
        alt="Correlations of the errors of all pairs of fitted keys",
        caption="Correlations of errors: near ±1 the captures tell two keys together only.",
    )
    yield Pictures((drawing,))
    said = tuple(bound(found))
    if said:
        yield Text(said)
