"""
Light by wavelength: named CIE illuminants, narrow-band lamps, measured tables, and their sums.

A spectrum holds its share of the irradiance per nanometre, linear between the points of its grid.
V(λ) and mean wavelengths are trapezoid sums over the points (the summation of CIE 15). Electrons
are exact for straight lines of photon share and of quantum efficiency. Beyond its grid a light is
dark: illuminant A ends at 780 nm here, and a real incandescent lamp does not.

References
----------
CIE 15:2018, Colorimetry (illuminants, summation). BIPM, SI Brochure, 9th ed., 2019 (h and c exact,
683 lm/W at 540 THz). EMVA 1288 R4.0 RC (March 2021), eq. 3 (photons of a light).
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Self, TypeVar

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.setup.light.light_tables import illuminant_curves, illuminant_name, photopic_curve
from linesim.setup.light.sums import (
    Curve,
    checked_curve,
    efficiency_curve,
    gaussian_curve,
    merged,
    normalised,
    split_integral,
)

PLANCK_J_S = 6.62607015e-34
LIGHT_SPEED_M_S = 299_792_458.0
PHOTONS_PER_J_NM = 1e-9 / (PLANCK_J_S * LIGHT_SPEED_M_S)
"""Photons in a joule for each nanometre of mean wavelength, 1/(hc)."""
MAX_EFFICACY_LM_W = 683.002
"""Luminous efficacy where V is 1 (555 nm): 683 lm/W at 555.016 nm over V there."""
MIN_VISIBLE_SHARE = 0.01
"""Below this V-weighted share of the power an illuminance says too little about the light."""
SUM_TOLERANCE = 1e-9  # rounding of a few thousand weights stays under 1e-12
VISIBLE_NM = (380.0, 780.0)
BAND_EDGES_NM = (490.0, 580.0)

Figure = TypeVar("Figure", float, FloatArray)
Efficiency = float | Curve
"""Quantum efficiency η: one fraction, or wavelengths [nm] and fractions; zero beyond the curve."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """Spectral power of a light, as a share of its irradiance."""

    name: str
    wavelength_nm: FloatArray  # shape (n,); increasing, from 100 to 3000 [nm]
    # shape (n,); share of the irradiance per nanometre; its trapezoid sum over the grid is 1 [1/nm]
    weight_per_nm: FloatArray

    def __post_init__(self) -> None:
        what = f"spectrum {self.name!r}"
        grid, weight = checked_curve(self.wavelength_nm, self.weight_per_nm, what)
        total = float(np.trapezoid(weight, grid))
        if abs(total - 1.0) > SUM_TOLERANCE:
            refuse(f"weights of {what} sum to {total:.10g}, expected 1")
        for field, values in (("wavelength_nm", grid), ("weight_per_nm", weight)):
            values.setflags(write=False)
            object.__setattr__(self, field, values)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Spectrum) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)

    @property
    def _key(self) -> tuple[str, bytes, bytes]:
        return self.name, self.wavelength_nm.tobytes(), self.weight_per_nm.tobytes()

    @classmethod
    def named(cls, name: str) -> Self:
        """Give a CIE illuminant, 380 to 780 nm."""
        cie_name = illuminant_name(name)
        return cls.tabulated(*illuminant_curves()[cie_name], cie_name)

    @classmethod
    def gaussian(cls, peak_nm: float, width_nm: float) -> Self:
        """Give a single-colour lamp or a laser line."""
        name = f"{peak_nm:g} nm, {width_nm:g} nm wide"
        grid, weight = normalised(gaussian_curve(peak_nm, width_nm), name)
        return cls(name=name, wavelength_nm=grid, weight_per_nm=weight)

    @classmethod
    def tabulated(cls, wavelength_nm: FloatArray, power: FloatArray, name: str) -> Self:
        """Give a light from a table, such as a spectrometer's."""
        grid, values = checked_curve(wavelength_nm, power, f"spectrum {name!r}")
        fine = np.union1d(grid, np.arange(np.ceil(grid[0]), grid[-1]))
        fine, weight = normalised((fine, np.interp(fine, grid, values)), name)
        return cls(name=name, wavelength_nm=fine, weight_per_nm=weight)

    @property
    def visible_share(self) -> float:
        """Power weighted by V(λ), as a fraction of all power; 1 for a line at 555 nm."""
        return _visible_share(self)

    @property
    def invisible_share(self) -> float:
        """Fraction of the power outside 380 to 780 nm."""
        below, _, above = split_integral(self._power, self._flat, VISIBLE_NM)
        return float(below + above)

    @property
    def efficacy_lm_w(self) -> float:
        """Luminous efficacy of the radiation over its whole grid, 683.002 ∫ w V dλ. [lm/W]."""
        return MAX_EFFICACY_LM_W * self.visible_share

    @property
    def illuminance_is_meaningful(self) -> bool:
        """Whether at least 1 % of the power remains once weighted by V(λ)."""
        return self.visible_share >= MIN_VISIBLE_SHARE

    def irradiance_w_m2(self, illuminance_lx: Figure) -> Figure:
        """Turn an illuminance into the irradiance of this light over its whole grid."""
        if not self.illuminance_is_meaningful:
            refuse(
                f"illuminance of light {self.name!r}, of which the eye sees a share of "
                f"{self.visible_share:.3g} (least: {MIN_VISIBLE_SHARE:g}), expected W/m² instead"
            )
        return illuminance_lx / self.efficacy_lm_w

    @property
    def energy_mean_wavelength_nm(self) -> float:
        """Mean λ̄ by power, ∫ λ w dλ: photons = energy·λ̄/(hc), whatever the light. [nm]."""
        grid, photons = self._photons
        return float(np.trapezoid(photons, grid))

    @property
    def photon_mean_wavelength_nm(self) -> float:
        """Mean by photon number, ∫ λ·λw dλ / ∫ λw dλ: the one for diffraction. [nm]."""
        grid, photons = self._photons
        return float(np.trapezoid(grid * photons, grid) / np.trapezoid(photons, grid))

    @property
    def photons_per_joule(self) -> float:
        """Photons in a joule of this light, λ̄/(hc). [1/J]."""
        return self.energy_mean_wavelength_nm * PHOTONS_PER_J_NM

    def electrons_per_joule(self, qe: Efficiency) -> float:
        """Count the electrons that a joule of this light frees, ∫ w η λ dλ/(hc)."""
        bands = split_integral(self._photons, efficiency_curve(qe, self._flat), BAND_EDGES_NM)
        return float(bands.sum()) * PHOTONS_PER_J_NM

    def band_shares(
        self, qe: Efficiency, edges_nm: tuple[float, float] = BAND_EDGES_NM
    ) -> tuple[float, float, float]:
        """Split the electrons into shares of a short, a middle and a long band, which sum to 1."""
        electrons = split_integral(self._photons, efficiency_curve(qe, self._flat), edges_nm)
        if not electrons.any():
            refuse(f'camera.quantum_efficiency: "{self.name}" frees no electrons; expected over 0')
        short, middle, long = (electrons / electrons.sum()).tolist()
        return short, middle, long

    def electron_mean_wavelength_nm(self, qe: Efficiency, band: int | None = None) -> float:
        """
        Mean of the wavelength by the electrons that this light frees; or by photons.

        ``band`` is 0 below 490 nm, 1 up to 580 nm, 2 above; left out, all light.
        """
        curve, (grid, photons) = efficiency_curve(qe, self._flat), self._photons
        part = slice(None) if band is None else slice(band, band + 1)
        freed, weighed = (
            split_integral((grid, value), curve, BAND_EDGES_NM)[part].sum()
            for value in (photons, grid * photons)
        )
        return float(weighed / freed) if freed > 0 else self.photon_mean_wavelength_nm

    def electron_bins_nm(self, qe: Efficiency, band: int | None, count: int) -> FloatArray:
        """Give the means of a band's electrons sorted in equal bins; photons' if none are freed."""
        nodes, photons, efficiency = merged(
            self._photons, efficiency_curve(qe, self._flat), BAND_EDGES_NM
        )
        edges = (-np.inf, *BAND_EDGES_NM, np.inf)
        low, high = (-np.inf, np.inf) if band is None else edges[band : band + 2]
        freed = (photons * efficiency)[(nodes >= low) & (nodes <= high)]
        inside = nodes[(nodes >= low) & (nodes <= high)]
        if not freed.any():
            return np.full(count, self.photon_mean_wavelength_nm)
        steps = np.diff(inside) / 2
        up_to = np.append(0.0, np.cumsum(steps * (freed[1:] + freed[:-1])))
        weighed = inside * freed
        moment = np.append(0.0, np.cumsum(steps * (weighed[1:] + weighed[:-1])))
        ends = np.interp(np.linspace(0, up_to[-1], count + 1), up_to, moment)
        return np.asarray(np.diff(ends) * count / up_to[-1])

    @property
    def _power(self) -> Curve:
        return self.wavelength_nm, self.weight_per_nm

    @property
    def _photons(self) -> Curve:
        return self.wavelength_nm, self.wavelength_nm * self.weight_per_nm

    @property
    def _flat(self) -> Curve:
        return self.wavelength_nm[[0, -1]], np.ones(2)


@lru_cache(maxsize=64)
def _visible_share(light: Spectrum) -> float:
    nodes, weight, sensitivity = merged(
        (light.wavelength_nm, light.weight_per_nm), photopic_curve()
    )
    return float(np.trapezoid(weight * sensitivity, nodes))
