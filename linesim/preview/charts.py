"""Curves for the page's small charts, worked out here so that the page draws and no more."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from linesim.figures.case import Value
from linesim.figures.curves import factors_across, factors_along, noise_sources_e
from linesim.forward.kept import kept
from linesim.forward.station import Station
from linesim.report.light_bars import light_steps
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

_POINTS = 49
_FAINTEST_E = 1.0
_BEYOND = 1.5
"""The MTF is drawn up to so many times the larger Nyquist frequency; our choice."""
_DIGITS = 5
_SNR_STEPS = 512
"""Linear between them in √e the SNR is off by less than a hundredth; our choice."""


def _list(values: FloatArray) -> list[float]:
    """Write numbers short; a chart of 300 pixels needs no more digits."""
    return [float(f"{value:.{_DIGITS}g}") for value in np.asarray(values, dtype=np.float64)]


def noise_chart(numbers: Station) -> dict[str, Any]:
    """Give each source of noise over the signal."""
    ones = numbers.by_colour
    one = ones[len(ones) // 2]  # the middle one of three colours, green
    white_e = float(np.max(np.asarray(numbers.electrons_white)))
    full_e = float(np.min(np.asarray(numbers.saturation_e)))
    top_e = max(white_e, full_e, 10 * _FAINTEST_E)
    signal_e = np.geomspace(_FAINTEST_E, top_e, _POINTS)
    sources = noise_sources_e(one, signal_e)
    return {
        "signal_e": _list(signal_e),
        "sources": {name: _list(noise) for name, noise in sources.items() if noise.max() > 0},
        "total_e": _list(np.asarray(one.total_noise_e(signal_e))),
        "white_e": white_e,
        "full_e": full_e,
    }


def mtf_chart(setup: Setup, numbers: Station) -> dict[str, Any]:
    """Give the MTF both ways, and what lens, pixel and motion have in it."""
    nyquist_x = 500 / float(numbers.geometry.object_pixel_x_um)
    nyquist_y = 500 / float(numbers.timing.line_advance_um)
    at_lp_mm = np.linspace(0, _BEYOND * max(nyquist_x, nyquist_y), _POINTS)
    defect_um = setup.smallest_defect_um
    # of the colours, green stands for the sharpness of all
    across, along = (of(numbers.green, at_lp_mm) for of in (factors_across, factors_along))
    lens = [name for name in across if name != "pixel"]
    return {
        "frequency_lp_mm": _list(at_lp_mm),
        "curves": {
            "across": _product(across, list(across)),
            "along": _product(along, list(along)),
            "lens alone": _product(across, lens),
            "motion alone": _product(along, ["motion"]),
        },
        "nyquist_x_lp_mm": nyquist_x,
        "nyquist_y_lp_mm": nyquist_y,
        # a bar as wide as the defect is half a line pair
        "defect_lp_mm": None if defect_um is None else 500 / defect_um,
    }


def _product(factors: Mapping[str, FloatArray], names: list[str]) -> list[float]:
    parts = np.broadcast_arrays(*(np.abs(factors[name]) for name in names))
    return _list(np.prod(parts, axis=0))


def light_chart(setup: Setup, signal: Mapping[str, Value]) -> list[dict[str, Any]]:
    """Give the light budget step by step, as the report has it."""
    return [asdict(step) for step in light_steps(setup, signal)]


def snr_curve(numbers: Station, largest_e: float) -> dict[str, Any]:
    """
    Give the SNR of a sample over its expected electrons, for each colour.

    The curve ends at the largest of the picture, or at white: of each colour the SNR at top_e (k /
    n)², k = 0 … n, with the noise in time that wells and words leave, as the budget's
    ``snr_product``.
    """
    top_e = max(largest_e, float(np.max(np.asarray(numbers.electrons_white))), 1.0)
    signal_e = top_e * np.linspace(0, 1, _SNR_STEPS + 1) ** 2
    each = []
    for one in numbers.by_colour:
        left = kept(one, signal_e)
        each.append(_list(signal_e * np.asarray(left.slope) / np.asarray(left.noise_e)))
    return {"top_e": top_e, "each": each}
