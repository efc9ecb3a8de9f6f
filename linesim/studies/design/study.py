"""From a job to a station: the least trouble that meets everything, other ways, what to give up."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import islice

import numpy as np

from linesim.figures.budget import Budget, budget
from linesim.figures.verdicts import Verdict
from linesim.forward.station import station
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.setup.speeds import BETWEEN
from linesim.studies.batch.figures import Progress, nobody
from linesim.studies.batch.station_arrays import Places
from linesim.studies.design.candidates import Candidate
from linesim.studies.design.catalogue import rounded
from linesim.studies.design.job import Job
from linesim.studies.design.relax import Relaxed, alone, by_speed, eased, nearest, too_fine
from linesim.studies.design.search import Options, options, speed_text

COUNTS_A_LINE = 4
"""Of the encoder, so that line rates can be set in quarters of an object pixel."""
_TRIES = 40
_REAL = 1.4
"""By how much another way must be better in what it is for, our choice."""
_WORTH = 4.0
"""Trouble that another way may make besides, our choice."""
_FINENESS = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """A station for the job."""

    name: str  # "best", or what it is better in: "less light", "more speed", "less data"
    candidate: Candidate
    setup: Setup  # as written, with all speeds of the job
    budget: Budget
    limits: tuple[Verdict, ...]

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """All verdicts: limits first."""
        return (*self.limits, *self.budget.verdicts)

    @property
    def met(self) -> bool:
        """Whether all is met."""
        return all(verdict.met for verdict in self.verdicts)

    @property
    def light_lx(self) -> float:
        """Illuminance at the target. [lx]."""
        spectrum = self.setup.light.spectrum
        return float(self.setup.irradiance_w_m2 * spectrum.efficacy_lm_w)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """What a job comes to."""

    job: Job
    # options judged, and of these met
    tried: int
    passing: int
    best: Proposal | None
    others: tuple[Proposal, ...] = ()
    # where nothing meets all: what alone to give up, the least first
    relaxed: tuple[Relaxed, ...] = ()
    together: tuple[Relaxed, ...] = ()  # where no one alone will do: all of these together


def design(job: Job, progress: Progress = nobody) -> Design:
    """Find a station for a job."""
    fine = too_fine(job)
    if fine is not None:
        return _coarser(job, fine, progress)
    found = options(job, progress)
    order = found.ordered()
    best = _first_met("best", job, found, order)
    passing = int((found.least >= 0).sum())
    if best is None:
        return _given_up(job, found, progress)
    others = tuple(_others(job, found, order, best))
    return Design(job=job, tried=found.space.count, passing=passing, best=best, others=others)


def _coarser(job: Job, fine: Relaxed, progress: Progress) -> Design:
    """Ask for what the cameras resolve, and for what else would have to be given up then."""
    rest = design(eased(job, fine), progress)
    if rest.best is not None:
        return Design(job=job, tried=rest.tried, passing=0, best=None, relaxed=(fine,))
    more = rest.relaxed[:1] or rest.together
    both = (fine, *more) if more else ()
    return Design(job=job, tried=rest.tried, passing=0, best=None, together=both)


def _given_up(job: Job, found: Options, progress: Progress) -> Design:
    """Find what to give up: a demand alone, speed, or all that the nearest station misses."""

    def judge(index: int) -> tuple[Verdict, ...]:
        return proposed("", job, found, index).budget.verdicts

    relaxed = alone(job, found, judge)
    if not relaxed:
        relaxed = tuple(islice(filter(partial(_does, job, progress), by_speed(found)), 1))
    together = () if relaxed else nearest(job, found, judge)
    return Design(
        job=job, tried=found.space.count, passing=0, best=None, relaxed=relaxed, together=together
    )


def _does(job: Job, progress: Progress, row: Relaxed) -> bool:
    """Whether a station does the job with a demand given up."""
    return bool(options(eased(job, row), progress).ordered().size)


def _first_met(name: str, job: Job, found: Options, order: Places) -> Proposal | None:
    """Give the first that its own budget, at both speeds, lets pass too."""
    for index in order[:_TRIES].tolist():
        proposal = proposed(name, job, found, index)
        if proposal.met:
            return proposal
    return None


def proposed(name: str, job: Job, found: Options, index: int) -> Proposal:
    """Write an option as a person would, and judge it as any station."""
    one = found.station(index)
    setup = _written(job, one, found.space.setup(index))
    judged = budget(setup)
    return Proposal(
        name=name,
        candidate=one,
        setup=setup,
        budget=judged,
        limits=tuple(_on_limits(job, one, setup, judged)),
    )


def _written(job: Job, one: Candidate, setup: Setup) -> Setup:
    """Start lines by an encoder, and expose alike at all speeds where there are several."""
    low, high = job.speeds_mm_s
    step_um = one.object_um / COUNTS_A_LINE
    changes: dict[str, object] = {
        "title": job.title,
        "target.pixel_size": f"{one.object_um / one.binning / _FINENESS:.4g} um",
        "target.repeat": True,
        "transport.trigger": "encoder",
        "transport.encoder_step": f"{step_um:.8g} um",
        "transport.encoder_divider": COUNTS_A_LINE,
    }
    if low < high:
        changes["transport.speed"] = f"{speed_text(low)}{BETWEEN}{speed_text(high)}"
        whole_us = float(np.min(station(setup).timing.exposure_us))
        changes["acquisition.exposure"] = f"{rounded(whole_us, 3, up=False):g} us"
    return changed(setup, changes)


def _on_limits(job: Job, one: Candidate, setup: Setup, found: Budget) -> Iterator[Verdict]:
    own = {
        "cameras": float(one.cameras),
        "sensor_length_mm": one.sensor_mm,
        "working_distance_mm": setup.working_distance_mm,
        "illuminance_lx": setup.irradiance_w_m2 * setup.light.spectrum.efficacy_lm_w,
    }
    for each in job.limits:
        got = own.get(each.figure)
        if got is None:
            value = found[each.group][each.figure]
            several = list(value.values()) if isinstance(value, dict) else [float(value)]
            got = max(several) if each.low_is_good else min(several)
        margin = float(each.spare(got))
        yield Verdict(
            requirement=each.requirement,
            wanted=each.wanted,
            got=float(got),
            margin=margin,
            state="met" if margin >= 0 else "missed",
        )


def _others(job: Job, found: Options, order: Places, best: Proposal) -> Iterator[Proposal]:
    """Give ways that are really better in one thing that counts."""
    count = found.space.count // len(found.stations)
    rate_hz = np.repeat([each.rate_hz for each in found.stations], count)
    data = np.repeat(
        [each.cameras * each.pixels / each.binning * each.rate_hz for each in found.stations], count
    )
    most_hz = rate_hz * (1 + found.margins.get("line_rate", np.zeros(found.space.count)))
    speed = most_hz / rate_hz
    at = int(np.flatnonzero(order == _index(found, best, order))[0]) if order.size else 0
    mine = order[at]
    merits = (("less light", -found.light_lx), ("more speed", speed), ("less data", -data))
    seen = {found.station(int(mine)).label}
    for name, good in merits:
        ratio = good[order] / good[mine] if good[mine] > 0 else good[mine] / good[order]
        better = order[(ratio >= _REAL) & (found.trouble[order] <= found.trouble[mine] + _WORTH)]
        if not better.size:
            continue
        chosen = better[np.lexsort((found.trouble[better], -good[better]))]
        other = _first_met(name, job, found, chosen)
        if other is not None and (other.candidate.label not in seen or name == "less light"):
            seen.add(other.candidate.label)
            yield other


def _index(found: Options, best: Proposal, order: Places) -> int:
    """Find which option a proposal came from."""
    lens, light = best.setup.lens, best.setup.texts["light"]["illuminance"]
    for index in order.tolist():
        _, stop, lamp = found.space.option(index)
        same = found.station(index) is best.candidate and stop.number == lens.f_number
        if same and lamp.changes["light.illuminance"] == light:
            return int(index)
    return int(order[0])
