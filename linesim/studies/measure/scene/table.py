"""What an image of anything tells, for the console."""

from collections.abc import Callable

import numpy as np

from linesim.metrics.scene.directional import Directional
from linesim.metrics.scene.figures import Scene
from linesim.studies.measure.lines import caution_lines, channel_lines, plus_minus
from linesim.studies.measure.scene.study import MeasuredScene

_LIMITS = (
    "noise and SNR: read off the smoothest tenth of the blocks of 16 x 16; fine texture counts as",
    "  noise, so noise is at most, SNR at least so much. Fixed columns and lines do not count.",
    "sharpness: amplitude of detail at 0.2 to 0.4 cycles/px, noise taken off. Under 1 it shows",
    "  motion blur only where the target has no direction of its own; a line exposed for its whole",
    "  period has one pixel of it by nature, some 0.9.",
)


def text(found: MeasuredScene) -> str:
    """Lay the figures of an image of anything out for the console."""

    def ratio(each: Scene) -> str:
        low, middle, high = np.percentile(each.snr_map, (10, 50, 90))
        return (
            f"at least {middle:.3g} in half of the blocks; {low:.3g} to {high:.3g} in 10 to 90 % "
            f"(above {found.black})"
        )

    rows: tuple[tuple[str, Callable[[Scene], str]], ...] = (
        ("levels", _levels),
        ("scale used", _range),
        ("noise", _noise),
        ("SNR", ratio),
        ("sharpness along/across", _sharpness),
        ("detail above noise", _detail),
    )
    return "\n".join(
        [
            *channel_lines("scene", (found.area,), found.channels, rows),
            "",
            *(f"  {line}" for line in _LIMITS),
            *caution_lines(found.cautions),
        ]
    )


def _levels(each: Scene) -> str:
    low, median, high = each.levels.percentiles_dn[[1, 4, 7]]
    return f"{low:.0f} / {median:.0f} / {high:.0f} DN (1, 50, 99 % of the samples)"


def _range(each: Scene) -> str:
    found = each.levels
    return (
        f"{found.range_used:.1%} (0.1 to 99.9 %); {found.share_at_zero:.3%} of the samples at 0, "
        f"{found.share_at_full_scale:.3%} at full scale"
    )


def _noise(each: Scene) -> str:
    curve = each.noise
    low, high = (f"{curve.noise_dn[k]:.3g} DN at {curve.level_dn[k]:.4g} DN" for k in (0, -1))
    over = f"; from {low} to {high}" if curve.level_dn.size > 1 else ""
    return f"at most {each.noise_median_dn:.3g} DN at median brightness{over}"


def _sharpness(each: Scene) -> str:
    ratio, blur = each.detail.ratio, each.detail.blur_px
    if ratio is None:
        return ""
    like = "" if blur is None else f", as {plus_minus(blur)} px of motion blur would make it"
    return f"{plus_minus(ratio)}{like}"


def _detail(each: Scene) -> str:
    found = each.detail
    reach = [_reach(found.detail_x_cyc_px, found), _reach(found.detail_y_cyc_px, found)]
    return f"{reach[0]} across, {reach[1]} along"


def _reach(last_cyc_px: float, found: Directional) -> str:
    if last_cyc_px == 0:
        return f"none from {found.frequency_cyc_px[0]:.3g} cycles/px on"
    return f"up to {last_cyc_px:.2f} cycles/px"
