"""What a design says: the answer, other ways, and what to give up where nothing does."""

from collections.abc import Iterator

import numpy as np

from linesim.figures.plain_numbers import digits, percent
from linesim.report.verdict_words import name_of, summary
from linesim.studies.batch.limits import unit_of
from linesim.studies.design.catalogue import round_up
from linesim.studies.design.study import Design, Proposal, Relaxed

_ABLE = ("line_rate", "link", "exposure")
_NEAREST = 4
_FIRST = 3


def answer(found: Design) -> list[str]:
    """Say whether there is a station that does the job, and which."""
    best = found.best
    if best is None:
        return [f"No: of {found.tried} stations none does the whole job.", *_given_up(found)]
    first = (
        f"Yes: {found.passing} of {found.tried} stations do the job. The one of least trouble: "
        f"{station_words(best)}."
    )
    return [first, summary(best.setup, best.judged), *map(_other, found.others)]


def _other(one: Proposal) -> str:
    return f"{one.name[0].upper()}{one.name[1:]}: {station_words(one)}."


def station_words(one: Proposal) -> str:
    """Say in one line what a station is."""
    each, lens = one.candidate, one.setup.lens
    many = f"{each.cameras} cameras of " if each.cameras > 1 else ""
    binned = f", binned {each.binning}x{each.binning}" if each.binning > 1 else ""
    staged = f", {each.stages} stages" if each.stages > 1 else ""
    return (
        f"{many}{each.pixels} pixels of {each.side_um:g} um{binned}{staged}, "
        f"{each.focal_mm:g} mm at f/{lens.f_number:g}, {digits(one.light_lx / 1000)} klx"
    )


def first_limits(one: Proposal) -> list[str]:
    """Say what comes next, nearest first: each demand and how far it reaches."""
    found = (*one.limits, *one.judged)
    near = sorted((v for v in found if v.requirement != "exposure"), key=lambda v: v.margin)
    return [
        f"{_name(one, each.requirement)}: {percent(each.margin)} to spare"
        for each in near[:_NEAREST]
    ]


def _name(one: Proposal, requirement: str) -> str:
    """Name a demand, a limit of the job among them."""
    if requirement.startswith(("most_", "least_")):
        return requirement.replace("_", " ")
    return name_of(one.setup, requirement)


def _given_up(found: Design) -> Iterator[str]:
    if not found.relaxed:
        yield "More than one demand stands in the way: relax the hardest one, and try again."
    for each in found.relaxed[:_FIRST]:
        yield relaxing(found, each)


def relaxing(found: Design, each: Relaxed) -> str:
    """Say how far a demand must be given up so that all else is met."""
    demand = each.demand
    if demand.requirement in _ABLE:
        speed = found.job.speeds_mm_s[1] / each.reached
        return (
            f"Give up speed: at {digits(0.98 * speed)} mm/s in place of "
            f"{digits(found.job.speeds_mm_s[1])} all else is met."
        )
    if demand.requirement == "clipping":
        return (
            "The brightest that passes clips at the light that finds the defect: say how bright it "
            "is (white_reflectance), or ask for less."
        )
    unit = unit_of(demand.figure)
    text = f"{demand.requirement.replace('_', ' ')} from {digits(demand.wanted)} to "
    return f"Relax {text}{relaxed_to(each):g} {unit}".rstrip() + ": all else is then met."


def relaxed_to(each: Relaxed) -> float:
    """Round what is reached to the safe side, to a number that people would type."""
    if each.demand.low_is_good:
        return round_up(each.reached * 1.01)
    decade = 10.0 ** (np.floor(np.log10(max(each.reached, 1e-9))) - 1)
    return float(f"{np.floor(each.reached * 0.99 / decade) * decade:.6g}")
