"""What a design says: the answer, other ways, and what to give up where nothing does."""

from collections.abc import Iterator

from linesim.figures.plain_numbers import digits
from linesim.report.verdict_words import name_of, spare, summary
from linesim.studies.batch.limits import unit_of
from linesim.studies.design.relax import SPEED, Relaxed, relaxed_to, slower_mm_s, white_to
from linesim.studies.design.study import Design, Proposal

_NEAREST = 4
_FIRST = 3


def answer(found: Design) -> list[str]:
    """Say whether there is a station that does the job, and which."""
    best = found.best
    if best is None:
        return [f"No: of {found.tried} stations none does the whole job.", *_given_up(found)]
    first = (
        f"Yes: {found.passing} of {found.tried} stations do the job. Recommended: "
        f"{station_words(best)}."
    )
    return [first, summary(best.setup, best.verdicts), *map(_other, found.others)]


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
    near = sorted((v for v in one.verdicts if v.requirement != "exposure"), key=lambda v: v.margin)
    return [
        f"{name_of(one.setup, each.requirement)}: {spare(one.setup, each)}"
        for each in near[:_NEAREST]
    ]


def _given_up(found: Design) -> Iterator[str]:
    for each in found.relaxed[:_FIRST]:
        text = relaxing(found, each)
        yield f"{text[0].upper()}{text[1:]}: all else is then met."
    if found.together:
        texts = "; ".join(relaxing(found, each) for each in found.together)
        yield f"No demand alone stands in the way. Together: {texts}; then the rest is met."
    if not found.relaxed and not found.together:
        yield (
            "What is asked is far out of reach: ask for a larger defect, a slower line or fewer "
            "limits, and try again."
        )


def relaxing(found: Design, each: Relaxed) -> str:
    """Say how far a demand must be given up."""
    demand, job = each.demand, found.job
    if demand.requirement in SPEED:
        new, old = (0.06 * speed for speed in (slower_mm_s(job, each), job.speeds_mm_s[1]))
        return f"run at {digits(new)} m/min in place of {digits(old)}"
    if demand.requirement == "clipping":
        white = job.base.target.white_reflectance
        return (
            f"let what reflects more than {white_to(job, each):g} clip (white_reflectance, now "
            f"{white:g})"
        )
    unit = unit_of(demand.figure)
    text = f"relax {demand.requirement.replace('_', ' ')} from {digits(demand.wanted)} to "
    return f"{text}{relaxed_to(each):g} {unit}".rstrip()
