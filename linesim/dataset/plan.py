"""What a set is to be: the checked plan, and the one text that tells it from others."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from linesim.dataset.fault_texts import FaultPlan
from linesim.dataset.keys import scene_seed
from linesim.dataset.scenes import Scenes, scene_of
from linesim.dataset.spans import Span
from linesim.dataset.splits import split_of
from linesim.forward.reference import ArrayReference
from linesim.setup.load import known_keys
from linesim.setup.setup import Setup
from linesim.study.tasks import versions


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageRule:
    """
    How images are written.

    Parameters
    ----------
    format : {"png", "tiff"}
        Kind of file; samples stay as delivered.
    good_share : float
        Share of images without faults.
    lines : int or None
        Lines of each image.
    length_mm : float or None
        Or their length on the target; the field's width where both are left out. [mm]
    """

    format: str = "png"
    good_share: float = 0.25
    lines: int | None = None
    length_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelRule:
    """
    Which faults are labelled, and how.

    Parameters
    ----------
    threshold : float
        Of the share of its footprint that the most covered sample of a fault has: from there on a
        sample belongs to it.
    least_cover_px : float
        Samples that a fault must cover in all to be labelled. [px]
    least_dprime, least_cnr : float
        From which on it counts as visible.
    only_visible : bool
        Label nothing else.
    polygons : bool
        Outlines in place of run lengths, where a mask has no holes.
    box_files : bool
        Text files of boxes as well.
    """

    threshold: float = 0.5
    least_cover_px: float = 0.1
    least_dprime: float = 5.0
    least_cnr: float = 0.0
    only_visible: bool = False
    polygons: bool = False
    box_files: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """
    A checked plan.

    Parameters
    ----------
    title : str
        What the set is for.
    base : Setup
        The station, with what is not varied.
    count : int
        Images.
    seed : int
        Of all chance.
    spans : tuple of Span
        What is varied.
    faults : FaultPlan
        What is drawn on the target.
    scenes : Scenes
        Where images are taken.
    splits : mapping
        Share of scenes that train, validate, test.
    images : ImageRule
        How they are written.
    labels : LabelRule
        Which faults are labelled.
    texts : mapping
        The plan as it was written, but for ``setup``, ``count`` and ``seed``.
    """

    title: str
    base: Setup
    count: int
    seed: int
    spans: tuple[Span, ...]
    faults: FaultPlan
    scenes: Scenes
    splits: Mapping[str, float]
    images: ImageRule
    labels: LabelRule
    texts: Mapping[str, Any]

    def split(self, index: int) -> str:
        """Name the split of an image."""
        return split_of(self.scenes.of_image(index), self.splits)

    def scene(self, scene: int) -> ArrayReference:
        """Draw or read a scene."""
        return scene_of(self.scenes, scene, scene_seed(self.seed, scene))


def fingerprint(plan: Plan) -> str:
    """
    Tell plans apart: the same text for all that makes the same images, whatever their number.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    str
        SHA-256 of the plan's values, the content of the files that it names, and the versions that
        shape a sample.
    """
    said = {
        "seed": plan.seed,
        "base": _station_texts(plan.base),
        "vary": [
            {
                "key": span.name,
                "points": [dict(point.changes) for point in span.axis.points],
                "between": span.between is not None,
                "log": span.log,
            }
            for span in plan.spans  # their order shapes what is drawn
        ],
        "faults": asdict(plan.faults),
        "scenes": {**asdict(plan.scenes), "files": [_digest(path) for path in plan.scenes.files]},
        "splits": dict(plan.splits),
        "images": asdict(plan.images),
        "labels": asdict(plan.labels),
        "versions": versions(),
    }
    text = json.dumps(said, sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _station_texts(setup: Setup) -> dict[str, Any]:
    """Give a station's values as written; its target's image counts for nothing: scenes do."""
    texts = {name: setup.texts[name] for name in known_keys(()) if name != "title"}
    target = {key: value for key, value in texts["target"].items() if key != "image"}
    return {
        name: _by_content(part, setup.folder) for name, part in {**texts, "target": target}.items()
    }


def _by_content(value: Any, folder: Path) -> Any:  # noqa: ANN401 -- whatever TOML holds
    """Put what is in a file in the place of its name."""
    if isinstance(value, Mapping):
        return {key: _by_content(part, folder) for key, part in value.items()}
    is_file = isinstance(value, str) and value.lower().endswith(".csv")
    return _digest(folder / value) if is_file else value


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
