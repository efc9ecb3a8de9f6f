"""A detector's score on a set: what it found by kind, station, size, contrast and d'."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from linesim.dataset.draw import Taken, taken
from linesim.dataset.layout import PLAN
from linesim.dataset.make import set_in
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.record import Record
from linesim.dataset.score.bound import bounds, width_um
from linesim.dataset.score.groups import Group, by_kind, by_octave, by_station
from linesim.dataset.score.matching import LIMITS, Matches, Truth, box_of, matched, precisions
from linesim.dataset.score.predictions import Prediction, read_predictions
from linesim.dataset.score.scored import Scored
from linesim.dataset.tables_out import records
from linesim.metrics.detection.sighting import cell_m2
from linesim.setup.errors import refuse
from linesim.workers.tasks import Progress


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """How predictions are judged."""

    limit: float = 0.5  # intersection over union from which a fault is found
    # predictions below it count for nothing but average precision; None takes the one with the best
    # mean of precision and recall (F1)
    least_score: float | None = None
    split: str | None = None  # to score; None takes those that predictions are of

    @classmethod
    def of(cls, split: str | None, limit: float | None, least_score: float | None) -> "Rule":
        """Make a rule of what was asked for."""
        return cls(limit=0.5 if limit is None else limit, least_score=least_score, split=split)


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What a detector is worth on a set."""

    title: str
    splits: tuple[str, ...]
    rule: Rule
    least_score: float  # of the predictions that count
    # images scored, and predictions that count
    images: int
    given: int
    faults: tuple[Scored, ...]
    area_m2: float
    false_alarms: int  # predictions that count and found nothing
    # mean over kinds of the average precision: at the limit 0.5, and over 0.5 to 0.95
    precision_at_limit: float
    mean_precision: float
    groups: Mapping[str, tuple[Group, ...]]  # tables by name, each of its rows in order

    @property
    def recall(self) -> float:
        """Share of the labelled faults that were found."""
        return sum(each.found for each in self.faults) / max(len(self.faults), 1)

    @property
    def alarms_per_m2(self) -> float:
        """False alarms on the area that was scanned. [1/m²]."""
        return self.false_alarms / self.area_m2

    @property
    def missed(self) -> tuple[Scored, ...]:
        """Faults that were not found, the plainest first."""
        left = [each for each in self.faults if not each.found]
        return tuple(sorted(left, key=lambda each: -each.dprime))


def score(predictions: Path, folder: Path, rule: Rule, progress: Progress | None = None) -> Score:
    """
    Score predictions on a set; ``progress`` gets how many faults are looked at, of how many.

    InputError if there is no set, or predictions are not of it.
    """
    if set_in(folder) is None:
        refuse(f'--score: "{folder}" holds no set; expected a folder that linesim dataset wrote')
    plan = load_plan(folder / PLAN)
    categories = {kind.class_id + 1: kind.name for kind in plan.faults.kinds}
    given = read_predictions(predictions, plan.count, categories)
    splits = _splits(plan, given, rule)
    images = [each for split in splits for each in records(plan, folder, split)]
    return _scored(
        plan,
        images,
        [each for each in given if plan.split(each.image_id - 1) in splits],
        rule,
        progress,
    )


def _splits(plan: Plan, given: Sequence[Prediction], rule: Rule) -> tuple[str, ...]:
    """Choose what to score: a split of which nothing was found is not meant."""
    if rule.split is not None:
        if not any(plan.split(index) == rule.split for index in range(plan.count)):
            refuse(f'--split: read "{rule.split}", but no image of the set belongs to it')
        return (rule.split,)
    named = {plan.split(each.image_id - 1) for each in given}
    if not named:
        refuse("--score: read no prediction; expected some, or --split to say what was looked at")
    return tuple(name for name in SPLITS if name in named)


