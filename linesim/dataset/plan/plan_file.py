"""
The plan of a set as a file; everything in it may be left out.

```toml
title = "Coated foil"
setup = "station.toml"          # left out: the built-in sample
count = 24
seed = 0
[images]
format = "png"                  # or "tiff"
good_share = 0.25
lines = 512                     # or length = "40 mm"; left out: the setup's, else the field's width
[scenes]
kind = "foil"                   # "foil", "tile", "flat"; or files = ["good_1.png"]
[splits]
train = 0.7
val = 0.15
test = 0.15
[vary]
light.illuminance = "32 klx:48 klx"
[faults]
like = "foil"
[labels]
threshold = 0.5
```
"""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from linesim.dataset.plan.extents import field_mm, largest, length_mm
from linesim.dataset.plan.faces import face_faults
from linesim.dataset.plan.fault_texts import FaultPlan, faults_of
from linesim.dataset.plan.nuisances import SOME, nuisances_of
from linesim.dataset.plan.plan import ImageRule, LabelRule, Plan
from linesim.dataset.plan.real import real_scenes
from linesim.dataset.plan.regions import regions_of
from linesim.dataset.plan.spans import Span, spans_of
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.plan.tables import IMAGES, LABELS, SCENES, TOP, TableReader, unknown
from linesim.dataset.plan.tables import SPLITS as SHARES
from linesim.dataset.plan.wide import draws_cameras, is_wide, widened
from linesim.dataset.scenes import DRAWN, Scenes
from linesim.setup.errors import InputError, refuse
from linesim.setup.infiles import existing_file, toml_table
from linesim.setup.load import changed, load_setup, sample_setup
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.vocabulary import title_faults

_EXPECTED = "a plan of a data set, as sample_targets/foil_set.toml"
_PARTS = (
    "images",
    "scenes",
    "background",
    "splits",
    "vary",
    "faults",
    "nuisances",
    "labels",
    "regions",
)
_KEYS = ("title", "setup", *TOP, *_PARTS)
_SHARES = {"train": 0.7, "val": 0.15, "test": 0.15}
_WIDER, _LONGER, _IMAGES_EACH = 1.1, 2.0, 8
"""A drawn scene over the field of view and over an image's length; images from one in a row."""
_HAIR = 1e-6


def load_plan(path: str | Path | None = None, **over: int | None) -> Plan:
    """
    Read and check a plan, left out the built-in one; ``count`` and ``seed`` go over the file's own.

    InputError has a sentence for every fault found.
    """
    given = {key: value for key, value in over.items() if value is not None}
    if path is None:
        text = files("linesim.dataset").joinpath("sample_set.toml").read_text("utf-8")
        return plan_from({**tomllib.loads(text), **given})
    return plan_from(
        {**toml_table(Path(path), key="plan", expected=_EXPECTED), **given}, Path(path).parent
    )


def plan_from(texts: Mapping[str, Any], folder: Path | None = None) -> Plan:
    """Check a plan given as nested mappings."""
    folder, reader = (folder or Path()).resolve(), TableReader()
    base = _base(texts.get("setup"), folder)
    parts = {name: texts.get(name, {}) for name in _PARTS}
    odd_keys = [unknown(key, texts[key], list(_KEYS)) for key in texts if key not in _KEYS]
    reader.faults.extend((*odd_keys, *title_faults(texts.get("title", base.title))))
    top = reader.read("", {key: texts[key] for key in TOP if key in texts}, TOP)
    images, labels = (
        ImageRule(**reader.read("images", parts["images"], IMAGES)),
        LabelRule(**reader.read("labels", parts["labels"], LABELS)),
    )
    base = _of_one_length(base, images, reader)
    spans, span_faults = _spans(parts["vary"], base)
    scenes = real_scenes(
        texts, _scenes(parts["scenes"], (base, spans), folder, reader), folder, reader
    )
    shares = _shares(parts["splits"], reader)
    faults, more = faults_of(parts["faults"], scenes.line, folder, base.target.encoding)
    nuisances, others = nuisances_of(
        texts.get("nuisances", SOME if is_wide(parts["vary"]) else {}), scenes.line
    )
    regions, odd = regions_of(parts["regions"], faults.kinds, scenes, folder)
    reader.faults.extend(face_faults(base, faults, scenes))
    reader.faults.extend(
        (*span_faults, *more, *others, *odd, *([] if more else _at_odds(faults, images)))
    )
    if reader.faults:
        raise InputError(*reader.faults)
    return Plan(
        title=str(texts.get("title", _title(texts, base, scenes))),
        base=base,
        count=top.get("count", 24),
        seed=top.get("seed", 0),
        spans=spans,
        faults=faults,
        nuisances=nuisances,
        cameras_apart=draws_cameras(parts["vary"]),
        scenes=scenes,
        splits=shares,
        images=images,
        labels=labels,
        regions=regions,
        texts={key: texts[key] for key in ("title", *_PARTS) if key in texts},
    )


