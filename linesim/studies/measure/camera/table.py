"""A measured camera for the console: figures with intervals, and by which definition."""

from collections.abc import Iterator

from linesim.metrics.interval import Interval
from linesim.report.console import paragraph, paragraphs
from linesim.setup.shown import visible
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.lines import caution_lines

_LABEL_WIDTH = 26
_VALUE_WIDTH = 24
_DIGITS = 2
_MOST_PLACES = 12
_PERCENT = 100.0

_Row = tuple[str, str, str]
_RULES = {
    "share": "the last step at which no more than 0.2 % of the samples are at the top of the scale "
    "(Release 4.0)",
    "variance": "the peak of the temporal variance, as in Release 3, for no step has 0.2 % of its "
    "samples at the top of the scale",
    "end": "not reached; the brightest step stands for it",
}


def text(found: MeasuredCamera) -> str:
    """Lay a measured camera out for the console."""
    frames, (lines, columns) = found.frames, found.frames.shape
    count = sum(len(seen.group.rows) for seen in frames.seen)
    head = (
        f"{visible(found.name)}: {count} frames of {lines} lines x {columns} pixels, "
        f"{frames.word.bit_depth} bit; steps of light: {len(found.steps)}, exposures in the dark: "
        f"{len(found.darks)}"
    )
    groups = {
        "photon transfer": _transfer(found),
        "in the dark": _dark(found),
        "range": _range(found),
        "linearity": _linearity(found),
        "fixed pattern": _pattern(found),
    }
    shown = ["camera by EMVA 1288 Release 4.0 Linear", *paragraph(head, rest=" " * 4)]
    for name, rows in groups.items():
        shown += ["", f"{name:<{_LABEL_WIDTH + _VALUE_WIDTH + 2}}95 % interval", *map(_line, rows)]
    shown += ["", "how the figures are meant", *paragraphs(_meanings(found))]
    return "\n".join([*shown, *caution_lines(found.cautions)])


def _line(row: _Row) -> str:
    label, value, ends = row
    return f"  {label:<{_LABEL_WIDTH}}{value:<{_VALUE_WIDTH}}{ends}".rstrip()


def spoken(figure: Interval, unit: str = "") -> tuple[str, str]:
    """Write a figure and its ends to the place that the interval leaves certain."""
    half = (figure.high - figure.low) / 2
    if not half > 0:
        return f"{figure.value:.6g} {unit}".rstrip(), ""
    exponent = int(f"{half:.{_DIGITS - 1}e}".partition("e")[2])
    places = min(_DIGITS - 1 - exponent, _MOST_PLACES)
    value, low, high = (
        f"{round(each, places):.{max(0, places)}f}"
        for each in (figure.value, figure.low, figure.high)
    )
    return f"{value} {unit}".rstrip(), f"{low} to {high}"


def _row(label: str, figure: Interval, unit: str = "") -> _Row:
    value, ends = spoken(figure, unit)
    return label, value, ends


def _transfer(found: MeasuredCamera) -> Iterator[_Row]:
    figures, known = found.transfer.figures, found.known
    yield _row("system gain K", figures["gain_dn_e"], "DN/e")
    if found.light is None:
        return
    yield _row("responsivity R", figures["responsivity_dn"], "DN/photon")
    at = "" if known.wavelength_nm is None else f" at {known.wavelength_nm:g} nm"
    yield _row(f"efficiency{at}", figures["efficiency"].times(_PERCENT), "%")


def _dark(found: MeasuredCamera) -> Iterator[_Row]:
    figures = found.transfer.figures
    most = "at most " if found.transfer.dark_noise_is_limit else ""
    label, value, ends = _row("dark noise", figures["dark_noise_e"], "e")
    yield label, f"{most}{value}", ends
    yield _row("", figures["dark_noise_dn"], "DN")
    if found.dark_current_e_s is not None:
        yield _row("  at exposure 0", figures["read_noise_e"], "e")
        yield _row("dark current, by mean", figures["dark_current_mean_e_s"], "e/s")
        yield _row("  by variance", figures["dark_current_variance_e_s"], "e/s")
        yield "", "they agree" if found.dark_currents_agree else "they DIFFER", ""
    yield _row("black level", figures["black_level_dn"], "DN")


