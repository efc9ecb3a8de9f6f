"""
Single groups of three bars in any image, each in a region that the user names.

The ground is a straight line through the region's ends. Light that blur spreads further than the
region, as diffraction does a little of, is not missed there: the response reads higher by that
share, 0.02 at f/4 for bars of 7 px. A setup, which knows where there is nothing but ground, does
not lose it.
"""

import numpy as np

from linesim.metrics.bars.figures import bar_figures
from linesim.metrics.bars.find import find_bars
from linesim.metrics.edge.line import find_direction
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.studies.measure.bars.group import MeasuredSet
from linesim.studies.measure.sharpness_input import Direction, Plane

_FEWEST_PX = 3


def captured_set(
    plane: Plane,
    region: Region,
    direction: Direction | None,
    pixel_pitch_um: tuple[float, float] | None,
) -> MeasuredSet:
    """Measure three bars in a region, and find how wide they are."""
    values = region.cut(plane.values).astype(np.float64)
    if min(values.shape) < _FEWEST_PX:
        msg = f"--region: {region} read; expected {_FEWEST_PX} px or more each way"
        raise InputError(msg)
    alternates = direction or find_direction(values, (1.0, 1.0))
    view = values if alternates == "across" else values.T
    profile = view.mean(axis=0)
    try:
        found = find_bars(profile)
    except InputError as refusal:
        msg = f"--region {region}: {refusal}"
        raise InputError(msg) from None
    figures = bar_figures(
        found.ground - profile,
        centre_px=found.centre_px,
        bar_px=found.bar_px,
        noise=max(_noise(view), found.noise),
    )
    return MeasuredSet(
        name=f"region {region}",
        alternates=alternates,
        frequency_cyc_px=0.5 / found.bar_px,
        pitch_um=None
        if pixel_pitch_um is None
        else pixel_pitch_um[0 if alternates == "across" else 1],
        figures=figures,
    )


def _noise(view: FloatArray) -> float:
    """Noise of one value of the mean along the bars; the bars' ends are no noise."""
    change = np.diff(view, axis=0)
    spread = 1.4826 * float(np.median(np.abs(change - np.median(change)))) / np.sqrt(2)
    return float(spread / np.sqrt(view.shape[0]))
