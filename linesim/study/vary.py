"""One quantity or two along ranges, in closed form: figures, and where a requirement is reached."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.budget.demands import CANNOT_RUN, Demand
from linesim.setup.arguments import checked_setup, refuse_no_list, refuse_other_keys
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.study.answers import Answer, Joint, answers_of, joints_of
from linesim.study.many import Tell, figures_of, groups_of
from linesim.study.points import Walk, walk
from linesim.study.ranges import Range, ranges_of
from linesim.study.smooth import COSTLY, smooth_figures
from linesim.study.variants import binning_variants
from linesim.study.wishes import LIMIT, weakest, wishes_of, worst_of

USUAL_FIGURES = (
    "electrons_white",
    "snr_product",
    "clipping_share",
    "mtf50_y_lp_mm",
    "defect_dprime",
    "smallest_detectable_um",
)
"""What is worked out where nothing is asked for, those of them that the setup has."""
ALL_FIGURES = "all"
_RANKS = {"clipping": 1, **dict.fromkeys(CANNOT_RUN, 2)}
"""How bad it is where a demand is missed; else 0."""
_EXPOSURE = "acquisition.exposure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """
    One way of binning along the ranges.

    Parameters
    ----------
    title : str
        Such as "2x2 charge".
    walk : Walk
        Its points.
    groups : mapping
        Figure -> group, of the figures it has.
    figures : mapping
        Figure -> array of shape (values, colours) or (values, values, colours); not a number where
        there is no value.
    """

    title: str
    walk: Walk
    groups: Mapping[str, str]
    figures: Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Varied:
    """
    A setup along one range or two.

    Parameters
    ----------
    setup : Setup
        The station as it stands.
    ranges : tuple of Range
        What is varied.
    exposure : str or None
        "same": all ways of binning take the first one's exposure time at every point; "full": each
        its own line period; ``None``: as the setup has it.
    shown_figures : tuple of str
        Names of the figures asked for.
    courses : tuple of Course
        One a way of binning.
    wishes : tuple of Demand
        What is judged: what the setup requires, and what always is.
    answers : tuple of Answer
        Where each of these is met.
    joints : tuple of Joint
        Where all of them are met together.
    """

    setup: Setup
    ranges: tuple[Range, ...]
    exposure: str | None
    shown_figures: tuple[str, ...]
    courses: tuple[Course, ...]
    wishes: tuple[Demand, ...]
    answers: tuple[Answer, ...]
    joints: tuple[Joint, ...]

    @property
    def met(self) -> bool:
        """Whether each way of binning meets everything together somewhere."""
        own = [each for each in self.joints if each.exposure == self.exposure]
        reached = {each.title for each in own if each.held}
        return reached == {each.title for each in own}


def spares_of(found: Varied, course: Course) -> dict[Demand, FloatArray]:
    """
    Give by how much each demand is passed at the points of a course.

    Parameters
    ----------
    found : Varied
        The study.
    course : Course
        One way of binning.

    Returns
    -------
    dict
        Demand -> array of the ranges' shape; negative where it is missed, and only there.
    """
    there = [wish for wish in found.wishes if set(wish.figures) <= set(course.figures)]
    spares = {wish: wish.spare(worst_of(wish, course.figures)) for wish in there}
    shape = tuple(len(each.base_values) for each in found.ranges)
    # a figure that no point has is reached nowhere
    nowhere = np.full(shape, -1.0)
    return {wish: spares.get(wish, nowhere) for wish in found.wishes}


def judged_values(found: Varied, course: Course, name: str) -> FloatArray:
    """
    Give a figure along a course as it is judged.

    Parameters
    ----------
    found : Varied
        The study.
    course : Course
        One way of binning.
    name : str
        Of the figure.

    Returns
    -------
    ndarray of the ranges' shape
        Of the weakest colour; of a figure that is judged, at the worst place of the line.
    """
    for wish in found.wishes:
        if wish.figure == name and set(wish.figures) <= set(course.figures):
            return worst_of(wish, course.figures)
    return weakest(name, course.figures[name])


def states_of(found: Varied, course: Course) -> NDArray[np.str_]:
    """
    Judge the points of a course as the budget does.

    Parameters
    ----------
    found : Varied
        The study.
    course : Course
        One way of binning.

    Returns
    -------
    ndarray of str
        "met", "missed", "clips" or "cannot run", of the ranges' shape.
    """
    state = np.full(tuple(len(each.base_values) for each in found.ranges), "met", dtype="<U10")
    spares = spares_of(found, course)
    for rank, told in enumerate(("missed", "clips", "cannot run")):
        for wish, spare in spares.items():
            if _RANKS.get(wish.requirement, 0) == rank:
                state[spare < 0] = told
    return state


def vary(
    setup: Setup,
    ranges: Mapping[str, str],
    *,
    binning: Sequence[str] = (),
    exposure: str | None = None,
    figures: Sequence[str] = (),
    tell: Tell = lambda _done, _total: None,
) -> Varied:
    """
    Work out the closed-form figures along one range or two.

    Parameters
    ----------
    setup : Setup
        The station.
    ranges : mapping of str to str
        Dotted key -> range, such as ``{"light.illuminance": "5klx:200klx:log12"}``.
    binning : sequence of str
        Ways of binning, across x along, such as ``("1x1", "2x2")``; empty: the setup's own.
    exposure : str, optional
        "same" gives all ways of binning the first one's exposure time, "full" each its own line
        period; left out: "same" where ways of binning are given.
    figures : sequence of str
        Names as in the budget; empty: the usual ones; "all": all of them.
    tell : callable
        Is told how many points are done, and of how many.

    Returns
    -------
    Varied
        Figures, and where the requirements are met.

    Raises
    ------
    InputError
        Where a range, a figure or a point is refused.
    """
    refuse_other_keys(ranges, "ranges")
    refuse_no_list(binning, "binning")
    refuse_no_list(figures, "figures")
    chosen = ranges_of(checked_setup(setup), ranges)
    how = exposure or ("same" if binning else None)
    walks = _walks(setup, chosen, binning, how)
    known = {title: groups_of(each.ends) for title, each in walks.items()}
    wishes = wishes_of(setup, tuple(each.key.dotted for each in chosen))
    wanted = _wanted(figures, known)
    judged = (*wanted, *(name for wish in wishes for name in wish.figures), LIMIT)
    courses = tuple(
        _course(title, each, _chosen(known[title], judged), tell) for title, each in walks.items()
    )
    answers = answers_of(how, walks, wishes)
    if how is not None and len(walks) > 1 and len(chosen) == 1:
        other = "full" if how == "same" else "same"
        answers += answers_of(other, _walks(setup, chosen, binning, other), wishes)
    return Varied(
        setup=setup,
        ranges=chosen,
        exposure=how,
        shown_figures=wanted,
        courses=courses,
        wishes=wishes,
        answers=answers,
        joints=joints_of(answers),
    )


def _walks(
    setup: Setup, ranges: tuple[Range, ...], binning: Sequence[str], exposure: str | None
) -> dict[str, Walk]:
    """Lay each way of binning along the ranges."""
    texts = binning or (str(setup.acquisition.binning),)
    full = "full" if exposure == "full" else None
    if exposure not in ("full", "same", None):
        msg = f'exposure: read {shown(exposure)}, but expected "same" or "full"'
        raise InputError(msg)
    made = binning_variants(setup, texts, exposure=full, keep_line_rate=False)
    varied = any(each.key.dotted == _EXPOSURE for each in ranges)
    leader = made[0].setup if exposure == "same" and not varied else None
    return {each.title: walk(each.setup, leader, ranges) for each in made}


def _wanted(figures: Sequence[str], known: Mapping[str, Mapping[str, str]]) -> tuple[str, ...]:
    """Choose figures that every way of binning has."""
    first, *others = known.values()
    there = [name for name in first if all(name in other for other in others)]
    if list(figures) == [ALL_FIGURES]:
        return tuple(there)
    if not figures:
        return tuple(name for name in USUAL_FIGURES if name in there)
    strange = [name for name in figures if name not in there]
    if strange:
        msg = (
            f"figures: read {shown(strange[0])}, but this setup has no such figure; expected some "
            f"of {', '.join(there)}"
        )
        raise InputError(msg)
    return tuple(dict.fromkeys(figures))


def _chosen(groups: Mapping[str, str], names: Iterable[str]) -> dict[str, str]:
    return {name: groups[name] for name in dict.fromkeys(names) if name in groups}


def _course(title: str, along: Walk, groups: Mapping[str, str], tell: Tell) -> Course:
    places = along.places
    costly = {name: group for name, group in groups.items() if group == COSTLY}
    others = {name: group for name, group in groups.items() if group != COSTLY}
    found = figures_of(along.points(places), others, len(places), tell)
    if costly:
        found |= smooth_figures(along, costly, tell)
    shape = tuple(len(each.base_values) for each in along.ranges)
    figures = {name: np.reshape(each, (*shape, -1)) for name, each in found.items()}
    return Course(title=title, walk=along, groups=groups, figures=figures)
