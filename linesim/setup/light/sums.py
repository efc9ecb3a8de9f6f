"""Arithmetic of values over wavelength: checks, shapes, and integrals of a product."""

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse

GRID_RANGE_NM = (100.0, 3000.0)
WIDTH_RANGE_NM = (0.001, 1000.0)

Curve = tuple[FloatArray, FloatArray]
"""Wavelengths [nm], increasing, and the value at each; linear between them, zero beyond."""


def _require_between(what: str, value: float, limits: tuple[float, float], unit: str) -> None:
    low, high = limits
    if not low <= value <= high:  # also refuses NaN
        refuse(f"{what} is {value:g}{unit}, expected {low:g} to {high:g}{unit}")


def checked_curve(wavelength_nm: FloatArray, value: FloatArray, what: str) -> Curve:
    """Copy a table over wavelength into a curve, or refuse it."""
    grid = np.array(wavelength_nm, dtype=np.float64)
    values = np.array(value, dtype=np.float64)
    if grid.ndim != 1 or grid.shape != values.shape or grid.size <= 1:
        refuse(
            f"{what} has {grid.size} wavelengths and {values.size} values, "
            "expected two lists of one length, at least 2"
        )
    _require_increasing(grid, what)
    bad = ~(np.isfinite(values) & (values >= 0.0))
    if bad.any():
        first = int(np.argmax(bad))
        refuse(f"{what} is {values[first]:g} at {grid[first]:g} nm, expected a number from 0 up")
    return grid, values


def _require_increasing(grid: FloatArray, what: str) -> None:
    rising = np.diff(grid) > 0.0  # false for NaN too
    if not rising.all():
        first = int(np.argmin(rising))
        refuse(
            f"wavelengths of {what} go from {grid[first]:g} to {grid[first + 1]:g} nm, "
            "expected them to increase"
        )
    _require_between(f"first wavelength of {what}", float(grid[0]), GRID_RANGE_NM, " nm")
    _require_between(f"last wavelength of {what}", float(grid[-1]), GRID_RANGE_NM, " nm")


def efficiency_curve(qe: float | Curve, flat: Curve) -> Curve:
    """Bring a quantum efficiency to a checked curve."""
    grid, value = qe if isinstance(qe, tuple) else (flat[0], qe * flat[1])
    curve = checked_curve(grid, value, "quantum efficiency")
    _require_between("highest quantum efficiency", float(curve[1].max()), (0.0, 1.0), "")
    return curve


def gaussian_curve(peak_nm: float, width_nm: float) -> Curve:
    """Draw a Gaussian out to 6 standard deviations, cut at 100 and 3000 nm."""
    _require_between("peak of the spectrum", peak_nm, GRID_RANGE_NM, " nm")
    _require_between("width of the spectrum", width_nm, WIDTH_RANGE_NM, " nm")
    sigma_nm = width_nm / np.sqrt(8.0 * np.log(2.0))
    start, stop = np.clip(peak_nm + 6.0 * sigma_nm * np.array([-1.0, 1.0]), *GRID_RANGE_NM)
    steps = int(np.ceil((stop - start) / min(width_nm / 200.0, 1.0)))
    grid = np.linspace(start, stop, steps + 1)
    return grid, np.exp(-0.5 * ((grid - peak_nm) / sigma_nm) ** 2)


def normalised(curve: Curve, name: str) -> Curve:
    """Scale the power of a light to a trapezoid sum of 1."""
    grid, value = curve
    if not value.any():
        refuse(f"power of spectrum {name!r} is zero throughout, expected some light")
    relative = value / value.max()  # the sum then fits a float whatever the scale was
    return grid, relative / np.trapezoid(relative, grid)


def merged(
    first: Curve, second: Curve, cuts_nm: tuple[float, ...] = ()
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Bring two curves to one grid: the points of both, where both are defined."""
    (x1, y1), (x2, y2) = first, second
    nodes = np.union1d(np.concatenate([x1, x2]), cuts_nm)
    nodes = nodes[(nodes >= max(x1[0], x2[0])) & (nodes <= min(x1[-1], x2[-1]))]
    return nodes, np.interp(nodes, x1, y1), np.interp(nodes, x2, y2)


def split_integral(first: Curve, second: Curve, edges_nm: tuple[float, float]) -> FloatArray:
    """Integrate the product of two curves below, between and above two wavelengths."""
    nodes, a, b = merged(first, second, edges_nm)
    mean_product = (a[1:] + a[:-1]) * (b[1:] + b[:-1]) / 4.0
    pieces = np.diff(nodes) * (mean_product + np.diff(a) * np.diff(b) / 12.0)
    part = np.searchsorted(np.sort(edges_nm), (nodes[1:] + nodes[:-1]) / 2.0)
    return np.asarray(np.bincount(part, pieces, minlength=3), dtype=np.float64)
