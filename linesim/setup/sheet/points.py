"""A figure at one wavelength, {value, wavelength}, or at several: pairs of wavelength and value."""

from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from linesim.setup.errors import InputError
from linesim.setup.fields import Kind, Quantity
from linesim.setup.product import read_table

WAVELENGTH = Quantity("a wavelength", '"850 nm"', unit="nm", low=200.0, high=2500.0)
POINT_KEYS = frozenset({"value", "wavelength"})
_PAIR = 2


class Point(NamedTuple):
    """A figure, and the wavelength that it is stated at."""

    wavelength_nm: float
    value: Any


def is_point(value: object) -> bool:
    """Tell a table {value, wavelength} from one of colours."""
    return isinstance(value, dict) and not POINT_KEYS.isdisjoint(value)


def point(value: dict[str, object], each: Kind, folder: Path) -> Point:
    """Read a table {value, wavelength}."""
    found = read_table(value, {"value": each, "wavelength": WAVELENGTH}, folder)
    return Point(found["wavelength"], found["value"])


def points(value: list[object], each: Kind, folder: Path) -> tuple[Point, ...]:
    """Read a list of pairs: two or more, of wavelengths that differ; ValueError says why not."""
    pairs = [pair for pair in value if isinstance(pair, list) and len(pair) == _PAIR]
    if len(pairs) != len(value) or len(pairs) < _PAIR:
        msg = "this is no list of at least two pairs of wavelength and value"
        raise ValueError(msg)
    found = sorted(Point(_wavelength_nm(at, folder), each.read(of, folder)) for at, of in pairs)
    for one, other in pairwise(found):
        if one.wavelength_nm == other.wavelength_nm:
            msg = f"{one.wavelength_nm:g} nm stands twice"
            raise ValueError(msg)
    return tuple(found)


def _wavelength_nm(value: object, folder: Path) -> float:
    try:
        return float(WAVELENGTH.read(value, folder))
    except InputError:
        raise
    except ValueError as fault:
        msg = f"of a wavelength, {fault}"
        raise ValueError(msg) from None