def _range(found: MeasuredCamera) -> Iterator[_Row]:
    figures = found.transfer.figures
    least = "at least " if found.transfer.saturation.rule == "end" else ""
    for label, name, unit in (
        ("saturation capacity", "saturation_e", "e"),
        ("largest SNR", "snr_max", ""),
        ("", "snr_max_db", "dB"),
        ("dynamic range", "dynamic_range", ""),
        ("", "dynamic_range_db", "dB"),
    ):
        _, value, ends = _row(label, figures[name], unit)
        yield label, f"{least}{value}", ends
    yield _row("sensitivity threshold", figures["threshold_e"], "e")
    if found.light is not None:
        yield _row("", figures["threshold_light"], "photons")


def _linearity(found: MeasuredCamera) -> Iterator[_Row]:
    line = found.linearity
    if line is None:
        yield "linearity error", "fewer than 3 steps from 5 to 95 % of saturation", ""
        return
    yield _row("linearity error", line.linearity_error.times(_PERCENT), "%")
    low, high = (_PERCENT * each for each in (line.lowest_deviation, line.highest_deviation))
    yield "furthest off", f"{low:+.2g} % and {high:+.2g} %", ""


def _pattern(found: MeasuredCamera) -> Iterator[_Row]:
    for label, parts, unit, factor in (
        ("DSNU", found.dsnu_e, "e", 1.0),
        ("PRNU", found.prnu, "%", _PERCENT),
    ):
        for part, figure in (
            (label, parts.total),
            ("  columns", parts.column),
            ("  lines, in time", parts.row),
            ("  neither", parts.pixel),
        ):
            yield _row(part, figure.times(factor), unit)


def _meanings(found: MeasuredCamera) -> Iterator[str]:
    transfer, figures = found.transfer, found.transfer.figures
    free = figures.get("gain_free_offset_dn_e")
    other = (
        "" if free is None else f"; with a free offset, as Release 4.0 words it, {free.value:.5g}"
    )
    yield (
        f"K: slope of temporal variance over mean, both less their dark, a line through 0 over "
        f"{transfer.fitted} step{'s' * (transfer.fitted > 1)} up to 70 % of saturation{other}."
    )
    yield f"saturation: {_RULES[transfer.saturation.rule]}.{_both(found)}{_next_step(found)}"
    yield (
        "threshold: SNR 1 by Release 4.0, with the shot noise of the threshold itself; by the form "
        f"of Release 3 {figures['threshold_release_3_e'].value:.5g} e."
    )
    yield (
        "linearity: the line over 5 to 95 % of saturation that makes relative deviations least; "
        "the error is the mean of their sizes."
    )
    half_dn = found.series.signal_dn[found.half]
    yield (
        f"pattern: DSNU at {found.darks[found.series.shortest].group.exposure_us:g} us; PRNU at "
        f"{half_dn:.4g} DN above dark, light that falls off to the sides included. Lines of a line "
        "camera are time, so its own pattern is that of the columns."
    )
    yield (
        "intervals: 95 %, of another look at the same camera (temporal noise alone). Errors of the "
        "light meter and a lamp that drifts are not in them."
    )


def _both(found: MeasuredCamera) -> str:
    where, light = found.transfer.saturation, found.series.light
    if where.by_variance is None or where.rule != "share" or where.by_variance == where.step:
        return ""
    variance_e = found.transfer.figures["efficiency"].value * light[where.by_variance]
    return f" By the peak of the temporal variance it is {variance_e:.5g} e."


def _next_step(found: MeasuredCamera) -> str:
    step, light = found.transfer.saturation.step, found.series.light
    if step + 1 >= light.size:
        return ""
    more = light[step + 1] / light[step] - 1
    return (
        f" The next step is {100 * more:.1f} % brighter; the truth may be up to that much higher."
    )
