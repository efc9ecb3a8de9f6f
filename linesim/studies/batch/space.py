"""A space of setups: axes with values to choose from; each combination of these is an option."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import accumulate
from math import prod
from typing import Any

import numpy as np

from linesim.forward.station import station
from linesim.setup.load import changed
from linesim.setup.model import Sections
from linesim.setup.setup import Setup
from linesim.setup.surface import FACE, LAMP_KEYS, LIGHTS
from linesim.targets.faces.face import face_of

SHARE = "exposure_share"
"""The key for an exposure as a share of the longest that the line period leaves."""
VECTOR_KEYS = frozenset(
    {
        "target.white_reflectance",
        "transport.speed",
        "lens.magnification",
        "lens.f_number",
        "lens.transmission",
        "lens.blur",
        "lens.defocus",
        "light.illuminance",
        "light.irradiance",
        "camera.read_noise",
        "camera.dark_current",
        "camera.full_well",
        "camera.dsnu",
        "camera.prnu",
        "camera.dead_time",
        "camera.max_line_rate",
        "camera.link",
        "acquisition.exposure",
        SHARE,
    }
)
"""Keys whose numbers the closed forms take as arrays; no relation of keys asks their values."""
_FACE = frozenset(f"target.{key}" for key in FACE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One value of an axis."""

    label: str
    changes: Mapping[str, Any]  # dotted key -> value, as `linesim.changed` takes it
    number: float | None = None  # in the key's own unit, where it may be one of an array
    # as a checked setup has it, where it is no such number and need not be read anew
    inside: object = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One thing to choose."""

    name: str  # dotted key, "exposure_share", or a name of the user's own
    points: tuple[Point, ...]

    @property
    def keys(self) -> frozenset[str]:
        """Keys that it sets, with its name."""
        return frozenset({self.name}.union(*(point.changes for point in self.points)))

    @property
    def part(self) -> list[int]:
        """For each point the part it is in: numbers are one array, anything else stands alone."""
        alone = [point.number is None for point in self.points]
        first = 0 if all(alone) else 1
        return [
            first + k - 1 if lone else 0 for lone, k in zip(alone, accumulate(alone), strict=True)
        ]

    @property
    def parts(self) -> int:
        """How many parts there are."""
        return max(self.part) + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """All setups that may be chosen."""

    base: Setup  # what all options share, with the requirement
    # What may be chosen; each value of each with each of the others is an option. Options are
    # counted through, the last axis running fastest.
    axes: tuple[Axis, ...]

    @property
    def shape(self) -> tuple[int, ...]:
        """Values along each axis."""
        return tuple(len(axis.points) for axis in self.axes)

    @property
    def count(self) -> int:
        """How many options there are."""
        return prod(self.shape)

    def option(self, index: int) -> list[Point]:
        """Give the points that make an option, one of each axis."""
        places = np.unravel_index(index, self.shape)
        return [axis.points[int(k)] for axis, k in zip(self.axes, places, strict=True)]

    def begun(self, points: Sequence[Point]) -> tuple[Setup, Setup | None]:
        """Give the setup that points make, and that whose exposure time it takes, if another."""
        return changed(self.base, changes_of(points)), None

    def setup(self, index: int) -> Setup:
        """Give one option as a setup, checked as a file is."""
        points = self.option(index)
        setup = changed(self.base, changes_of(points))
        shares = [p.number for axis, p in zip(self.axes, points, strict=True) if axis.name == SHARE]
        if not shares or shares[0] == 1:
            return setup
        exposure_us = float(shares[0] or 0.0) * float(station(setup).timing.exposure_us)
        return changed(setup, {"acquisition.exposure": f"{exposure_us!r} us"})

    def quick(self, index: int) -> Setup:
        """Give one option as a setup whose texts need not be its own."""
        return self.setup(index)


def is_free(key: str, triggers: Collection[object], faced: frozenset[str]) -> bool:
    """Tell whether numbers of a key may be an array; an encoder counts for each magnification."""
    if key in faced:
        return False
    return key in VECTOR_KEYS and not (key == "lens.magnification" and "encoder" in triggers)


def asked_by_face(base: Setup, chosen: Collection[str]) -> frozenset[str]:
    """Name keys that decide how bright a face is, which is worked out for one setup at a time."""
    if face_of(base) is None and not any(map(_of_face, chosen)):
        return frozenset()
    asked = {"target.white_reflectance"}
    if len(base.lights) > 1 or any(key.partition(".")[0] in LIGHTS[1:] for key in chosen):
        asked |= {"light.illuminance", "light.irradiance"}
    ends = {"lens.focal_length", *(f"{name}.lamp_length" for name in LIGHTS)}
    there = {
        f"{section}.{key}" for section in ("lens", *LIGHTS) for key in base.texts.get(section, ())
    }
    if ends & (there | set(chosen)):
        asked.add("lens.magnification")
    return frozenset(asked)


def _of_face(key: str) -> bool:
    section, _, name = key.partition(".")
    return key in _FACE or section in LIGHTS[1:] or (section == "light" and name in LAMP_KEYS)


def changes_of(points: Sequence[Point]) -> dict[str, Any]:
    """Join what some points change."""
    return {key: value for point in points for key, value in point.changes.items()}


def with_values(setup: Setup, section: str, values: Mapping[str, Any]) -> Setup:
    """Put checked values into a section of a setup, where arrays pass as numbers do."""
    part = getattr(setup.sections, section).model_copy(update=values)
    return replace(setup, sections=setup.sections.model_copy(update={section: part}))


@cache
def field_of(key: str) -> tuple[str, str]:
    """Tell where a checked setup has a key."""
    section, _, name = key.partition(".")
    fields = getattr(Sections.model_fields[section].annotation, "model_fields", {})
    return section, next(each for each, info in fields.items() if (info.alias or each) == name)
