"""
A light over all wavelengths: what a table that ends early leaves out, for eyes, skin and heat.

The model, its electrons and its W/m² keep to the table of the light. A table that follows Planck's
law, as illuminant A does, is continued by it; of any other light no more than the table is known.
A real lamp radiates less than Planck's law far out, where its glass holds back light, and the glass
radiates again as it gets hot; so the total is good for cautions, not for a balance of heat.

References
----------
Planck's law and the Stefan-Boltzmann law with the constants of the SI Brochure, 9th ed., 2019.
CIE 15:2018 for illuminant A, a black body of 2856 K.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import pi

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.light.spectra import (
    LIGHT_SPEED_M_S,
    PLANCK_J_S,
    SUM_TOLERANCE,
    VISIBLE_NM,
    Spectrum,
)

BOLTZMANN_J_K = 1.380649e-23
_C2_NM_K = 1e9 * PLANCK_J_S * LIGHT_SPEED_M_S / BOLTZMANN_J_K
VIOLET_NM = 400.0
"""Ultraviolet ends here by ISO 21348 and CIE 17 (from memory)."""
_TEMPERATURES_K = (500.0, 10_000.0)
_TRIED, _REFINED = 51, 6
"""Temperatures tried at once; each time the range shrinks 25-fold, to 0.04 mK in the end."""
_LEAST_SPAN_NM = 200.0
_CLOSE = 0.05
"""A table that stays this near to Planck's law, over 200 nm or more, is thermal; our choice."""
_STRONG_END = 0.1
"""A table that ends at over this share of its peak is cut off; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeLight:
    """A light over all wavelengths, as far as its table tells."""

    # of the black body that continues the table; ``None`` where none does [K]
    temperature_k: float | None
    # power over all wavelengths over that in the table; 1 where nothing continues it
    total_ratio: float
    # whether the table ends where the light is strong and nothing continues it: the lamp then
    # radiates more than the table says
    is_cut: bool
    # power below 380 nm, below 400 nm and above 780 nm, as shares of the total
    ultraviolet_share: float
    violet_share: float
    infrared_share: float

    @property
    def invisible_share(self) -> float:
        """Power outside 380 to 780 nm, as a share of the total."""
        return self.ultraviolet_share + self.infrared_share


@lru_cache(maxsize=64)
def whole_light(spectrum: Spectrum) -> WholeLight:
    """Continue a light beyond its table."""
    grid, weight = spectrum.wavelength_nm, spectrum.weight_per_nm
    temperature_k = _temperature_k(grid, weight)
    blue, red = VISIBLE_NM
    if temperature_k is not None:
        inside = float(_below(grid[-1:], temperature_k)[0] - _below(grid[:1], temperature_k)[0])
        uv, violet, seen = _below(np.array([blue, VIOLET_NM, red]), temperature_k).tolist()
        return WholeLight(
            temperature_k=temperature_k,
            total_ratio=1 / inside,
            is_cut=False,
            ultraviolet_share=uv,
            violet_share=violet,
            infrared_share=1 - seen,
        )
    uv, violet, seen = (_share_below(grid, weight, edge) for edge in (blue, VIOLET_NM, red))
    return WholeLight(
        temperature_k=None,
        total_ratio=1.0,
        is_cut=bool(max(weight[0], weight[-1]) > _STRONG_END * weight.max()),
        ultraviolet_share=uv,
        violet_share=violet,
        infrared_share=1 - seen,
    )


def _share_below(grid: FloatArray, weight: FloatArray, edge_nm: float) -> float:
    """Share of a table's power below a wavelength, trapezoid sum with the edge as a point."""
    nodes = np.union1d(grid, np.clip(edge_nm, grid[0], grid[-1]))
    nodes = nodes[nodes <= edge_nm]
    share = float(np.trapezoid(np.interp(nodes, grid, weight), nodes))
    return 1.0 if share > 1 - SUM_TOLERANCE else share


def _temperature_k(grid: FloatArray, weight: FloatArray) -> float | None:
    """Find the black body whose light a table has, in any scale; none where it strays from all."""
    if weight.min() <= 0 or grid[-1] - grid[0] < _LEAST_SPAN_NM:
        return None

    def stray(temperature_k: FloatArray) -> FloatArray:
        off = np.log(weight) - _log_planck(grid, temperature_k[:, None])
        return np.asarray(off - off.mean(axis=1, keepdims=True))

    low, high = _TEMPERATURES_K
    for _ in range(_REFINED):
        tried_k = np.linspace(low, high, _TRIED)
        off = stray(tried_k)
        best = int(np.square(off).sum(axis=1).argmin())
        low, high = tried_k[max(best - 1, 0)], tried_k[min(best + 1, _TRIED - 1)]
    return float(tried_k[best]) if np.abs(off[best]).max() < _CLOSE else None


def _log_planck(grid: FloatArray, temperature_k: FloatArray) -> FloatArray:
    """Logarithm of Planck's law by wavelength, λ⁻⁵ / (exp(c₂/λT) - 1), in any scale."""
    x = _C2_NM_K / (grid * temperature_k)
    return np.asarray(-5 * np.log(grid) - x - np.log1p(-np.exp(-x)))


def _below(edge_nm: FloatArray, temperature_k: float) -> FloatArray:
    """
    Share of a black body's power below each wavelength.

    With x = c₂/λT it is 15/π⁴ Σ exp(-nx) (x³/n + 3x²/n² + 6x/n³ + 6/n⁴), Planck's law integrated
    term by term.
    """
    x = _C2_NM_K / (edge_nm[:, None] * temperature_k)
    n = np.arange(1, 200)
    terms = np.exp(-n * x) * (x**3 / n + 3 * x**2 / n**2 + 6 * x / n**3 + 6 / n**4)
    return np.asarray(15 / pi**4 * terms.sum(axis=1))
