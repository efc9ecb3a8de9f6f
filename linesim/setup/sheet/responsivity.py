"""Responsivity: what a sensor gives for light that falls on it, at one wavelength or several."""

from pathlib import Path
from typing import NamedTuple

from linesim.setup.channels import ByChannel, by_channel
from linesim.setup.fields import Parsed
from linesim.setup.quantity import parse_quantity
from linesim.setup.sheet.points import Point, is_point, point, points

CURRENT, ENERGY, PHOTON = "A/W", "DN*m^2/J", "DN/photon"
_UNITS = (CURRENT, ENERGY, PHOTON)


class Response(NamedTuple):
    """A responsivity in one of the three units."""

    value: float
    unit: str


def _read_response(value: object, _folder: Path) -> Response:
    """Read a responsivity with a unit of one of the three kinds."""
    if not isinstance(value, str):
        msg = "this is not a text with a unit"
        raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
    for unit in _UNITS:
        try:
            found = parse_quantity(value, unit)
        except ValueError as fault:
            if "another kind" in str(fault):
                continue
            raise
        if found > 0:
            return Response(found, unit)
        msg = "it is not over 0"
        raise ValueError(msg)
    msg = "its unit is that of no responsivity"
    raise ValueError(msg)


_EACH = Parsed(
    "a responsivity in DN/(nJ/cm^2), DN/photon or A/W", '"25 DN/(nJ/cm^2)"', by=_read_response
)


def _read(value: object, folder: Path) -> tuple[Point, ...] | ByChannel[tuple[Point, ...]]:
    """Read {value, wavelength}, a list of pairs of wavelength and value, or one a colour."""
    if isinstance(value, dict):
        one = is_point(value)
        return (point(value, _EACH, folder),) if one else by_channel(value, RESPONSIVITY, folder)
    if isinstance(value, list):
        return points(value, _EACH, folder)
    msg = "this is no table { value, wavelength } and no list of pairs"
    raise ValueError(msg)


RESPONSIVITY = Parsed(
    "a responsivity and its wavelength, or pairs of wavelength and value",
    '{ value = "25 DN/(nJ/cm^2)", wavelength = "550 nm" }',
    by=_read,
)
