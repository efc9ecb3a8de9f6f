"""Where a series of exposures saturates, by EMVA 1288."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from linesim.metrics.camera.series import Series

MOST_AT_TOP = 0.002
"""Largest share of samples at the top that counts as not saturated: 0.1 to 0.2 %."""

Rule = Literal["share", "variance", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Saturation:
    """The step of light that stands for saturation."""

    step: int
    rule: Rule
    by_share: int | None
    by_variance: int | None


def saturation(series: Series) -> Saturation:
    """
    Find the saturation of a series; ValueError where even the dimmest step is saturated.

    Release 4.0 takes the exposure at which 0.1 to 0.2 % of the samples show the largest value: here
    the last step at which no more than 0.2 % do. Where a well fills below the end of the scale,
    hardly any sample gets there, and the peak of the temporal variance tells it, as in Release 3.
    EMVA 1288 R4.0 RC (March 2021), section 6.6.
    """
    last = series.light.size - 1
    by_share = _by_share(series)
    peak = int(np.argmax(series.lit.temporal_dn2))
    by_variance = peak if peak < last else None
    if by_share is not None:
        return Saturation(step=by_share, rule="share", by_share=by_share, by_variance=by_variance)
    rule: Rule = "end" if by_variance is None else "variance"
    return Saturation(step=peak, rule=rule, by_share=None, by_variance=by_variance)


def _by_share(series: Series) -> int | None:
    if series.share_at_top is None or not (series.share_at_top > MOST_AT_TOP).any():
        return None
    first = int(np.argmax(series.share_at_top > MOST_AT_TOP))
    if first == 0:
        msg = "even the dimmest step is saturated"
        raise ValueError(msg)
    return first - 1
