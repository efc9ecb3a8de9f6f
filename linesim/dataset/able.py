"""Whether the station of an image runs, and whether its picture clips: as the budget judges it."""

from collections.abc import Iterable, Mapping

import numpy as np

from linesim.figures.demands import CANNOT_RUN
from linesim.figures.groups import limits_group, reach
from linesim.figures.product import brightest_share
from linesim.figures.verdicts import verdicts
from linesim.forward.reference import Reference
from linesim.forward.station import station
from linesim.setup.setup import Setup
from linesim.targets.levels import Levels, at_most_as_light, levels_of
from linesim.targets.load import TargetSize

CLIPPING = "clipping"


def states(setup: Setup, target: Reference) -> dict[str, str]:
    """Judge what a station must be able to do, in front of its piece of product."""
    found = _judged(setup, target, at_most_as_light(target))
    # what does not clip where it would be lighter than it is, does not clip
    return found if found[CLIPPING] == "met" else _judged(setup, target, levels_of(target))


def _judged(setup: Setup, target: Reference, levels: Levels) -> dict[str, str]:
    rows, columns = target.shape[:2]
    size = TargetSize(rows=rows, columns=columns, levels=levels)
    bare, numbers = _without_requirement(setup), station(setup)
    shares = limits_group(numbers, reach(setup), brightest_share(setup, size))
    limits = {name: float(np.max(share)) for name, share in shares.items()}
    groups: dict[str, dict[str, float]] = {"limits": limits, "detection": {}, "signal": {}}
    return {each.requirement: each.state for each in verdicts(bare, numbers, groups, even=True)}


def _without_requirement(setup: Setup) -> Setup:
    """Ask for nothing: what each fault is worth is in its own row."""
    nothing = {"smallest_defect_um": None, "defect_relief": None, "snr": None}
    need = setup.requirement.model_copy(update=nothing)
    sections = setup.sections.model_copy(update={"requirement": need})
    return Setup(sections=sections, texts=setup.texts, folder=setup.folder)


def cannot_run(state_of: Mapping[str, str]) -> bool:
    """Tell whether a station cannot run."""
    return any(state_of.get(name, "met") != "met" for name in CANNOT_RUN)


def states_in_words(images: int, stuck: int, clipped: int) -> Iterable[str]:
    """Say, in half sentences, how many images come from stations that are stuck, or clip."""
    if stuck:
        yield (
            f"{stuck} of {images} images come from stations that cannot run as they stand (line "
            "rate, link or exposure)"
        )
    if clipped:
        yield f"{clipped} of {images} images come from stations whose picture clips"
