"""The axes of a space of set-ups: what may be chosen, each with its values."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from linesim.setup.model import Sections

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
"""Keys whose numbers the closed forms take as arrays; no relation of the door asks their values."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """
    One value of an axis.

    Parameters
    ----------
    label : str
        As people see it.
    changes : mapping
        Dotted key -> value, as `linesim.changed` takes it.
    number : float or None
        Behind the door, in the key's own unit, where it may be one of an array.
    """

    label: str
    changes: Mapping[str, Any]
    number: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """
    One thing to choose.

    Parameters
    ----------
    name : str
        Dotted key, "exposure_share", or a name of the user's own.
    points : tuple of Point
        What to choose from.
    """

    name: str
    points: tuple[Point, ...]

    @property
    def keys(self) -> frozenset[str]:
        """Keys that it sets, with its name."""
        return frozenset({self.name}.union(*(point.changes for point in self.points)))


def parted(axis: Axis) -> tuple[tuple[int, ...], ...]:
    """
    Part the points of an axis: numbers stay together, anything else stands alone.

    Parameters
    ----------
    axis : Axis
        The axis.

    Returns
    -------
    tuple of tuple of int
        Places of points that are worked out as one array.
    """
    numbers = tuple(k for k, point in enumerate(axis.points) if point.number is not None)
    others = [(k,) for k, point in enumerate(axis.points) if point.number is None]
    return (*([numbers] if numbers else []), *others)


@cache
def field_of(key: str) -> tuple[str, str]:
    """
    Tell where a key stands behind the door.

    Parameters
    ----------
    key : str
        Dotted, as in the setup file; it must be one.

    Returns
    -------
    tuple of str
        Section, and the field's name with its unit.
    """
    section, _, name = key.partition(".")
    fields = getattr(Sections.model_fields[section].annotation, "model_fields", {})
    return section, next(each for each, info in fields.items() if (info.alias or each) == name)
