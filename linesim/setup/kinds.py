"""Kinds of values that are more than a number in a range: binning, spectra, efficiencies."""

import re
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import NamedTuple, Self

import numpy as np

from linesim.setup.errors import InputError
from linesim.setup.fields import Number, Parsed, Quantity
from linesim.setup.light.curve_files import read_curve
from linesim.setup.light.light_tables import illuminant_curves
from linesim.setup.light.spectra import Spectrum
from linesim.setup.light.sums import Curve
from linesim.setup.product import read_table
from linesim.setup.quantity import PERCENT
from linesim.setup.sheet.points import WAVELENGTH, Point, point, points
from linesim.setup.shown import shown

LARGEST_BINNING = 4
_BINNING = re.compile(r"([1-9])x([1-9])")
_TURN = re.compile(r"([1-4]) of ([1-4])")
_EXAMPLE_BAND = '{ peak = "850 nm", width = "40 nm" }'
_WIDTH = Quantity("a full width at half maximum", '"30 nm"', unit="nm", low=0.01, high=500.0)
_SHARE = Number("a number from 0 to 1", "0.6", low=0.0, high=1.0)


class Binning(NamedTuple):
    """Physical pixels in one delivered pixel."""

    across: int
    along: int

    def __str__(self) -> str:
        """As the setup file has it."""
        return f"{self.across}x{self.along}"


def read_binning(value: object, _folder: Path) -> Binning:
    """Read pixels across and along, such as "2x1"."""
    match = _BINNING.fullmatch(value) if isinstance(value, str) else None
    if match is None or max(map(int, match.groups())) > LARGEST_BINNING:
        msg = f"this is not two factors from 1 to {LARGEST_BINNING}"
        raise ValueError(msg)
    return Binning(int(match[1]), int(match[2]))


class Turn(NamedTuple):
    """The place of a light among those that shine in turn, a line each."""

    number: int  # its own, from 1
    # how many there are: the camera exposes so many lines for each line of this one's picture
    lights: int

    def __str__(self) -> str:
        """As the setup file has it."""
        return f"{self.number} of {self.lights}"

    @property
    def lead(self) -> float:
        """By how much of the way between its picture's lines they start later than the first's."""
        return (self.number - 1) / self.lights


def read_turn(value: object, _folder: Path) -> Turn:
    """Read a light's own number and how many there are, such as "1 of 2"."""
    match = _TURN.fullmatch(value) if isinstance(value, str) else None
    if match is None or int(match[1]) > int(match[2]):
        msg = "this is no number of a light out of at most 4"
        raise ValueError(msg)
    return Turn(int(match[1]), int(match[2]))


def _is_csv(value: object) -> bool:
    return isinstance(value, str) and value.lower().endswith(".csv")


def _curve(text: str, folder: Path, value_name: str) -> Curve:
    return read_curve(folder / text, key="the file", value_name=value_name, written=text)


def read_spectrum(value: object, folder: Path) -> Spectrum:
    """Read a CIE name, {peak, width}, or a CSV file of wavelength and power."""
    if isinstance(value, dict):
        return _narrow_band(value, folder)
    if not isinstance(value, str):
        msg = "this is no name, no { peak, width } and no file"
        raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
    if _is_csv(value):
        # the file's own name, so that the same light is equal from another folder
        return Spectrum.tabulated(*_curve(value, folder, "power"), name=Path(value).name)
    return _named(value)


def _named(name: str) -> Spectrum:
    try:
        return Spectrum.named(name)
    except InputError:
        known = list(illuminant_curves())
        near = get_close_matches(name.strip().upper(), known, n=1)
        hint = f" (nearest: {near[0]})" if near else ""
        msg = (
            f"read {shown(name)}, but no light here has that name{hint}; expected one of "
            f"{', '.join(known)}, or {_EXAMPLE_BAND}, or a CSV file"
        )
        raise InputError(msg) from None


def _narrow_band(value: dict[str, object], folder: Path) -> Spectrum:
    found = read_table(value, {"peak": WAVELENGTH, "width": _WIDTH}, folder)
    return Spectrum.gaussian(found["peak"], found["width"])


class EfficiencyCurve(NamedTuple):
    """Quantum efficiency over the wavelength, in tuples so that two set-ups can be compared."""

    wavelength_nm: tuple[float, ...]
    value: tuple[float, ...]

    @classmethod
    def through(cls, points: Iterable[Point]) -> Self:
        """Lay a curve through points; it ends with them."""
        wavelength_nm, value = zip(*points, strict=True)
        return cls(wavelength_nm, value)

    def arrays(self) -> Curve:
        """Wavelengths [nm] and values as arrays."""
        return np.asarray(self.wavelength_nm), np.asarray(self.value)


def _read_efficiency(value: object, folder: Path) -> float | EfficiencyCurve:
    """Read a number, one at a wavelength, pairs of the two, or a CSV file of them."""
    if isinstance(value, dict):
        # what is known at one wavelength only is taken for all
        return float(point(value, _SHARE, folder).value)
    if isinstance(value, list):
        return EfficiencyCurve.through(points(value, _SHARE, folder))
    if not isinstance(value, str) or value.rstrip().endswith(PERCENT):
        return float(_SHARE.read(value, folder))
    if not _is_csv(value):
        msg = "this is neither a number nor the name of a CSV file"
        raise ValueError(msg)
    wavelength_nm, efficiency = _curve(value, folder, "quantum efficiency")
    if efficiency.max() > 1:
        msg = "it holds a quantum efficiency above 1"
        raise ValueError(msg)
    return EfficiencyCurve(tuple(wavelength_nm.tolist()), tuple(efficiency.tolist()))


EFFICIENCY = Parsed("a number from 0 to 1 or a CSV file", "0.6", by=_read_efficiency)
