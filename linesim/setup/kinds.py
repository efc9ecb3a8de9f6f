"""Kinds of values that are more than a number in a range: binning, spectra, efficiencies."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from linesim.setup.curve_files import read_curve
from linesim.setup.errors import InputError
from linesim.setup.fields import Kind, Number, Quantity
from linesim.setup.spectra import Spectrum
from linesim.setup.spectral_sums import Curve

LARGEST_BINNING = 4
_BINNING = re.compile(r"([1-9])x([1-9])")
_WAVELENGTH = Quantity(what="a wavelength", example='"850 nm"', unit="nm", low=200.0, high=2500.0)
_WIDTH = Quantity(
    what="a full width at half maximum", example='"30 nm"', unit="nm", low=0.01, high=500.0
)
_SHARE = Number(what="a number from 0 to 1", example="0.6", low=0.0, high=1.0)


class Binning(NamedTuple):
    """Physical pixels in one delivered pixel, across the web and along it."""

    across: int
    along: int

    def __str__(self) -> str:
        """As the setup file has it."""
        return f"{self.across}x{self.along}"


@dataclass(frozen=True, slots=True, kw_only=True)
class BinningKind(Kind):
    """Across x along, such as "2x1"."""

    def read(self, value: object, folder: Path) -> Binning:  # noqa: ARG002 -- of the face
        """Take the two factors apart."""
        match = _BINNING.fullmatch(value) if isinstance(value, str) else None
        if match is None or max(map(int, match.groups())) > LARGEST_BINNING:
            msg = f"this is not two factors from 1 to {LARGEST_BINNING}"
            raise ValueError(msg)
        return Binning(int(match[1]), int(match[2]))


def _curve(text: str, folder: Path, value_name: str) -> Curve:
    try:
        return read_curve(folder / text, key="the file", value_name=value_name, written=text)
    except InputError as fault:
        raise ValueError(str(fault)) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectrumKind(Kind):
    """A CIE name, {peak, width}, or a CSV file of wavelength and power."""

    def read(self, value: object, folder: Path) -> Spectrum:
        """Build the spectrum."""
        try:
            if isinstance(value, dict):
                return _narrow_band(value, folder)
            if isinstance(value, str) and value.lower().endswith(".csv"):
                return Spectrum.tabulated(*_curve(value, folder, "power"), name=value)
            if isinstance(value, str):
                return Spectrum.named(value)
        except InputError as fault:
            raise ValueError(str(fault)) from None
        msg = "this is neither a name nor {peak, width}"
        raise ValueError(msg)


def _narrow_band(value: dict[str, object], folder: Path) -> Spectrum:
    if set(value) != {"peak", "width"}:
        msg = "a narrow band has exactly the keys peak and width"
        raise ValueError(msg)
    peak = _WAVELENGTH.read(value["peak"], folder)
    width = _WIDTH.read(value["width"], folder)
    return Spectrum.gaussian(float(peak), float(width))


class EfficiencyCurve(NamedTuple):
    """Quantum efficiency over the wavelength, in tuples so that two set-ups can be compared."""

    wavelength_nm: tuple[float, ...]
    value: tuple[float, ...]

    def arrays(self) -> Curve:
        """Wavelengths [nm] and values as arrays."""
        return np.asarray(self.wavelength_nm), np.asarray(self.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class EfficiencyKind(Kind):
    """A number, or a CSV file of wavelength and efficiency."""

    def read(self, value: object, folder: Path) -> float | EfficiencyCurve:
        """Take the number, or read the curve."""
        if not isinstance(value, str):
            return float(_SHARE.read(value, folder))
        wavelength_nm, efficiency = _curve(value, folder, "quantum efficiency")
        if efficiency.max() > 1:
            msg = "it holds a quantum efficiency above 1"
            raise ValueError(msg)
        return EfficiencyCurve(tuple(wavelength_nm.tolist()), tuple(efficiency.tolist()))
