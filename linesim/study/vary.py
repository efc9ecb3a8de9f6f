"""One quantity or two along ranges, in closed form: figures, and where a requirement is reached."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from linesim.setup.arguments import checked_setup, refuse_no_list, refuse_other_keys
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.study.answers import Answer, answers_of
from linesim.study.many import Tell, figures_of, groups_of
from linesim.study.points import Walk, walk
from linesim.study.ranges import Range, ranges_of
from linesim.study.smooth import COSTLY, smooth_figures
from linesim.study.variants import binning_variants
from linesim.study.wishes import LIMIT, Wish, wishes_of

USUAL_FIGURES = (
    "electrons_white",
    "snr_white",
    "saturation_white",
    "mtf50_y_lp_mm",
    "defect_dprime",
    "smallest_detectable_um",
)
"""What is worked out where nothing is asked for, those of them that the setup has."""
ALL_FIGURES = "all"
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
    wishes : tuple of Wish
        What the setup requires.
    answers : tuple of Answer
        Where the requirements are met.
    """

    setup: Setup
    ranges: tuple[Range, ...]
    exposure: str | None
    shown_figures: tuple[str, ...]
    courses: tuple[Course, ...]
    wishes: tuple[Wish, ...]
    answers: tuple[Answer, ...]

    @property
    def met(self) -> bool:
        """Whether each way of binning meets each requirement somewhere, without saturating."""
        own = [each for each in self.answers if each.exposure == self.exposure]
        keys = {(each.title, each.wish) for each in own if each.wish in self.wishes}
        reached = {(each.title, each.wish) for each in own if each.unsaturated}
        return keys <= reached


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
    judged = (*wanted, *(wish.figure for wish in wishes), LIMIT)
    courses = tuple(
        _course(title, each, _chosen(known[title], judged), tell) for title, each in walks.items()
    )
    found = Varied(
        setup=setup,
        ranges=chosen,
        exposure=how,
        shown_figures=wanted,
        courses=courses,
        wishes=wishes,
        answers=answers_of(how, walks, wishes),
    )
    if how is None or len(walks) == 1 or len(chosen) > 1:
        return found
    other = "full" if how == "same" else "same"
    also = answers_of(other, _walks(setup, chosen, binning, other), wishes)
    return replace(found, answers=(*found.answers, *also))


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
