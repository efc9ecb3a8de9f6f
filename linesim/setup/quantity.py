"""Quantities: a text with its unit goes in, a float in one fixed unit comes out."""

import re
from fractions import Fraction
from functools import lru_cache

import numpy as np

from linesim.setup import units

_QUANTITY = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(\S.*?)?\s*")
_ELECTRON_SIGN = re.compile(r"(?<=e)[-−⁻](?=\s*(?:/|$))")
_BELOW = re.compile(r"/ ?\(([^()/]+)/([^()/]+)\)")
"""A fraction under the line, as in DN/(nJ/cm^2)."""
_LONGEST = 60
PERCENT = "%"
_LARGEST = 1e100
ORDINARY = (
    {"m": "1", "nm": "1e-9", "um": "1e-6", "µm": "1e-6", "μm": "1e-6", "mm": "1e-3", "cm": "1e-2"}
    | {"in": "0.0254", "inch": "0.0254", "ft": "0.3048", "mil": "2.54e-5"},
    {"m/s": "1", "mm/s": "1e-3", "cm/s": "1e-2", "m/min": "1/60", "km/h": "5/18"}
    | {"ft/min": "0.00508", "in/s": "0.0254"},
    {"Hz": "1", "kHz": "1e3", "MHz": "1e6"},
    {"s": "1", "ns": "1e-9", "us": "1e-6", "µs": "1e-6", "μs": "1e-6", "ms": "1e-3"},
    {"lx": "1", "klx": "1e3", "fc": "10.763910416709722"},
    {"W/m^2": "1", "W/m²": "1", "kW/m^2": "1e3", "mW/cm^2": "10"},
    {"e": "1", "ke": "1e3", "Me": "1e6"},
    {"e/s": "1", "ke/s": "1e3"},
    {"DN": "1"},
    {"DN/e": "1"},
    {"e/DN": "1"},
    {"deg": "1", "°": "1"},
    {"MB/s": "1", "GB/s": "1e3", "Mbit/s": "1/8", "Gbit/s": "125", "Mb/s": "1/8", "Gb/s": "125"},
    {"px": "1"},
    {"dB": "1"},
)
"""
Units as most files write them, each kind beside its own in one unit, so that a file with no other
is read without pint.
"""


def _split(text: str) -> tuple[str, str]:
    """Take "60 m/min" apart; a ValueError says what is wrong with it."""
    if "," in text:
        msg = "a comma is not read as a decimal mark, write a point"
        raise ValueError(msg)
    match = _QUANTITY.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        msg = "this is not a number followed by a unit"
        raise ValueError(msg)
    number, unit = match.groups()
    if not unit:
        msg = "the unit is missing"
        raise ValueError(msg)
    return number, _ELECTRON_SIGN.sub("", _BELOW.sub(r"/\1*\2", unit))


@lru_cache(maxsize=256)
def _factor(unit: str, into: str) -> Fraction:
    """Exact factor from one unit into another of the same kind."""
    for kind in ORDINARY:
        if unit in kind and into in kind:
            return Fraction(kind[unit]) / Fraction(kind[into])
    return units.asked_of_pint(unit, into)


def parse_quantity(text: str, into: str) -> float:
    """Read a quantity such as ``"60 m/min"`` into a unit; ValueError says what is wrong."""
    number, unit = _split(text)
    return _times(number, _factor(unit, into))


def _times(number: str, factor: Fraction) -> float:
    # the float first: the exact fraction of "1e999999999" would fill the memory
    if not abs(float(number)) <= _LARGEST:
        msg = "the number is out of any physical range"
        raise ValueError(msg)
    return float(Fraction(number) * factor) if abs(float(number)) > 0 else 0.0


def parse_percent(text: str) -> float:
    """Read a share in per cent, rounded once: ``"55 %"`` is 0.55; ValueError says what is wrong."""
    number, unit = _split(text)
    if unit != PERCENT:
        msg = f"{unit} is a unit, and a bare number or one in % is due"
        raise ValueError(msg)
    return _times(number, Fraction(1, 100))


def number_of(text: str) -> str:
    """Take the number off a quantity, as it was written; ValueError where it has no unit."""
    return _split(text)[0]


def written(value: object) -> object:
    """Write a pair of a number and a unit as a file has it."""
    match value:
        case (bool(), _):
            return value
        case (int() | float() | np.integer() | np.floating() as number, str(unit)):
            whole = isinstance(number, int | np.integer)
            return f"{int(number) if whole else float(number)} {unit}"
    return value


def unit_of(text: str) -> str:
    """Take the unit off a quantity; ValueError where it has none."""
    return _split(text)[1]
