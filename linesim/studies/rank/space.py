"""
A space of set-ups: a base, the values that may be chosen, and what the choice must meet.

```toml
setup = "station.toml"              # left out: the built-in sample
[options]                           # every combination of these is an option
acquisition.binning = ["1x1", "2x2"]
lens.f_number = [2.8, 4, 5.6]
light.illuminance = "5 klx:200 klx:log40"
exposure_share = [0.25, 0.5, 1]     # of the longest exposure that the line period leaves
[choices.camera."4k"]               # several keys that go together
camera.pixels = 4096
camera.pixel_width = "7 um"
[requirement]                       # over those of the base
snr = 40
[limits]
most_irradiance = "1000 W/m^2"
```
"""

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from math import prod
from pathlib import Path
from typing import Any

from linesim.figures.demands import Demand
from linesim.setup.errors import InputError, refuse
from linesim.setup.fields import Number, Quantity
from linesim.setup.infiles import toml_table
from linesim.setup.load import changed, load_setup, sample_setup
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.speeds import SLOWEST, SPEED, one_speed
from linesim.setup.vocabulary import LENGTH, title_faults
from linesim.studies.batch.axis_texts import Reading, axes_of
from linesim.studies.batch.limits import Limit, limits_of
from linesim.studies.batch.space import Space as Options

MOST_OPTIONS = 2_000_000
"""Options that are judged at once; about 300 bytes each."""
MOST_WORDS = 2_000
"""Combinations of words that are checked one by one as files are, some milliseconds each."""
_KEYS = ("title", "setup", "options", "choices", "requirement", "limits")
_EXPECTED = "a space of set-ups with [options], as in sample_targets/foil_space.toml"
_IRRADIANCE = Quantity(
    what="an irradiance", example='"1000 W/m^2"', unit="W/m^2", low=1e-9, high=1e7
)
_SHARE = Number(what="a share of the nearest limit", example="0.9", low=0.01, high=1.0)
VIEW = "least_field_of_view"
_LIMITS = {
    "most_irradiance": Limit("most_irradiance", "signal", "irradiance_target_w_m2", _IRRADIANCE),
    # white; that no part of the target clips is judged anyway
    "most_saturation": Limit("saturation", "signal", "saturation_white", _SHARE),
    VIEW: Limit(VIEW, "geometry", "field_of_view_mm", LENGTH),
    "least_depth_of_field": Limit("least_depth_of_field", "geometry", "depth_of_field_mm", LENGTH),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Space(Options):
    """All set-ups that may be chosen, and what they must keep to."""

    title: str  # what is to be decided
    limits: tuple[Demand, ...]  # what an option must keep besides its requirements


def load_space(path: str | Path) -> Space:
    """Read and check a space of set-ups."""
    path = Path(path)
    texts = toml_table(path, key="space", expected=_EXPECTED)
    if "options" not in texts and {"target", "camera", "lens"} & set(texts):
        refuse(f'space "{path}" is a setup file; expected {_EXPECTED}, which names it as setup')
    return space_from(texts, path.parent)


def space_from(texts: Mapping[str, Any], folder: Path | None = None) -> Space:
    """Check a space given as nested mappings."""
    base = _base(texts.get("setup"), folder or Path())
    title = texts.get("title", base.title)
    faults = [_unknown(key, texts[key]) for key in texts if key not in _KEYS]
    faults += title_faults(title)
    base = _with_requirement(base, texts.get("requirement", {}), faults)
    limits, wrong = limits_of(texts.get("limits", {}), base, own=_LIMITS)
    faults += wrong
    found = axes_of(texts.get("options", {}), texts.get("choices", {}), base)
    points = [point.changes for axis in found.axes for point in axis.points]
    chosen = {key: value for changes in points for key, value in changes.items()}
    faults += one_speed(base, "rank", chosen)
    base = changed(base, {SLOWEST: None}) if SPEED in chosen else base
    faults += [*found.faults, *_size_faults(found)]
    if faults:
        raise InputError(*faults)
    return Space(title=str(title), base=base, axes=found.axes, limits=limits)


def _size_faults(found: Reading) -> list[str]:
    if found.faults:
        return []
    lengths = [len(axis.points) for axis in found.axes]
    words = prod(axis.parts for axis in found.axes)
    slow = ", ".join(axis.name for axis in found.axes if axis.parts > 1)
    fault = ""
    if not found.axes:
        fault = (
            "nothing was read, but at least one key with values to choose from is needed, for "
            "example lens.f_number = [2.8, 4, 5.6]"
        )
    elif prod(lengths) > MOST_OPTIONS:
        fault = (
            f"read {' x '.join(map(str, lengths))} = {prod(lengths)} options, but at most "
            f"{MOST_OPTIONS} are judged at once; expected fewer values, or fewer keys"
        )
    elif words > MOST_WORDS:
        fault = (
            f"read {words} combinations of {slow}, but of these at most {MOST_WORDS} are built, "
            "one by one (light, speed, f-number, magnification and times are free); expected fewer "
            "values of these"
        )
    return [f"options: {fault}"] if fault else []


def _base(written: object, folder: Path) -> Setup:
    if written is None:
        return sample_setup()
    if not isinstance(written, str) or not written.strip():
        refuse(f'setup: read {shown(written)}, but expected a setup file, as "station.toml"')
    return load_setup(folder / written)


def _unknown(key: str, value: object) -> str:
    near = get_close_matches(key, _KEYS, n=1)
    hint = f"did you mean {near[0]}?" if near else f"known here are {', '.join(_KEYS)}"
    return f"{key}: read {shown(value)}, but there is no such key; {hint}"


def _with_requirement(base: Setup, table: object, faults: list[str]) -> Setup:
    if not isinstance(table, Mapping):
        faults.append(f"requirement: read {shown(table)}, but expected [requirement] and its keys")
        return base
    try:
        return changed(base, {f"requirement.{key}": value for key, value in table.items()})
    except InputError as refusal:
        faults += refusal.faults
        return base