def _scored(
    plan: Plan,
    images: Sequence[Record],
    given: Sequence[Prediction],
    rule: Rule,
    progress: Progress | None,
) -> Score:
    pairs = [(image, fault) for image in images for fault in image["faults"] if fault["labelled"]]
    truths = [_truth(image, fault) for image, fault in pairs]
    matches = matched(truths, given, rule.limit)
    least = _least(matches, len(truths)) if rule.least_score is None else rule.least_score
    counts = matches.scores >= least
    hits = {k for k, right in zip(matches.found, counts, strict=True) if right and k >= 0}
    shots = {image["index"]: taken(plan, image["index"]) for image in images}
    area_m2 = sum(
        float(cell_m2(shots[image["index"]].numbers)) * image["width"] * image["height"]
        for image in images
    )
    wrong = [
        image - 1
        for image, k, right in zip(matches.images, matches.found, counts, strict=True)
        if right and k < 0
    ]
    # of none the mean is below one on all that was looked at
    alarms_per_m2 = max(len(wrong), 1) / area_m2
    faults = []
    for k, (image, fault) in enumerate(pairs):
        shot = shots[image["index"]]
        faults.append(_fault(image, fault, (shot, alarms_per_m2), found=k in hits))
        if progress:
            progress(k + 1, len(pairs))
    found = tuple(faults)
    each_limit = [precisions(truths, matched(truths, given, limit)) for limit in LIMITS]
    return Score(
        title=plan.title,
        splits=tuple(dict.fromkeys(image["split"] for image in images)),
        rule=rule,
        least_score=float(least),
        images=len(images),
        given=int(counts.sum()),
        faults=found,
        area_m2=area_m2,
        false_alarms=len(wrong),
        precision_at_limit=_mean(each_limit[0]),
        mean_precision=float(np.mean([_mean(each) for each in each_limit])),
        groups=_groups(plan, found, shots, (wrong, each_limit)),
    )


def _groups(
    plan: Plan,
    found: tuple[Scored, ...],
    shots: Mapping[int, Taken],
    rest: tuple[Sequence[int], Sequence[Mapping[int, float]]],
) -> Mapping[str, tuple[Group, ...]]:
    wrong, each_limit = rest
    tables: dict[str, Callable[[], Iterator[Group]]] = {
        "kind": lambda: by_kind(plan, found, each_limit),
        "dprime": lambda: by_octave(found, lambda each: each.dprime, "", 1.0),
        "size": lambda: by_octave(found, lambda each: each.size_um, " um", 16.0),
        "contrast": lambda: by_octave(found, lambda each: 100 * abs(each.contrast), " %", 0.25),
        "station": lambda: by_station(plan, found, shots, wrong),
    }
    return {name: tuple(table()) for name, table in tables.items()}


def _truth(image: Record, fault: Mapping[str, Any]) -> Truth:
    return Truth(
        image_id=image["index"] + 1, category_id=fault["class_id"] + 1, bbox=box_of(fault["bbox"])
    )


def _fault(
    image: Record, fault: Mapping[str, Any], at: tuple[Taken, float], *, found: bool
) -> Scored:
    shot, alarms_per_m2 = at
    size_um = width_um(fault["area_um2"])
    indices = fault["camera_dprime"], fault["dprime"]
    most, linear = bounds(shot, size_um, indices, alarms_per_m2)
    return Scored(
        index=image["index"],
        kind=fault["kind"],
        size_um=size_um,
        contrast=fault["contrast"],
        dprime=fault["dprime"],
        bbox=tuple(fault["bbox"]),
        found=found,
        most=most,
        linear=linear,
    )


def _least(matches: Matches, count: int) -> float:
    """Choose the score with the best F1."""
    order = np.argsort(-matches.scores, kind="stable")
    hits = np.cumsum(np.array(matches.found)[order] >= 0)
    if not hits.size:
        return 0.0
    ranks = np.arange(1, hits.size + 1)
    best = int(np.argmax(2 * hits / (ranks + count)))
    return float(matches.scores[order][best])


def _mean(values: Mapping[int, float]) -> float:
    return float(np.mean(list(values.values()))) if values else 0.0
