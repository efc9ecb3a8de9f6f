"""The small tables of a plan: each key with its kind, its default, and the field it fills."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from linesim.dataset.plan.keys import MOST_SEED
from linesim.dataset.scenes import DRAWN
from linesim.setup.fields import Choice, Flag, Kind, Number, Quantity
from linesim.setup.shown import shown
from linesim.setup.vocabulary import LENGTH

Keys = Mapping[str, tuple[str, Kind]]
"""Key -> field that it fills, and what it takes."""
_SHARE = Number(what="a share from 0 to 1", example="0.25", low=0.0, high=1.0)
_INDEX = Number(what="a limit from 0", example="5.0", low=0.0, high=1e6)
_YES_NO = Flag(what="true or false", example="true")


def _count(what: str, most: float) -> Number:
    return Number(what=f"a whole number {what}", example="24", low=1, high=most, whole=True)


TOP: Keys = {
    "count": ("count", _count("of images", 1e9)),
    "seed": (
        "seed",
        Number(what="a whole number from 0", example="0", low=0, high=MOST_SEED, whole=True),
    ),
}
IMAGES: Keys = {
    "format": ("format", Choice(what='"png" or "tiff"', example="", allowed=("png", "tiff"))),
    "good_share": ("good_share", _SHARE),
    "lines": ("lines", _count("of lines", 1e6)),
    "length": ("length_mm", LENGTH),
    # how images are handed on: stretched to be looked at, and laid out for loaders
    "stretch": (
        "stretch",
        Choice(
            what='"set" (one law for all), "image" (each by itself) or "none"',
            example="",
            allowed=("set", "image", "none"),
        ),
    ),
    "bits": ("stretch_bits", Number(what="8 or 16", example="8", low=8, high=16, whole=True)),
    "samples": ("keep_samples", _YES_NO),
    "folders": ("folders", _YES_NO),
    "shards": ("shard_images", _count("of images in a shard", 1e6)),
    "parquet_shards": ("parquet_images", _count("of images in a Parquet file", 1e6)),
}
LABELS: Keys = {
    "threshold": (
        "threshold",
        Number(what="a share from 0.01 to 1", example="0.5", low=0.01, high=1.0),
    ),
    "least_cover": (
        "least_cover_px",
        Number(what="a number of samples from 0.001", example="0.1", low=1e-3, high=1e6),
    ),
    "least_dprime": ("least_dprime", _INDEX),
    "least_cnr": ("least_cnr", _INDEX),
    "least_signal": ("least_camera_dprime", _INDEX),
    "only_visible": ("only_visible", _YES_NO),
    "polygons": ("polygons", _YES_NO),
    "box_files": ("box_files", _YES_NO),
}
SCENES: Keys = {
    "kind": ("kind", Choice(what=f"one of {', '.join(DRAWN)}", example="", allowed=DRAWN)),
    "width": ("width_mm", LENGTH),
    "height": ("height_mm", LENGTH),
    "count": ("count", _count("of scenes", 1e9)),
    "images_each": ("images_each", _count("of images from one scene", 1e6)),
}
BACKGROUND: Keys = {"images_each": SCENES["images_each"]}
SPLITS: Keys = {name: (name, _SHARE) for name in ("train", "val", "test")}
_RENAMED = {"labels.yolo": ("labels.box_files", "a text file of boxes beside each image")}
_TYPES = (Choice, Flag, Number, Quantity)


@dataclass(frozen=True, slots=True)
class TableReader:
    """Reads tables, and keeps all that is wrong with them."""

    faults: list[str] = field(default_factory=list)

    def read(self, name: str, table: object, keys: Keys) -> dict[str, Any]:
        """Read one table."""
        if not isinstance(table, Mapping):
            self.faults.append(f"{name}: read {shown(table)}, but expected [{name}] and its keys")
            return {}
        above, found = f"{name}." if name else "", {}
        for key, value in table.items():
            if key not in keys:
                self.faults.append(unknown(f"{above}{key}", value, [above + each for each in keys]))
                continue
            target, kind = keys[key]
            try:
                found[target] = kind.checked(value, Path())
            except ValueError as fault:
                self.faults.append(f"{above}{key}: {fault}")
        return found


def unknown(key: str, value: object, known: list[str]) -> str:
    """Refuse a key."""
    if key in _RENAMED:
        name, what = _RENAMED[key]
        return f"{key}: read {shown(value)}, but there is no such key; expected {name}, for {what}"
    near = get_close_matches(key, known, n=1)
    hint = f"did you mean {near[0]}?" if near else f"known here are {', '.join(known)}"
    return f"{key}: read {shown(value)}, but there is no such key; {hint}"
