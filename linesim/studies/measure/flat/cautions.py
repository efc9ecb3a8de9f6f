"""What makes figures from an even area mean something else: it is not even, dim, or too small."""

from collections.abc import Iterator

from linesim.figures.cautions import Caution
from linesim.forward.conversion import ROUNDING_DN
from linesim.metrics.flat.area import FlatArea
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.signal_noise import SignalNoise
from linesim.studies.measure.areas import of_channel

# Our choices: from here on the figure named is off by more than a reader would accept unwarned.
_SHADING_SHARE = 0.02
_DRIFT_SHARE = 0.02
_LINE_SHARE = 0.02
_ALIKE = 0.05
_CHANGED_SHARE = 0.01
# A chance of 6 in 10 million a side, were there nothing.
_SIGMA = 5.0
# EMVA 1288 R4.0 RC (March 2021): 100 lines make an image, section 5; rounding is noise of its own
# from 0.4 DN on, C.4.
_LINES = 100


def flat_cautions(found: SignalNoise, channel: str, lines: int) -> Iterator[Caution]:
    """Name what speaks against the figures of one channel."""
    return of_channel(channel, _unlike_flat(found, lines))


def _unlike_flat(found: SignalNoise, lines: int) -> Iterator[tuple[str, str]]:
    area, signal_dn = found.lit, found.signal_dn.value
    if not signal_dn > 0:
        text = (
            f"The mean, {area.mean_dn.value:.4g} DN, does not lie above black, "
            f"{found.black_dn.value:.4g} DN: there is no signal to compare the noise with."
        )
        yield "no_signal", text
    elif area.shading_dn > _SHADING_SHARE * signal_dn and _is_trend(area):
        text = (
            f"The level changes by {area.shading_dn / signal_dn:.1%} of the signal across the "
            "area, smoothly: the column pattern and the total hold that too. Take a narrower "
            "region, or look at the whole line with measure uniformity."
        )
        yield "shading", text
    yield from _in_time(area)
    yield from _alike(area)
    if found.temporal_noise_dn.value < ROUNDING_DN:
        text = (
            f"The noise, {found.temporal_noise_dn.value:.2g} DN, is below 0.4 DN, where "
            "rounding hides part of it or makes it up (EMVA 1288): it is known no better."
        )
        yield "quantisation", text
    if lines < _LINES:
        yield "few_lines", f"{lines} lines are few; EMVA 1288 asks for 100 or more."


def _is_trend(area: FlatArea) -> bool:
    """Say whether the columns' trend is more than their differences give by chance."""
    return area.column_dn2.value > area.pattern_dn2.value + _SIGMA * area.pattern_dn2.sd


def _in_time(area: FlatArea) -> Iterator[tuple[str, str]]:
    whole = area.temporal_dn2.value
    if area.images == 1 and area.drift_dn2 > _DRIFT_SHARE * whole:
        text = (
            f"The level drifts by {area.drift_dn:.3g} DN along travel, which counts as noise "
            "here. A shorter region shows less of it."
        )
        yield "drift", text
    line: Estimate = area.line_dn2
    if line.value > _SIGMA * line.sd and line.value > _LINE_SHARE * whole:
        text = (
            f"Whole lines vary together by {line.root().value:.3g} DN: light that flickers, "
            "exposures that differ, or a target that is not even along travel. It is part of "
            f"the noise in time; without it that is {area.pixel_dn2.root().value:.4g} DN."
        )
        yield "line_variation", text


def _alike(area: FlatArea) -> Iterator[tuple[str, str]]:
    least = max(_ALIKE, _SIGMA * area.correlation_sd)
    along, across = area.correlation_y, area.correlation_x
    if max(along, across) > least:
        text = (
            f"Neighbouring samples vary alike (correlation {along:.2f} along travel, "
            f"{across:.2f} across), which noise does not: the target has texture, or samples "
            "were interpolated. The noise is not the camera's alone; image a plain target, out "
            "of focus."
        )
        yield "texture", text
    elif min(along, across) < -least:
        text = (
            f"Neighbouring samples vary against each other (correlation {along:.2f} along "
            f"travel, {across:.2f} across): the image was sharpened, which lifts the noise."
        )
        yield "sharpened", text


def changed_light(means_dn: tuple[float, ...], signal_dn: float) -> Iterator[Caution]:
    """Say where images that should show the same light do not."""
    spread_dn = max(means_dn) - min(means_dn)
    if spread_dn > _CHANGED_SHARE * signal_dn > 0:
        yield Caution(
            "changed_light",
            f"From image to image the mean changes by {spread_dn / signal_dn:.1%}: the light "
            "was not the same. The change itself is taken off, but the noise of brighter light "
            "is not that of dimmer light.",
        )
