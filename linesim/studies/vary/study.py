"""One quantity or two along ranges, in closed form: figures, and where a requirement is reached."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.figures.demands import CANNOT_RUN, Demand
from linesim.setup.arguments import checked_setup, refuse_no_list, refuse_other_keys
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.speeds import SLOWEST, SPEED, one_speed
from linesim.setup.surface import LIGHTS
from linesim.studies.batch.along import Along, along
from linesim.studies.batch.figures import Progress, groups_of, nobody
from linesim.studies.batch.judged import LIMIT, demands_of, weakest, worst_of
from linesim.studies.batch.ranges import Range, ranges_of
from linesim.studies.batch.smooth import figures_along
from linesim.studies.compare.variants import binning_variants
from linesim.studies.vary.answers import Answer, Joint, answers_of, joints_of

USUAL_FIGURES = (
    "electrons_white",
    "snr_product",
    "clipping_share",
    "mtf50_y_lp_mm",
    "defect_contrast",
    "defect_dprime",
    "smallest_relief_um",
    "smallest_detectable_um",
)
"""What is worked out where nothing is asked for, those of them that the setup has."""
ALL_FIGURES = "all"
_RANKS = {"clipping": 1, **dict.fromkeys(CANNOT_RUN, 2)}
"""How bad it is where a demand is missed; else 0."""
_EXPOSURE = "acquisition.exposure"


LAMP_ANGLES = tuple(f"{name}.angle" for name in LIGHTS)
BEST_BY_ANGLE = ("snr_product", "defect_dprime")
"""Figures whose best place along the angles of a lamp is marked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One binning along the ranges."""

    title: str
    space: Along
    figures: Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Varied:
    """A setup along one range or two."""

    setup: Setup  # the station as it stands
    ranges: tuple[Range, ...]
    # "same": all binnings take the first one's exposure time at every point; "full": each its own
    # line period; ``None``: as the setup has it
    exposure: str | None
    asked_figures: tuple[str, ...]  # names of figures as asked for; empty: nothing was asked for
    shown_figures: tuple[str, ...]  # names of the figures that are worked out
    curves: tuple[Curve, ...]
    judged_by: tuple[Demand, ...]  # what is judged: what the setup requires, and what always is
    answers: tuple[Answer, ...]  # where each of these is met
    joints: tuple[Joint, ...]  # where all of them are met together

    @property
    def met(self) -> bool:
        """Whether each binning meets everything together somewhere."""
        own = [each for each in self.joints if each.exposure == self.exposure]
        reached = {each.title for each in own if each.held}
        return reached == {each.title for each in own}


def spares_of(found: Varied, curve: Curve) -> dict[Demand, FloatArray]:
    """Give by how much each demand is passed at the points of a curve."""
    there = [demand for demand in found.judged_by if set(demand.figures) <= set(curve.figures)]
    spares = {demand: demand.spare(worst_of(demand, curve.figures)) for demand in there}
    shape = tuple(len(each.base_values) for each in found.ranges)
    # a figure that no point has is reached nowhere
    nowhere = np.full(shape, -1.0)
    return {demand: spares.get(demand, nowhere) for demand in found.judged_by}


def judged_values(found: Varied, curve: Curve, name: str) -> FloatArray:
    """Give a figure along a curve as it is judged."""
    for demand in found.judged_by:
        if demand.figure == name and set(demand.figures) <= set(curve.figures):
            return worst_of(demand, curve.figures)
    return weakest(name, curve.figures[name])


def best_place(found: Varied, curve: Curve, name: str) -> int | None:
    """Find where along the angles of a lamp a figure is best, where that is not at an end."""
    if found.ranges[0].key.dotted not in LAMP_ANGLES or len(found.ranges) > 1:
        return None
    if name not in BEST_BY_ANGLE or name not in curve.figures:
        return None
    values = judged_values(found, curve, name)
    place = int(np.nanargmax(values)) if np.isfinite(values).any() else 0
    return place if 0 < place < len(values) - 1 else None


def states_of(found: Varied, curve: Curve) -> NDArray[np.str_]:
    """Judge the points of a curve as the budget does."""
    state = np.full(tuple(len(each.base_values) for each in found.ranges), "met", dtype="<U10")
    spares = spares_of(found, curve)
    for rank, word in enumerate(("missed", "clips", "cannot run")):
        for demand, spare in spares.items():
            if _RANKS.get(demand.requirement, 0) == rank:
                state[spare < 0] = word
    return state


def vary(
    setup: Setup,
    ranges: Mapping[str, str],
    *,
    binning: Sequence[str] = (),
    exposure: str | None = None,
    figures: Sequence[str] = (),
    progress: Progress = nobody,
) -> Varied:
    """
    Work out the closed-form figures along one range or two.

    Parameters
    ----------
    ranges : mapping of str to str
        Dotted key -> range, such as ``{"light.illuminance": "5klx:200klx:log12"}``.
    binning : sequence of str
        Ways of binning, across x along, such as ``("1x1", "2x2")``; empty: the setup's own.
    exposure : str, optional
        "same" gives all binnings the first one's exposure time, "full" each its own line period;
        left out: "same" where binnings are given.
    figures : sequence of str; names as in the budget; empty: the usual ones; "all": all of them
    progress : callable; is told how many points are done, and of how many

    Returns
    -------
    Varied; figures, and where the requirements are met

    Raises
    ------
    InputError; where a range, a figure or a point is refused
    """
    refuse_other_keys(ranges, "ranges")
    refuse_no_list(binning, "binning")
    refuse_no_list(figures, "figures")
    setup = _of_one_speed(checked_setup(setup), ranges)
    chosen = ranges_of(setup, ranges)
    how = exposure or ("same" if binning else None)
    spaces = _spaces(setup, chosen, binning, how)
    known = {title: groups_of(each.ends) for title, each in spaces.items()}
    judged_by = demands_of(setup, tuple(each.key.dotted for each in chosen))
    wanted = _wanted(figures, known)
    judged = (*wanted, *(name for demand in judged_by for name in demand.figures), LIMIT)
    curves = tuple(
        _curve(title, each, _chosen(known[title], judged), progress)
        for title, each in spaces.items()
    )
    answers = answers_of(how, spaces, judged_by)
    if how is not None and len(spaces) > 1 and len(chosen) == 1:
        other = "full" if how == "same" else "same"
        answers += answers_of(other, _spaces(setup, chosen, binning, other), judged_by)
    return Varied(
        setup=setup,
        ranges=chosen,
        exposure=how,
        asked_figures=wanted if figures else (),
        shown_figures=wanted,
        curves=curves,
        judged_by=judged_by,
        answers=answers,
        joints=joints_of(answers),
    )


def _of_one_speed(setup: Setup, ranges: Mapping[str, str]) -> Setup:
    """Put speeds that are varied in the place of the setup's own two; else it must have one."""
    if faults := tuple(one_speed(setup, "vary", ranges)):
        raise InputError(*faults)
    return changed(setup, {SLOWEST: None}) if SPEED in ranges else setup


