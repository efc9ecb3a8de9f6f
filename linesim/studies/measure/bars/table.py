"""The contrast of groups of bars, for the console, and their plot."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from linesim.metrics.bars.figures import RESOLVED_CYC_PX
from linesim.report.console import paragraph
from linesim.report.plots import COLOURS, INK, MARKS, new_figure, png_bytes
from linesim.studies.measure.bars.layout import MeasuredSet
from linesim.studies.measure.bars.study import DIRECTIONS, MeasuredBars
from linesim.studies.measure.lines import caution_lines, plus_minus
from linesim.studies.measure.sharpness_input import Direction

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_GAP = "  "
Column = tuple[str, Callable[[MeasuredSet], str]]
_BAND = 2.0  # standard deviations
_NYQUIST_CYC_PX = 0.5


def text(found: MeasuredBars) -> str:
    """Lay the figures of groups of bars out for the console."""
    where = "groups placed by the setup" if found.from_setup else "groups in the regions given"
    lines = [f"bars of {found.plane.name}", f"  {found.plane.measured(where)}"]
    for direction in DIRECTIONS:
        sets = found.along(direction)
        if sets:
            lines += ["", f"light changes {direction}", *_table(sets), _finest(found, direction)]
    return "\n".join([*lines, "", *_notes(found), *caution_lines(found.cautions)])


def _table(sets: tuple[MeasuredSet, ...]) -> list[str]:
    """Lay out a table whose columns are as wide as they must; empty columns are left out."""
    columns: tuple[Column, ...] = (
        ("group", _name),
        ("lp/mm", lambda each: _number(each.frequency_lp_mm, ".4g")),
        ("bar um", lambda each: _number(each.bar_um, ".4g")),
        ("cycles/px", lambda each: f"{each.frequency_cyc_px:.4f}"),
        ("contrast", lambda each: _figure(each, "contrast")),
        ("closed form", lambda each: _number(each.expected_contrast, ".3f")),
        ("MTF", lambda each: _figure(each, "mtf")),
        ("closed form", lambda each: _number(each.expected_mtf, ".3f")),
    )
    filled = [(head, [text(each) for each in sets]) for head, text in columns]
    shown = [(head, cells) for head, cells in filled if any(cells)]
    widths = [max(len(head), *map(len, cells)) for head, cells in shown]
    rows = zip(*([head, *cells] for head, cells in shown), strict=True)
    return [
        (_GAP + _GAP.join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)))
        .rstrip()
        for row in rows
    ]  # fmt: skip


def _name(each: MeasuredSet) -> str:
    return each.name if each.resolved else f"{each.name} *"


def _number(value: float | None, form: str) -> str:
    return "" if value is None else f"{value:{form}}"


def _figure(each: MeasuredSet, name: str) -> str:
    return "lost in noise" if each.figures is None else plus_minus(getattr(each.figures, name))


def _finest(found: MeasuredBars, direction: Direction) -> str:
    best = found.finest(direction)
    if best is None:
        return f"  no group has a contrast of {found.contrast:g} or more"
    size = f"{best.frequency_cyc_px:.4f} cycles/px"
    if best.frequency_lp_mm is not None:
        size = f"{best.frequency_lp_mm:.4g} lp/mm, bars of {best.bar_um:.4g} um"
    last = " (the finest measured)" if best is found.along(direction)[-1] else ""
    return f"  finest with a contrast of {found.contrast:g} or more: {_name(best)}, {size}{last}"


def _notes(found: MeasuredBars) -> list[str]:
    what = (
        "MTF is the response at the bars' frequency, from their fundamental. Contrast is between "
        "the middles of bars and spaces, by Coltman's series of the odd harmonics, as a share of "
        f"the bars' own depth; 1 is sharp. Samples were {found.plane.light}. How sharp the target "
        "itself is, is in all figures. ± is one standard deviation; where harmonics lie above half "
        "a cycle a pixel, the contrast is certain to 0.05 only."
    )
    if all(each.resolved for each in found.sets):
        return paragraph(what, rest="  ")
    star = (
        f"* above {RESOLVED_CYC_PX:g} cycles/px the figures depend on how the bars happen to lie "
        "on the pixels."
    )
    return [*paragraph(what, rest="  "), *paragraph(star, rest="  ")]


def png(found: MeasuredBars) -> bytes:
    """Draw the groups of bars, one pair of axes a direction."""
    seen = [direction for direction in DIRECTIONS if found.along(direction)]
    figure, axes = new_figure(height_mm=95.0, columns=len(seen))
    for direction, place in zip(seen, axes[0], strict=True):
        _draw(place, found, found.along(direction))
        place.set_title(f"Light changes {direction}", fontsize=9)
    handles, labels = axes[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=8, frameon=False)
    figure.suptitle(found.plane.name, fontsize=9)
    return png_bytes(figure)


def _draw(axes: "Axes", found: MeasuredBars, sets: tuple[MeasuredSet, ...]) -> None:
    on_target = all(each.frequency_lp_mm is not None for each in sets)
    seen = [each for each in sets if each.figures is not None]
    for index, name in enumerate(("contrast", "mtf")):
        measured = [getattr(each.figures, name) for each in seen]
        axes.errorbar(
            [_frequency(each, on_target=on_target) for each in seen],
            [each.value for each in measured],
            yerr=[_BAND * each.sd for each in measured],
            fmt=MARKS[index],
            markersize=4,
            color=COLOURS[index],
            label=f"{'MTF' if name == 'mtf' else name}, ± {_BAND:g} standard deviations",
        )
        expected = [(each, getattr(each, f"expected_{name}")) for each in sets]
        known = [(each, value) for each, value in expected if value is not None]
        if known:
            axes.plot(
                [_frequency(each, on_target=on_target) for each, _ in known],
                [value for _, value in known],
                color=COLOURS[index],
                linestyle=("-", "--")[index],
                label="MTF, closed form" if name == "mtf" else "contrast by Coltman, closed form",
            )
    axes.axhline(found.contrast, color=INK, linewidth=1.0, linestyle=":", label="contrast wanted")
    nyquist = _NYQUIST_CYC_PX * _scale(sets[0], on_target=on_target)
    axes.axvline(nyquist, color=INK, linewidth=1.0, linestyle=(0, (2, 2)), label="Nyquist")
    axes.set_xlim(0.0, 1.04 * nyquist)
    axes.set_ylim(0.0, 1.05)
    axes.set_xlabel("frequency [lp/mm on the target]" if on_target else "frequency [cycles/px]")
    axes.set_ylabel("share of sharp bars")


def _scale(each: MeasuredSet, *, on_target: bool) -> float:
    return 1000.0 / each.pitch_um if on_target and each.pitch_um is not None else 1.0


def _frequency(each: MeasuredSet, *, on_target: bool) -> float:
    return each.frequency_cyc_px * _scale(each, on_target=on_target)
