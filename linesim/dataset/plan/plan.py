"""What a set is to be: the checked plan, and the one text that tells it from others."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from linesim.dataset.plan.fault_texts import FaultPlan, Wanted
from linesim.dataset.plan.keys import scene_seed
from linesim.dataset.plan.regions import Region
from linesim.dataset.plan.spans import Span
from linesim.dataset.plan.splits import is_good, is_good_of_scene, split_of
from linesim.dataset.scenes import Scenes, scene_of, shape_of
from linesim.forward.reference import ArrayReference
from linesim.setup.load import known_keys
from linesim.setup.setup import Setup
from linesim.workers.tasks import versions


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageRule:
    """How images are written."""

    format: str = "png"
    good_share: float = 0.25
    lines: int | None = None
    length_mm: float | None = None
    stretch: str = "set"
    stretch_bits: int = 8
    keep_samples: bool = True
    folders: bool = False
    shard_images: int = 0
    parquet_images: int = 0

    @property
    def has_samples(self) -> bool:
        """Whether the delivered samples have a file of their own."""
        return self.keep_samples and self.stretch != "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelRule:
    """Which faults are labelled, and how."""

    threshold: float = 0.5
    least_cover_px: float = 0.1
    least_dprime: float = 5.0
    least_cnr: float = 0.0
    least_camera_dprime: float = 1.0
    only_visible: bool = False
    polygons: bool = False
    box_files: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """A checked plan."""

    title: str
    base: Setup  # the station before anything is varied
    # of images; of all chance
    count: int
    seed: int
    spans: tuple[Span, ...]
    faults: FaultPlan
    scenes: Scenes
    splits: Mapping[str, float]  # share of the scenes by split
    images: ImageRule
    labels: LabelRule  # which faults are labelled
    texts: Mapping[str, Any]  # the tables as they were written
    # by kind, where on its scenes faults may lie
    regions: Mapping[str, Region] = field(default_factory=dict)
    # what lies on the product and is no fault
    nuisances: FaultPlan = field(default_factory=FaultPlan)
    cameras_apart: bool = False  # whether each split has cameras of its own

    @property
    def files(self) -> dict[tuple[str, ...], tuple[Path, ...]]:
        """Files that its texts name, by the keys that lead to them."""
        own = {("faults", name, "images"): paths for name, paths in self.faults.files.items()}
        own |= {
            ("regions", name, "masks"): each.masks
            for name, each in self.regions.items()
            if each.masks
        }
        named = "files" in self.texts.get("scenes", {})
        if self.scenes.real:
            return own | {("background", "images"): self.scenes.files}
        return own | ({("scenes", "files"): self.scenes.files} if named else {})

    def split(self, index: int) -> str:
        """Name the split of an image."""
        return split_of(self.scenes.of_image(index), self.splits)

    def is_good(self, index: int) -> bool:
        """Say whether an image stays without faults."""
        share, scenes = self.images.good_share, self.scenes
        if scenes.count:
            return is_good_of_scene(index, share, scenes.count, scenes.images_each)
        return is_good(index, share)

    def scene_shape(self, scene: int) -> tuple[int, ...]:
        """Tell rows and columns of a scene; one that is drawn is not drawn for it."""
        return shape_of(self.scenes, scene, scene_seed(self.seed, scene))

    def scene(self, scene: int) -> ArrayReference:
        """Draw or read a scene."""
        return scene_of(self.scenes, scene, scene_seed(self.seed, scene))


def fingerprint(plan: Plan) -> str:
    """Tell plans apart: the same text for all that makes the same images, whatever their number."""
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
        "faults": _fault_texts(plan.faults),
        "scenes": {**asdict(plan.scenes), "files": [_digest(path) for path in plan.scenes.files]},
        "splits": dict(plan.splits),
        "images": _image_texts(plan.images),
        "labels": asdict(plan.labels),
        "regions": {
            name: [each.low, each.high, *(_digest(path) for path in each.masks)]
            for name, each in plan.regions.items()
        },
        "versions": versions(),
    }
    if plan.cameras_apart:
        said["cameras_apart"] = True
    if plan.nuisances.wanted:
        said["nuisances"] = _fault_texts(plan.nuisances)
    text = json.dumps(said, sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _image_texts(images: ImageRule) -> dict[str, Any]:
    """Give how images are written; without Parquet, as sets from before it have it."""
    said = asdict(images)
    if not images.parquet_images:
        del said["parquet_images"]
    return said


def _fault_texts(faults: FaultPlan) -> dict[str, Any]:
    """Give what tells the faults of plans apart; a kind of the user's own by its digest."""
    wanted = []
    for each in faults.wanted:
        recipe = asdict(replace(each.recipe, own=None)) if not each.recipe.own else _own(each)
        recipe.pop("own", None)
        wanted.append({"recipe": recipe, "counts": each.counts})
    return {"wanted": wanted, "min_distance_mm": faults.min_distance_mm, "edge": faults.edge}


def _own(each: Wanted) -> dict[str, Any]:
    recipe, kind = each.recipe, each.recipe.which
    return {
        "kind": recipe.kind,
        "class_id": kind.class_id,
        "identity": kind.identity,
        "ranges": {name: asdict(part) for name, part in recipe.ranges.items()},
        "turn": asdict(recipe.turn),
    }


def _station_texts(setup: Setup) -> dict[str, Any]:
    """Give a station's values as written; its target's image counts for nothing: scenes do."""
    there = [name for name in known_keys(()) if name in setup.texts and name != "title"]
    texts = {name: setup.texts[name] for name in there}
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
