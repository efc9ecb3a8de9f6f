"""
Where on its scenes a plan's faults may lie.

```toml
[regions]
all = { reflectance = "0.05:0.3" }      # every kind that has no own: product of such a lightness
pinhole = { masks = ["coating.png"] }   # white where it may lie; one for all scenes, or one a file
```
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from linesim.dataset.scenes import Scenes
from linesim.defects.kinds import Kind
from linesim.setup.errors import InputError, refuse
from linesim.setup.infiles import existing_file
from linesim.setup.shown import shown

EVERY = "all"
_SPAN = re.compile(r"\s*([0-9.]+)\s*:\s*([0-9.]+)\s*")
_EXPECTED = '{ reflectance = "0.05:0.3" } or { masks = ["web.png"] }'


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """Part of all scenes: between two reflectances, or white in a mask."""

    low: float = 0.0
    high: float = 1.0
    masks: tuple[Path, ...] = ()


def regions_of(
    table: object, kinds: Sequence[Kind], scenes: Scenes, folder: Path
) -> tuple[Mapping[str, Region], tuple[str, ...]]:
    """Read the regions of a plan: by kind, with what is wrong."""
    if not isinstance(table, Mapping):
        return {}, (f"regions: read {shown(table)}, but expected [regions] and its keys",)
    known, found, faults = [EVERY, *(kind.name for kind in kinds)], {}, []
    for name, value in table.items():
        where = f"regions.{name}"
        if name not in known:
            faults.append(
                f"{where}: read {shown(value)}, but there is no such kind here; known are "
                f"{', '.join(known)}"
            )
            continue
        try:
            found[name] = _region(where, value, len(scenes.files), folder)
        except InputError as refusal:
            faults.extend(refusal.faults)
    if scenes.real:
        faults.extend(
            f"regions.{name}.reflectance: read {shown(table[name])}, but real scans hold numbers; "
            "expected masks of their size"
            for name, each in found.items()
            if not each.masks
        )
    return found, tuple(faults)


def _region(where: str, value: object, scenes: int, folder: Path) -> Region:
    given = dict(value) if isinstance(value, Mapping) else {}
    if set(given) == {"reflectance"}:
        return _of_lightness(where, given["reflectance"])
    if set(given) == {"masks"}:
        return _of_masks(where, given["masks"], scenes, folder)
    msg = f"{where}: read {shown(value)}, but expected {_EXPECTED}"
    raise InputError(msg)


def _of_lightness(where: str, value: object) -> Region:
    match = _SPAN.fullmatch(value) if isinstance(value, str) else None
    ends = [float(part) for part in match.groups()] if match else [1.0, 0.0]
    if not 0 <= ends[0] < ends[1] <= 1:
        refuse(
            f"{where}.reflectance: read {shown(value)}, but expected two numbers from 0 to 1, the "
            'lower one first, as "0.05:0.3"'
        )
    return Region(low=ends[0], high=ends[1])


def _of_masks(where: str, value: object, scenes: int, folder: Path) -> Region:
    named = value if isinstance(value, list) else []
    if len(named) not in {1, scenes} or not all(isinstance(each, str) for each in named):
        refuse(
            f"{where}.masks: read {shown(value)}, but expected one mask for all scenes"
            f"{f', or {scenes}, one a file of scenes.files' if scenes > 1 else ''}"
        )
    expected = "a PNG or TIFF image of the scene's size, white where faults may lie"
    return Region(
        masks=tuple(
            existing_file(folder / each, key=f"{where}.masks", expected=expected, written=each)
            for each in named
        )
    )
