"""The light at each column: fall-off of the lamp along the line, and of the lens off its axis."""

import numpy as np

from linesim.forward.lens import off_axis_share
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup


def line_profile(position: FloatArray, edge_falloff: float) -> FloatArray:
    """Give the light along the line, which falls off as a parabola."""
    return np.asarray(1 - edge_falloff * position**2)


def column_profile(setup: Setup, columns: int, *, ambient: bool = False) -> FloatArray:
    """
    Give the light at each column: the fall-off of the light along the line and of the lens.

    Parameters
    ----------
    setup : Setup
        The station.
    columns : int
        Columns across the delivered line.
    ambient : bool
        Of the ambient light alone, which falls evenly on the target.

    Returns
    -------
    ndarray of shape (columns,)
        Share of the signal in the middle of the line.
    """
    lamp, lens, share = _parts(setup, (2 * np.arange(columns) + 1) / columns - 1)
    if ambient:
        return np.asarray(share * lens)
    return np.asarray(((1 - share) * lamp + share) * lens)


def ends_share(setup: Setup) -> FloatArray:
    """Give the light at the outermost column: the worst, since lamp and lens fall off steadily."""
    columns = setup.camera.pixels // setup.acquisition.binning.across
    lamp, lens, share = _parts(setup, 1 - 1 / np.asarray(columns))
    return np.asarray(((1 - share) * lamp + share) * lens)


def _parts(setup: Setup, position: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share of lamp and lens at places from -1 to 1, and how much of the light is ambient."""
    across = setup.acquisition.binning.across
    half_um = setup.camera.pixels // across * across * setup.camera.pixel_width_um / 2
    lens = off_axis_share(position * half_um, setup.magnification, setup.lens.focal_length_mm)
    lamp = line_profile(position, setup.light.edge_falloff)
    all_w_m2 = np.maximum(setup.irradiance_w_m2 + setup.ambient_w_m2, 1e-300)
    return lamp, lens, np.asarray(setup.ambient_w_m2 / all_w_m2)
