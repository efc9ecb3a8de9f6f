"""
Kinds of values that data sheets state in more than one way.

References
----------
EMVA 1288 R4.0 RC (March 2021): the system gain K in DN/e (its inverse, e/DN, is common practice, no
source), dynamic range and SNR in dB as 20 log₁₀. GenICam Pixel Format Naming Convention (from
memory): Mono12 has a sample in two bytes, Mono12p packs samples without gaps, Mono12Packed two
samples into three bytes.
"""

import re
from dataclasses import dataclass
from math import log10
from pathlib import Path
from typing import NamedTuple

from linesim.setup.fields import Kind, Number, Quantity, within
from linesim.setup.quantity import parse_quantity, unit_of

DECIBEL = "dB"
_UM_AN_INCH = 25_400.0
_RATIO = re.compile(r"\s*([0-9]+\.?[0-9]*)\s*:\s*1\s*")
_T_NUMBER = re.compile(r"\s*[Tt]\s*/?\s*([0-9]+\.?[0-9]*)\s*")
_BYTE_BITS = 8


class InNumbers(NamedTuple):
    """A noise in numbers, which the gain makes electrons."""

    value_dn: float


class TNumber(NamedTuple):
    """An f-number that a lens without losses would need for the same light."""

    t_number: float


def has_unit(value: object, unit: str) -> bool:
    """Tell whether a value is a quantity in a unit that is written just so."""
    try:
        return isinstance(value, str) and unit_of(value) == unit
    except ValueError:
        return False


def is_inverse(value: object) -> bool:
    """Tell whether a gain is written in electrons a number."""
    try:
        return isinstance(value, str) and unit_of(value).endswith("/DN")
    except ValueError:
        return False


def t_number(value: object) -> float | None:
    """Read a T-number such as "T 4.4"; none where a value is written otherwise."""
    match = _T_NUMBER.fullmatch(value) if isinstance(value, str) else None
    return None if match is None else float(match[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseKind(Quantity):
    """A number of electrons, or one of the camera's own steps."""

    def read(self, value: object, folder: Path) -> float | str | InNumbers:  # type: ignore[override]
        """Take electrons as they are, and numbers apart."""
        if has_unit(value, "DN"):
            return InNumbers(within(parse_quantity(str(value), "DN"), 0.0, 65_535.0, "DN"))
        return Quantity.read(self, value, folder)


NOISE = NoiseKind("a number of electrons", '"12 e"', unit="e", low=0.0, high=1e9)


@dataclass(frozen=True, slots=True, kw_only=True)
class GainKind(Quantity):
    """Numbers an electron, or electrons a number."""

    def read(self, value: object, folder: Path) -> float | str:
        """Turn e/DN over."""
        if is_inverse(value):
            electrons = within(
                parse_quantity(str(value), "e/DN"), 1 / self.high, 1 / self.low, "e/DN"
            )
            return 1 / electrons
        return Quantity.read(self, value, folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeKind(Quantity):
    """A dynamic range in dB, or as a ratio: a bare number, or "2000:1"."""

    def read(self, value: object, folder: Path) -> float | str:
        """Turn a ratio into dB."""
        match = _RATIO.fullmatch(value) if isinstance(value, str) else None
        if match is None and isinstance(value, str) and ":" in value:
            msg = 'this is no ratio to 1, such as "2000:1"'
            raise ValueError(msg)
        ratio = float(match[1]) if match else value
        if isinstance(ratio, str | bool) or not isinstance(ratio, int | float):
            return Quantity.read(self, value, folder)
        low, high = (10 ** (end / 20) for end in (self.low, self.high))
        return 20 * log10(within(ratio, low, high))


@dataclass(frozen=True, slots=True, kw_only=True)
class FinenessKind(Quantity):
    """A length, or how many of it lie in an inch."""

    def read(self, value: object, folder: Path) -> float | str:
        """Turn dots an inch into the distance from one to the next."""
        if has_unit(value, "dpi"):
            per_inch = float(str(value).strip().removesuffix("dpi"))
            within(per_inch, _UM_AN_INCH / self.high, _UM_AN_INCH / self.low, "dpi")
            return _UM_AN_INCH / per_inch
        return Quantity.read(self, value, folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class SnrKind(Number):
    """A signal to noise ratio, or its 20 log₁₀ in dB."""

    def read(self, value: object, folder: Path) -> float:
        """Turn dB into a ratio."""
        if has_unit(value, DECIBEL):
            most = 20 * log10(self.high)
            return float(10 ** (within(parse_quantity(str(value), DECIBEL), 0.0, most, "dB") / 20))
        return Number.read(self, value, folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class TransmissionKind(Number):
    """A share, or a T-number, which has it in it."""

    def read(self, value: object, folder: Path) -> float | TNumber:  # type: ignore[override]
        """Take a share as it is, and a T-number apart."""
        stated = t_number(value)
        if stated is None:
            return Number.read(self, value, folder)
        return TNumber(within(stated, 0.5, 1e4))


class PixelFormat(NamedTuple):
    """How samples lie on the link."""

    name: str
    depth: int  # bits of a sample that may hold something
    sample_bits: int  # bits that a sample takes
    channels: int

    def __str__(self) -> str:
        """As the setup file has it."""
        return self.name


def _formats() -> dict[str, PixelFormat]:
    found = {}
    for family, channels in (("Mono", 1), ("RGB", 3)):
        for depth in (8, 10, 12, 14, 16):
            name = f"{family}{depth}"
            whole = _BYTE_BITS * -(-depth // _BYTE_BITS)
            found[name] = PixelFormat(name, depth, whole, channels)
            if depth % _BYTE_BITS and name != "RGB14":
                found[f"{name}p"] = PixelFormat(f"{name}p", depth, depth, channels)
    for depth in (10, 12):
        name = f"Mono{depth}Packed"
        found[name] = PixelFormat(name, depth, 12, 1)
    return found


FORMATS = _formats()


@dataclass(frozen=True, slots=True, kw_only=True)
class FormatKind(Kind):
    """A name of a pixel format."""

    @property
    def expected(self) -> str:
        """All of them; an example would repeat one."""
        return f"{self.what}: {', '.join(FORMATS)}"

    def read(self, value: object, folder: Path) -> PixelFormat:  # noqa: ARG002 -- of the face
        """Look the name up."""
        if not isinstance(value, str) or value not in FORMATS:
            msg = "no pixel format here has that name"
            raise ValueError(msg)
        return FORMATS[value]
