"""What to give up where nothing meets all: one demand alone, or all that one station misses."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from linesim.figures.demands import Demand
from linesim.figures.verdicts import Verdict
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.batch.figures import COSTLY
from linesim.studies.design.candidates import finest_um
from linesim.studies.design.catalogue import round_up, rounded
from linesim.studies.design.job import Job
from linesim.studies.design.search import Options

SPEED = ("line_rate", "link", "exposure", "pulse_rate")
"""Demands that a slower line meets."""
_FEWEST_TIMES = 1.01
_MOST_TIMES = 10.0
"""Given up by more, it is another job."""
Judge = Callable[[int], tuple[Verdict, ...]]
"""Gives the verdicts of an option's own budget."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxed:
    """One demand that, given up so far, lets a station meet the rest."""

    demand: Demand
    reached: float  # what the best of the rest reaches, in the demand's unit

    @property
    def times(self) -> float:
        """Over what is asked, or under it: by which factor it is given up."""
        ratio = self.reached / self.demand.wanted if self.demand.wanted else np.inf
        return float(ratio if self.demand.low_is_good else 1 / ratio if ratio else np.inf)


def alone(job: Job, found: Options, judge: Judge) -> tuple[Relaxed, ...]:
    """Name each demand that stands alone in the way, the least given up first."""
    rows = []
    for each in found.asked:
        others = [margin for name, margin in found.margins.items() if name != each.requirement]
        left = np.flatnonzero(np.min(np.stack(others), axis=0) >= 0)
        if left.size:
            index = int(left[found.margins[each.requirement][left].argmax()])
            rows.append(Relaxed(demand=each, reached=_reached(found, each, index, judge)))
    return tuple(sorted((row for row in rows if _sane(job, row)), key=lambda row: row.times))


def nearest(job: Job, found: Options, judge: Judge) -> tuple[Relaxed, ...]:
    """Name all that the station misses that comes nearest; nothing where none is near."""
    index = int(found.least.argmax())
    rows = [
        Relaxed(demand=each, reached=_reached(found, each, index, judge))
        for each in found.asked
        if found.margins[each.requirement][index] < 0
    ]
    return tuple(rows) if all(_sane(job, row) for row in rows) else ()


def _reached(found: Options, demand: Demand, index: int, judge: Judge) -> float:
    """Give what an option reaches of a demand, detection as its own budget has it."""
    if demand.group != COSTLY:
        return float(found.got[demand.requirement][index])
    return next(each.got for each in judge(index) if each.requirement == demand.requirement)


def _sane(job: Job, row: Relaxed) -> bool:
    """Whether a demand is missed, and can be given up so far."""
    if row.demand.requirement == "clipping":
        product = job.base.requirement.product_reflectance
        darkest = product if isinstance(product, float) else np.inf
        return row.times > 1 and white_to(job, row) >= darkest
    return bool(1 < row.times <= _MOST_TIMES)


def white_to(job: Job, row: Relaxed) -> float:
    """Give the brightest that may pass without clipping, as a reflectance."""
    return rounded(job.base.target.white_reflectance / row.reached / _FEWEST_TIMES, 2, up=False)


def relaxed_to(row: Relaxed) -> float:
    """Round what is reached to the safe side, to a number that people would type."""
    if row.demand.figure == "cameras":
        return row.reached
    if row.demand.low_is_good:
        return round_up(row.reached * _FEWEST_TIMES)
    return rounded(row.reached / _FEWEST_TIMES, 2, up=False)


def slower_mm_s(job: Job, row: Relaxed) -> float:
    """Give the speed at which a rate is met, two digits in metres a minute. [mm/s]."""
    most_m_min = 0.06 * job.speeds_mm_s[1] / row.reached / _FEWEST_TIMES
    return rounded(most_m_min, 2, up=False) / 0.06


def eased(job: Job, row: Relaxed) -> Job:
    """Give the job with a demand given up so far as is said."""
    name = row.demand.requirement
    if name in SPEED:
        fastest = slower_mm_s(job, row)
        return replace(job, speeds_mm_s=(min(job.speeds_mm_s[0], fastest), fastest))
    if any(each.requirement == name for each in job.limits):
        limits = (
            replace(each, wanted=relaxed_to(row)) if each.requirement == name else each
            for each in job.limits
        )
        return replace(job, limits=tuple(limits))
    return replace(job, base=_with(job, row))


def _with(job: Job, row: Relaxed) -> Setup:
    name, figure = row.demand.requirement, relaxed_to(row)
    if name == "clipping":
        return changed(job.base, {"target.white_reflectance": white_to(job, row)})
    if name != "smallest_defect":
        return changed(job.base, {f"requirement.{name}": figure})
    if job.base.requirement.defect_relief is None:
        return changed(job.base, {"requirement.smallest_defect": f"{figure:g} um"})
    relief = job.base.texts["requirement"]["defect_relief"]
    return changed(job.base, {"requirement.defect_relief": {**relief, "width": f"{figure:g} um"}})


def too_fine(job: Job) -> Relaxed | None:
    """Say which defect the cameras put enough object pixels on, where this one is too small."""
    defect_um, finest = job.base.smallest_defect_um, job.pixels_on_defect * finest_um(job)
    if defect_um is None or finest <= defect_um * (1 + 1e-9):
        return None
    demand = Demand(
        requirement="smallest_defect",
        group=COSTLY,
        figure="smallest_detectable_um",
        wanted=defect_um,
        low_is_good=True,
    )
    return Relaxed(demand=demand, reached=finest)


def by_speed(found: Options) -> Iterator[Relaxed]:
    """Offer a slower line, which also has more time to expose: the least that rates ask for."""
    rates = [each for each in found.asked if each.requirement in SPEED]
    got = np.stack([found.got[each.requirement] for each in rates])
    worst = np.where(np.isfinite(got).all(axis=0), got.max(axis=0), np.inf)
    for times in sorted({float(worst.min()), 2.0, 4.0, 8.0}):
        if 1 < times <= _MOST_TIMES:
            yield Relaxed(demand=replace(rates[0], requirement="line_rate"), reached=times)
