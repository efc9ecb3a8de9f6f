"""
Figures measured on rendered images at the points of a range: one task a point.

How each figure is measured, and how well, is in `linesim.studies.vary.readings`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np

from linesim.forward.device.choice import chosen, dealt
from linesim.forward.station import Station, station
from linesim.metrics.flat.noise import Estimate
from linesim.setup.arguments import checked_seed
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies.batch.along import Along, Place
from linesim.studies.vary.readings import MEASURES, Run
from linesim.studies.vary.study import Varied
from linesim.workers.tasks import Alone, Progress, Runner, in_order

MOST_POINTS = 200
"""Points of all binnings that are rendered; our choice."""
_SIGMAS = 5.0
"""Noise between white and the limit below which clipping is no matter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One figure measured at one point."""

    title: str
    place: Place  # one value of each range, in the unit of a checked setup
    figure: str
    estimate: Estimate  # what was measured, and its standard error
    # whether white comes within five times its noise of a limit, so that samples clip and the
    # linear model of the closed form does not hold
    clipped: bool
    device: str | None = None  # what made the images, as torch names it; None for numpy


@dataclass(frozen=True, slots=True, kw_only=True)
class _Point:
    """One point to measure: what a worker is given."""

    title: str
    space: Along
    index: int
    figures: tuple[str, ...]
    run: Run


def rendered(
    found: Varied,
    seed: int = 0,
    *,
    runner: Runner | None = None,
    progress: Progress = lambda _done, _total: None,
    device: str | None = None,
) -> tuple[Seen, ...]:
    """
    Measure the figures of a study on rendered images, where an image lets them be read.

    Parameters
    ----------
    runner : Runner, optional; who measures; this process where left out. It changes no byte
    progress : callable; is told how many points are done, and of how many
    device : str, optional; what renders, as `linesim.scan` takes it

    Returns
    -------
    tuple of Seen; in the order of the points; a figure that cannot be read at a point is left out
    """
    seed = checked_seed(seed)
    places = [(curve, index) for curve in found.curves for index in range(curve.space.count)]
    figures = tuple(name for name in found.shown_figures if name in MEASURES)
    _refuse(found, len(places), figures)
    on = chosen(device, points_of(found) if device else ()).device
    run_by = runner or Alone()
    points = [
        _Point(
            title=curve.title,
            space=curve.space,
            index=index,
            figures=figures,
            run=Run(seed + count, run_by.threads, dealt(on, count)),
        )
        for count, (curve, index) in enumerate(places)
    ]
    return tuple(chain(*in_order(run_by, _at, points, progress)))


def points_of(found: Varied) -> Iterator[Setup]:
    """Give the stations of a study."""
    for curve in found.curves:
        yield from map(curve.space.setup, range(curve.space.count))


def _refuse(found: Varied, points: int, figures: tuple[str, ...]) -> None:
    if len(found.ranges) > 1:
        refuse(
            "render: read two ranges, but rendered points are drawn along one; expected one range"
        )
    if points > MOST_POINTS:
        refuse(f"render: read {points} points; expected at most {MOST_POINTS}, as each is rendered")
    if not figures:
        names = ", ".join(MEASURES)
        refuse(f"render: read no figure that an image can give; expected --figures with {names}")


def _at(point: _Point) -> list[Seen]:
    """Measure the figures of one point."""
    setup, place = point.space.setup(point.index), point.space.places[point.index]
    numbers = station(setup)
    clipped = _clips(numbers)
    measures = dict.fromkeys(MEASURES[name] for name in point.figures)
    return [
        Seen(
            title=point.title,
            place=place,
            figure=name,
            estimate=estimate,
            clipped=clipped,
            device=point.run.device,
        )
        for measure in measures
        for name, estimate in measure(setup, numbers, point.run).items()
        if name in point.figures and np.isfinite([estimate.value, estimate.sd]).all()
    ]


def _clips(numbers: Station) -> bool:
    """Tell whether white comes so near to a limit that samples clip."""
    white_e = np.asarray(numbers.electrons_white + numbers.dark_e)
    reach_e = white_e + _SIGMAS * np.hypot(
        numbers.noise_e(numbers.electrons_white), numbers.pattern_e(numbers.electrons_white)
    )
    return bool(np.any(reach_e > numbers.saturation_e))
