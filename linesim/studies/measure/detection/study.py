"""
Detection measured: many defects put on good product, rendered, and searched as a machine would.

Each place of a lattice holds one disc, at its own phase to the samples; phases are spread evenly.
Two searches look at every place. The filter that knows the place takes the defect's own signal
without noise for its template: its output with and without a defect gives d' and the area under the
ROC curve. The bank of `linesim.metrics.detection.search` knows 4 x 4 places inside a sample and
looks at all samples around: the share of its peaks over the told threshold is the rate at which
defects are found. Both learn the level of product and columns from 256 lines of good product that
run ahead.

The line is taken as it is in its middle: lamp and lens fall off nowhere.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
import scipy

from linesim.figures.detection import Search, search
from linesim.forward.device.choice import chosen
from linesim.forward.device.scans import Renders, render_by
from linesim.forward.reference import ArrayReference
from linesim.forward.station import station
from linesim.metrics.detection.ground import LEARNT_LINES
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.setup.lights import evenly_lit
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.measure.detection.lattice import Lattice, lattice, painted, phases_of, textured
from linesim.studies.measure.detection.trial import (
    PEAKS,
    Channel,
    bank_e,
    channel_of,
    lit,
    reach_um,
    searched,
    seen_e,
)
from linesim.targets.load import target_size

PLACES = 1000
"""Of the defect on the pixel grid."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Injection:
    """What a search gives with defects and without, in one channel."""

    # shape (n,); outputs of the filter that knows the place, in standard deviations that the closed
    # form gives its noise
    with_defect: FloatArray
    without: FloatArray
    best: FloatArray  # shape (n,); largest outputs of the bank around each defect
    # shape (places,); detectability at each place, from its noise-free signal
    each_dprime: FloatArray
    closed_dprime: float  # detectability by the closed form, for all places
    # of the search at the false alarms allowed, and the share found, by the closed form
    threshold: float
    closed_rate: float
    peaks: float  # peaks of noise over a lower threshold on good product, and by the closed form
    closed_peaks: float

    @property
    def found_rate(self) -> float:
        """Share of the defects that the bank finds."""
        return float(np.mean(self.best > self.threshold))

    @property
    def found_rate_sd(self) -> float:
        """Its standard error, from the rate that is told."""
        rate = min(max(self.closed_rate, 1 / len(self.best)), 1 - 1 / len(self.best))
        return float(np.sqrt(rate * (1 - rate) / len(self.best)))

    @property
    def roc_area(self) -> float:
        """Area under the ROC curve: the share of pairs that are in the right order."""
        n, m = len(self.with_defect), len(self.without)

        ranks = scipy.stats.rankdata(np.concatenate([self.with_defect, self.without]))[:n]
        return float((ranks.sum() - n * (n + 1) / 2) / (n * m))

    @property
    def roc_area_sd(self) -> float:
        """Standard error of the area (Hanley and McNeil 1982, for rating that is Gaussian)."""
        area, n, m = self.roc_area, len(self.with_defect), len(self.without)
        both = area / (2 - area) - area**2
        one = 2 * area**2 / (1 + area) - area**2
        spread = area * (1 - area) + (n - 1) * both + (m - 1) * one
        return float(np.sqrt(spread / (n * m)))

    @property
    def expected_roc_area(self) -> float:
        """Mean of Φ(d'/√2) over the places."""
        return float(scipy.special.ndtr(self.each_dprime / np.sqrt(2)).mean())

    @property
    def dprime(self) -> float:
        """Measured separation, over the spread measured with and without."""
        spread = (self.with_defect.var(ddof=1) + self.without.var(ddof=1)) / 2
        # places of unlike d' widen the outputs with a defect by just as much
        spread -= self.each_dprime.var() / 2
        return float((self.with_defect.mean() - self.without.mean()) / np.sqrt(spread))

    @property
    def dprime_sd(self) -> float:
        """Its standard error: of both means, and of the spread."""
        n, m = len(self.with_defect), len(self.without)
        return float(np.sqrt(1 / n + 1 / m + self.dprime**2 / (2 * (n + m))))

    def rates(self, thresholds: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares of false alarms and of defects found at some thresholds: the ROC curve."""
        found = np.sort(self.with_defect), np.sort(self.without)
        hit, false = (1 - np.searchsorted(each, thresholds) / len(each) for each in found)
        return false, hit


def inject(
    setup: Setup,
    count: int,
    seed: int = 0,
    *,
    places: int = PLACES,
    workers: int | None = None,
    device: str | None = None,
) -> tuple[Injection, ...]:
    """
    Put many of a setup's smallest defects on good product, render, and search them.

    Parameters
    ----------
    setup : Setup; a station whose requirement names a round smallest defect
    count : int; defects, at least; as many places without
    places : int; of the defect on the pixel grid, at least
    workers : int, optional; threads; they change no byte
    device : str, optional; what renders, as `linesim.scan` takes it

    Returns
    -------
    tuple of Injection; outputs of the search, one a channel

    Raises
    ------
    InputError
        Where the setup has no such defect, it does not fit, or the product clips, or the device is
        not there or does not carry the setup.
    """
    size_um = _defect_um(setup)
    wanted = search(setup, target_size(setup))
    even = evened(setup)
    by = partial(render_by(chosen(device, [even]).device), workers=workers)
    numbers = station(even)
    around_um = reach_um(wanted)
    layout = lattice(numbers, size_um, phases_of(places), ahead=LEARNT_LINES, reach_um=around_um)
    clean = [
        painted(numbers, layout, size_um, contrast) for contrast in (float(wanted.contrast), 0.0)
    ]
    plain = [lit(wanted, each) for each in clean]
    targets = plain if wanted.texture is None else clean
    rendered = [seen_e(even, each, layout.lines, by) for each in plain]
    taken_e = bank_e(even, wanted, size_um, around_um, by)
    trial = [
        channel_of(numbers, wanted, size_um, (index, layout), rendered, taken_e)
        for index in range(rendered[0].shape[2])
    ]
    rounds = -(-count // layout.centres_um.shape[0])
    found = list(_rounds(even, wanted, layout, targets, trial, (rounds, seed, by)))
    return tuple(
        Injection(
            with_defect=np.concatenate([each[index][0] for each in found]),
            without=np.concatenate([each[index][1] for each in found]),
            best=np.concatenate([each[index][2] for each in found]),
            each_dprime=channel.own.dprime,
            closed_dprime=channel.closed["closed_dprime"],
            threshold=channel.closed["threshold"],
            closed_rate=channel.closed["closed_rate"],
            peaks=found[0][index][3][0],
            closed_peaks=PEAKS * found[0][index][3][1],
        )
        for index, channel in enumerate(trial)
    )


def evened(setup: Setup) -> Setup:
    """Take the line as it is in its middle."""
    return changed(
        setup,
        {
            "light.edge_falloff": 0.0,
            "lens.focal_length": None,
            "transport.flutter": "0 mm",
            "acquisition.trigger_delay": None,
            **evenly_lit(setup),
        },
    )


def _rounds(
    setup: Setup,
    wanted: Search,
    layout: Lattice,
    targets: list[ArrayReference],
    trial: list[Channel],
    run: tuple[int, int, Renders],
) -> Iterator[list[tuple[FloatArray, FloatArray, FloatArray, tuple[int, int]]]]:
    """Render with defects and without, one camera a round, and search each channel."""
    rounds, seed, render = run
    for turn in range(rounds):
        # both sides share each camera, so that its streaks shift neither against the other
        varied = changed(setup, {"camera.pattern_seed": setup.camera.pattern_seed + turn})
        images = []
        for side, clean in enumerate(targets):
            own = seed + 1 + 2 * turn + side
            texture = wanted.texture
            drawn = clean if texture is None else lit(wanted, textured(clean, texture, own))
            image = render(varied, drawn, layout.lines, own).image
            images.append(np.atleast_3d(image))
        yield [searched(each, layout, images, index, turn) for index, each in enumerate(trial)]


def _defect_um(setup: Setup) -> float:
    need = setup.requirement
    if need.defect_relief is not None:
        refuse(
            f"requirement.defect_relief: read a {need.defect_relief.kind}, but only flat discs are "
            "injected; expected smallest_defect in its place"
        )
    if need.smallest_defect_um is None or need.defect_shape != "disc":
        size_um = need.smallest_defect_um
        found = f'{size_um} um, "{need.defect_shape}"' if size_um is not None else "nothing"
        refuse(
            f"requirement.smallest_defect: read {found}"
            '; expected a size such as "300 um" and the shape "disc" to inject defects'
        )
    return need.smallest_defect_um
