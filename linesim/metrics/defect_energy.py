"""
What of a defect reaches the samples, on the mean of all places of it on the pixel grid.

Integrals over frequencies by Gauss and Legendre's rule, on nodes that gather where a defect of some
size behind a pixel has its power, up to the lens's cut-off.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import lru_cache, partial
from typing import TypeVar

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.pixel import longest_side_um, pixel_mtf_across, pixel_mtf_along
from linesim.forward.station import Station
from linesim.metrics.defect_shapes import Shape
from linesim.setup.arrays import FloatArray

_NODES = 32
_REACH = 2.0
"""Of the nodes: the frequency about which they gather, times the side of what blurs."""
Part = TypeVar("Part")


def _widened(part: Part) -> Part:
    """Give every number two more axes, for frequencies across and along."""
    if is_dataclass(part) and not isinstance(part, type):
        changes = {each.name: _widened(getattr(part, each.name)) for each in fields(part)}
        return replace(part, **changes)
    return np.asarray(part)[..., None, None]  # type: ignore[return-value]


@lru_cache(maxsize=1)
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Places from 0 to 1 and weights of Gauss and Legendre's rule."""
    place, weight = np.polynomial.legendre.leggauss(_NODES)
    return (place + 1) / 2, weight / 2


def _frequencies(side_um: Figure, cutoff_lp_mm: Figure) -> tuple[FloatArray, FloatArray]:
    """
    Spread nodes from 0 to the lens's cut-off, half of them below 2 over the side. [lp/mm].

    With 32 each way d' is right to 0.002 for discs of 0.1 to 400 pixels, for oblongs to 0.005 (to
    0.01 for 100 x 100), all at cut-offs of 0.7 to 60 per pixel.
    """
    place, weight = _nodes()
    near = np.minimum(1000 * _REACH / np.asarray(side_um), 0.999 * np.asarray(cutoff_lp_mm))
    bend = 1 - near / cutoff_lp_mm
    near, bend = near[..., None], bend[..., None]
    return near * place / (1 - bend * place), near * weight / (1 - bend * place) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Energies:
    """
    What of a defect of contrast 1 reaches the samples, on the mean of all places on the grid.

    Parameters
    ----------
    samples : float or ndarray
        Mean of Σs², white counted as 1.
    columns : float or ndarray
        Mean of Σ_columns(Σ_lines s)².
    """

    samples: Figure
    columns: Figure


def energies(numbers: Station, shape: Shape) -> Energies:
    """
    Work out what of a defect reaches the samples.

    Parameters
    ----------
    numbers : Station
        The station.
    shape : Shape
        Of the defect; its sides broadcast with the station.

    Returns
    -------
    Energies
        Of a contrast of 1.
    """
    return energies_of(numbers)(shape)


def energies_of(numbers: Station) -> Callable[[Shape], Energies]:
    """
    Prepare a station for the energies of many shapes.

    Parameters
    ----------
    numbers : Station
        The station.

    Returns
    -------
    callable
        As `energies`, given a shape.
    """
    return partial(_energies, numbers, _widened(numbers))


def _energies(numbers: Station, wide: Station, shape: Shape) -> Energies:
    place, advance_um = numbers.geometry, numbers.timing.line_advance_um
    cutoff_lp_mm = np.asarray(numbers.optics.cutoff_lp_mm * numbers.optics.magnification)
    size_x_um, size_y_um = shape.side_um
    fx, wx = _frequencies(np.hypot(place.object_pixel_x_um, size_x_um), cutoff_lp_mm)
    fy, wy = _frequencies(np.hypot(longest_side_um(numbers), size_y_um), cutoff_lp_mm)
    fx, fy = fx[..., :, None], fy[..., None, :]
    across = pixel_mtf_across(wide, fx)
    seen = across * pixel_mtf_along(wide, fy) * _on_sensor(wide, _widened(shape), fx, fy)
    flat = across * _on_sensor(wide, _widened(shape), fx, np.zeros((1, 1)))
    # the plane has four such quarters, a line two such halves; 10⁻³ turns lp/mm into 1/µm
    samples = 4e-6 * np.einsum("...i,...ij,...j->...", wx, np.square(seen), wy)
    columns = 2e-3 * np.einsum("...i,...ij->...", wx, np.square(flat))
    cell_um2 = place.object_pixel_x_um * advance_um
    return Energies(samples=samples / cell_um2, columns=columns / (cell_um2 * advance_um))


def _on_sensor(wide: Station, shape: Shape, fx: FloatArray, fy: FloatArray) -> FloatArray:
    """Transform of a defect behind the lens. [µm²]."""
    lens = wide.optics.mtf(np.hypot(fx, fy) / wide.optics.magnification)
    return np.asarray(lens * shape.transform(fx, fy))
