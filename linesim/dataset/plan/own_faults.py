"""
Faults of a plan that are the user's own: cut out of photographs, or drawn as outlines.

```toml
[faults.pit]                    # any name that is not a built-in kind's
images = "pits/*.png"           # grey or colour, 8 or 16 bit, with transparency: opaque is fault
pixel_size = "12 um"            # of these images, on the product
# encoding = "linear"           # or "srgb"; left out: as target.encoding has it
values = "ratio"                # to the product beside the fault; or "reflectance"
surroundings = 0.5              # that product, as a share of full scale; left out: what is clear
size = "0.8:1.25:log"           # factors, each drawn
strength = "0.7:1.3"
[faults.gouge]
outline_mm = [[0, 0], [2, 0.1], [2.1, 0.3], [0.1, 0.2]]   # or a list of such outlines
change = "-0.5:-0.3"            # share of the local reflectance; or reflectance = 0.1
```
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from linesim.dataset.plan.cutout_files import Reading, cut_outs
from linesim.dataset.plan.fault_values import Reader
from linesim.dataset.plan.named_files import files_named
from linesim.dataset.plan.tables import Keys, TableReader
from linesim.defects.cutouts import CutOuts
from linesim.defects.kinds import FIRST_OWN, KINDS, Kind
from linesim.defects.polygons import ChangedInside, MadeOf, Polygon
from linesim.files.srgb import Encoding
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.fields import Choice, Number, Quantity
from linesim.setup.shown import shown

_LAST = 254
"""Class numbers, and one, fit into 8 bits."""
CUT_OUT: Keys = {
    "pixel_size": (
        "pixel_size_um",
        Quantity(what="a length", example='"12 um"', unit="um", low=0.01, high=1e5),
    ),
    "encoding": (
        "encoding",
        Choice(what='"srgb" or "linear"', example="", allowed=("srgb", "linear")),
    ),
    "values": (
        "values",
        Choice(what='"ratio" or "reflectance"', example="", allowed=("ratio", "reflectance")),
    ),
    "surroundings": (
        "surroundings",
        Number(what="a share of full scale above 0", example="0.5", low=1e-4, high=1.0),
    ),
}
OWN_KEYS = ("images", *CUT_OUT, "outline_mm", "class")
"""Keys that make a kind; the others say what is drawn of it."""
_CLASS = Number(
    what=f"a class number from {FIRST_OWN} to {_LAST}",
    example=f"{FIRST_OWN}",
    low=FIRST_OWN,
    high=_LAST,
    whole=True,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnKinds:
    """The kinds of a user's own, by name, and the files that they are made of."""

    kinds: Mapping[str, Kind]
    files: Mapping[str, tuple[Path, ...]]


def own_kinds(
    table: Mapping[str, Any], folder: Path, encoding: Encoding, reader: Reader
) -> OwnKinds:
    """Read the kinds that a plan's [faults] makes."""
    kinds: dict[str, Kind] = {}
    files: dict[str, tuple[Path, ...]] = {}
    for name, part in table.items():
        if not (isinstance(part, Mapping) and {"images", "outline_mm"} & set(part)):
            continue
        before, where = len(reader.faults), f"faults.{name}"
        _refuse_name(name, part, reader)
        taken = [kind.class_id for kind in kinds.values()]
        number = _number(where, part, taken, reader)
        if "images" in part:
            files[name] = files_named(f"{where}.images", part["images"], folder, reader.faults)
            made: tuple[Any, str] | None = _cut_outs(name, part, files[name], encoding, reader)
        else:
            made = _outlines(name, part, reader)
        if made and len(reader.faults) == before:
            sentence = "A fault of the plan's own."
            kinds[name] = Kind(
                name=name, class_id=number, sentence=sentence, make=made[0], identity=made[1]
            )
    return OwnKinds(kinds=kinds, files=files)


