"""A plan run dry: all that its images shall be is drawn and counted, and nothing is rendered."""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from linesim.dataset.draw import Drawn, drawn
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.splits import SPLITS
from linesim.setup.errors import InputError

_MOST_NAMED = 5
"""Of images that cannot be made, those with a sentence of their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dry:
    """What the images of a plan shall be."""

    # by split: all, and those that stay without faults as planned
    images: Counter[str] = field(default_factory=Counter)
    good: Counter[str] = field(default_factory=Counter)
    # by split: those of whose faults none found room
    bare: Counter[str] = field(default_factory=Counter)
    short: list[int] = field(default_factory=list)  # images with fewer faults than were asked for
    # by split, the scenes that are shown
    scenes: Mapping[str, set[int]] = field(default_factory=lambda: {name: set() for name in SPLITS})
    good_scenes: set[int] = field(default_factory=set)  # scenes that show a good image
    faults: Counter[tuple[str, str]] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)  # by kind: faults that found no room
    # for each of these kinds, what stood in the way of one
    why: dict[str, str] = field(default_factory=dict)


def dry_run(plan: Plan, progress: Callable[[int, int], None] | None = None) -> Dry:
    """
    Draw all images of a plan, and give ``progress`` how many are drawn, of how many.

    InputError has a sentence for each of the first images that can never be made.
    """
    found, refused = Dry(), dict[int, tuple[str, ...]]()
    for index in range(plan.count):
        try:
            _count(found, plan, drawn(plan, index))
        except InputError as refusal:
            refused[index] = refusal.faults
        if progress:
            progress(index + 1, plan.count)
    if refused:
        raise InputError(*_refusals(plan, refused))
    return found


def _count(found: Dry, plan: Plan, shot: Drawn) -> None:
    split = plan.split(shot.index)
    good = plan.is_good(shot.index)
    found.images[split] += 1
    found.good[split] += good
    found.bare[split] += not good and not shot.faults
    found.scenes[split].add(shot.scene)
    if good:
        found.good_scenes.add(shot.scene)
    found.faults.update((each.kind, split) for each in shot.faults)
    found.left_out.update(each.kind for each in shot.left_out)
    for each in shot.left_out:
        found.why.setdefault(each.kind, f"image {shot.index}: {each.why}")
    if shot.left_out:
        found.short.append(shot.index)


def _refusals(plan: Plan, refused: Mapping[int, tuple[str, ...]]) -> list[str]:
    """Say what is wrong with the first images, and of how many the same is to be said."""
    refusals = [
        text if text.startswith("image ") else f"image {index}: {text}"
        for index in sorted(refused)[:_MOST_NAMED]
        for text in refused[index]
    ]
    if len(refused) > _MOST_NAMED:
        refusals.append(
            f"count: {len(refused)} of the {plan.count} images cannot be made, the first "
            f"{_MOST_NAMED} are named; expected a plan of which all can"
        )
    return refusals