def _spans(table: object, base: Setup) -> tuple[tuple[Span, ...], tuple[str, ...]]:
    wide, unknown_preset = widened(table, base)
    spans, faults = spans_of(wide, base)
    return spans, (*unknown_preset, *faults)


def _at_odds(faults: FaultPlan, images: ImageRule) -> Iterator[str]:
    """Refuse images with faults of which none can have any, and bits that no file has."""
    if images.stretch_bits not in {8, 16}:
        yield f"images.bits: read {images.stretch_bits}, but expected 8 or 16"
    if images.good_share < 1 and not any(max(each.counts) for each in faults.wanted):
        yield (
            f"faults: read no count above 0, but {1 - images.good_share:.0%} of the images are to "
            "have faults; expected a count above 0, or images.good_share = 1"
        )


def _base(written: object, folder: Path) -> Setup:
    if written is None:
        return sample_setup()
    if not isinstance(written, str) or not written.strip():
        refuse(f'setup: read {shown(written)}, but expected a setup file, as "station.toml"')
    return load_setup(folder / written)


def _of_one_length(base: Setup, images: ImageRule, reader: TableReader) -> Setup:
    """Set the length of an image, and have the target not repeat: pieces of scenes do not."""
    if images.lines is not None and images.length_mm is not None:
        reader.faults.append("images.length: read lines too, but only one of the two can hold")
    length: dict[str, object] = {}
    if images.lines is not None:
        length = {"acquisition.lines": images.lines, "acquisition.length": None}
    elif images.length_mm is not None:
        length = {"acquisition.lines": None, "acquisition.length": f"{images.length_mm!r} mm"}
    elif base.acquisition.lines is None and base.acquisition.length_mm is None:
        length = {"acquisition.length": f"{field_mm(base)!r} mm"}
    return changed(base, {**length, "target.repeat": False})


def _title(texts: Mapping[str, Any], base: Setup, scenes: Scenes) -> str:
    """Name a set after its station, or after its scenes where that is the built-in one, of foil."""
    if "setup" in texts or scenes.kind == base.target.image:
        return base.title
    if not scenes.files:
        return scenes.kind.capitalize()
    what = "Real scans" if scenes.real else "Own product"
    more = f" and {len(scenes.files) - 1} more" if scenes.files[1:] else ""
    title = f"{what}: {scenes.files[0].name}{more}"
    return what if title_faults(title) else title  # a name may hold what no title may


def _scenes(
    table: object, stations: tuple[Setup, tuple[Span, ...]], folder: Path, reader: TableReader
) -> Scenes:
    base, spans = stations
    written = dict(table) if isinstance(table, Mapping) else table
    named = written.pop("files", None) if isinstance(written, dict) else None
    found = reader.read("scenes", written, SCENES)
    if named is None and "kind" not in found and base.target.image not in BUILT_IN:
        named, folder = [base.target.image], base.folder
    paths = _files(named, folder, reader)
    if paths and isinstance(written, dict) and set(written) - {"images_each"}:
        reader.faults.append(
            f"scenes.files: read {', '.join(written)} too, but files have their own size and "
            "number; expected files, with images_each alone"
        )
    own = base.target.image if base.target.image in DRAWN else "foil"
    drawn = Scenes(
        kind="files" if paths else own,
        files=paths,
        encoding=base.target.encoding,
        pixel_size_um=base.target.pixel_size_um,
        width_mm=_WIDER * largest(base, spans, field_mm),
        height_mm=_LONGER * largest(base, spans, length_mm),
        count=len(paths),
        images_each=_IMAGES_EACH,
    )
    return (
        replace(drawn, **found)
        if not paths
        else replace(drawn, images_each=found.get("images_each", _IMAGES_EACH))
    )


def _files(named: object, folder: Path, reader: TableReader) -> tuple[Path, ...]:
    if named is None:
        return ()
    if not isinstance(named, list) or not named or not all(isinstance(each, str) for each in named):
        reader.faults.append(
            f'scenes.files: read {shown(named)}, but expected a list such as ["good_1.png"]'
        )
        return ()
    found = []
    for each in named:
        try:
            found.append(
                existing_file(
                    folder / each, key="scenes.files", expected="a PNG or TIFF image", written=each
                )
            )
        except InputError as refusal:
            reader.faults.extend(refusal.faults)
    if len({path.resolve() for path in found}) < len(found):
        reader.faults.append("scenes.files: read a file twice; expected each scene once")
    return tuple(found)


def _shares(table: object, reader: TableReader) -> dict[str, float]:
    found = reader.read("splits", table, SHARES)
    if not found:
        return dict(_SHARES)
    shares = {name: float(found.get(name, 0.0)) for name in SPLITS}
    if abs(sum(shares.values()) - 1) > _HAIR:
        reader.faults.append(
            f"splits: read shares that sum to {sum(shares.values()):g}, but expected 1, for "
            "example train = 0.7, val = 0.15, test = 0.15"
        )
    return shares