def _spaces(
    setup: Setup, ranges: tuple[Range, ...], binning: Sequence[str], exposure: str | None
) -> dict[str, Along]:
    """Lay each binning along the ranges."""
    texts = binning or (str(setup.acquisition.binning),)
    full = "full" if exposure == "full" else None
    if exposure not in ("full", "same", None):
        refuse(f'exposure: read {shown(exposure)}, but expected "same" or "full"')
    made = binning_variants(setup, texts, exposure=full, keep_line_rate=False)
    varied = any(each.key.dotted == _EXPOSURE for each in ranges)
    lead = made[0].setup if exposure == "same" and not varied else None
    return {each.title: along(each.setup, lead, ranges) for each in made}


def _wanted(figures: Sequence[str], known: Mapping[str, Mapping[str, str]]) -> tuple[str, ...]:
    """Choose figures that every binning has."""
    first, *others = known.values()
    there = [name for name in first if all(name in other for other in others)]
    if list(figures) == [ALL_FIGURES]:
        return tuple(there)
    if not figures:
        return tuple(name for name in USUAL_FIGURES if name in there)
    strange = [name for name in figures if name not in there]
    if strange:
        refuse(
            f"figures: read {shown(strange[0])}, but this setup has no such figure; expected some "
            f"of {', '.join(there)}"
        )
    return tuple(dict.fromkeys(figures))


def _chosen(groups: Mapping[str, str], names: Iterable[str]) -> dict[str, str]:
    return {name: groups[name] for name in dict.fromkeys(names) if name in groups}


def _curve(title: str, space: Along, groups: Mapping[str, str], progress: Progress) -> Curve:
    found = figures_along(space, groups, progress)
    figures = {name: np.reshape(each, (*space.shape, -1)) for name, each in found.items()}
    return Curve(title=title, space=space, figures=figures)