def _refuse_name(name: str, part: Mapping[str, Any], reader: Reader) -> None:
    if name in {kind.name for kind in KINDS}:
        reader.faults.append(
            f"faults.{name}: read images or outline_mm, but that is a built-in kind; expected a "
            "name of your own"
        )
    if {"images", "outline_mm"} <= set(part):
        reader.faults.append(f"faults.{name}: read images and outline_mm; expected one of the two")


def _number(where: str, part: Mapping[str, Any], taken: list[int], reader: Reader) -> int:
    """Read or choose a class number."""
    free = next(k for k in range(FIRST_OWN, FIRST_OWN + len(taken) + 1) if k not in taken)
    if "class" not in part:
        return free
    found = reader.checked(f"{where}.class", _CLASS, part["class"])
    if found in taken:
        reader.faults.append(
            f"{where}.class: read {found}, which another kind has; expected one each"
        )
    return int(found or free)


def _cut_outs(
    name: str, part: Mapping[str, Any], paths: tuple[Path, ...], encoding: Encoding, reader: Reader
) -> tuple[CutOuts, str] | None:
    where, before = f"faults.{name}", len(reader.faults)
    said = TableReader(faults=reader.faults).read(where, _of(part, CUT_OUT), CUT_OUT)
    if "pixel_size" not in part:
        reader.faults.append(f"{where}.pixel_size: nothing was read, but this key is needed")
    absolute = said.get("values") == "reflectance"
    if absolute and "surroundings" in part:
        reader.faults.append(
            f"{where}.surroundings: read {shown(part['surroundings'])}, but values are "
            'reflectances; expected values = "ratio" with it'
        )
    if len(reader.faults) > before or not paths:
        return None
    reading = Reading(
        encoding=said.get("encoding", encoding),
        pixel_size_um=said["pixel_size_um"],
        absolute=absolute,
        surroundings=said.get("surroundings"),
    )
    cuts = tuple(cut_outs(f"{where}.images", paths, reading, reader.faults))
    if len(cuts) < len(paths):
        return None
    return CutOuts(kind=name, cuts=cuts, absolute=absolute), " ".join(each.digest for each in cuts)


def _of(part: Mapping[str, Any], keys: Keys) -> dict[str, Any]:
    return {key: value for key, value in part.items() if key in keys}


def _outlines(name: str, part: Mapping[str, Any], reader: Reader) -> tuple[Any, str] | None:
    where = f"faults.{name}.outline_mm"
    reader.faults.extend(
        f"faults.{name}.{key}: read {shown(part[key])}, but that belongs to images; expected "
        "outline_mm alone"
        for key in part
        if key in CUT_OUT
    )
    if {"change", "reflectance"} <= set(part):
        reader.faults.append(f"faults.{name}: read change and reflectance; expected one of the two")
    try:
        corners = np.asarray(part["outline_mm"], dtype=np.float64)
        listed = [corners] if corners.ndim == 2 else [np.asarray(v) for v in corners]  # noqa: PLR2004 -- corners, x and y
    except (TypeError, ValueError):
        listed = _ragged(part["outline_mm"])
    if not listed or not all(v.ndim == 2 and v.shape[1] == 2 for v in listed):  # noqa: PLR2004 -- x and y
        reader.faults.append(
            f"{where}: read {shown(part['outline_mm'])}, but expected corners in millimetres, "
            "[[0, 0], [2, 0], [1, 1.5]], or a list of such outlines"
        )
        return None
    try:
        shapes = tuple(
            Polygon(corners_um=tuple((1000 * float(x), 1000 * float(y)) for x, y in each))
            for each in listed
        )
    except InputError as refusal:
        reader.faults.extend(f"{where}: {sentence}" for sentence in refusal.faults)
        return None
    make = MadeOf if "reflectance" in part else ChangedInside
    return make(kind=name, outlines=shapes), repr(shapes)


def _ragged(written: object) -> list[FloatArray]:
    """Read outlines of unlike numbers of corners."""
    try:
        return [np.asarray(each, dtype=np.float64) for each in written]  # type: ignore[attr-defined]
    except (TypeError, ValueError):
        return []
