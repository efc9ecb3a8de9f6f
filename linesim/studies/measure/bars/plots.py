"""The plot of groups of bars: contrast and response by frequency, beside the closed forms."""

from typing import TYPE_CHECKING

from linesim.report.plots import COLOURS, INK, MARKS, new_figure, png_bytes
from linesim.studies.measure.bars.group import MeasuredSet
from linesim.studies.measure.bars.study import DIRECTIONS, MeasuredBars

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_BAND = 2.0  # standard deviations
_NYQUIST_CYC_PX = 0.5


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
