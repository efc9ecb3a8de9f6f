"""
The light at each column: fall-off of the lamp along the line, and of the lens off its axis.

References
----------
Fall-off of a lens: cos⁴ law, or its relative illumination as ISO 13653 has it; both from memory.
"""

import numpy as np

from linesim.forward.geometry import Figure, geometry, timing
from linesim.setup.arrays import FloatArray
from linesim.setup.lens.over_field import OverField
from linesim.setup.setup import Setup

_PLACES = 201
"""Along the line, at which the least is looked for."""


def lens_share(setup: Setup, x_um: FloatArray) -> FloatArray:
    """
    Give the light along the line, as the lens passes it on.

    Parameters
    ----------
    setup : Setup; its numbers may be arrays
    x_um : ndarray; places of the line from the optical axis, at the sensor [µm]

    Returns
    -------
    ndarray
        Share of that in the middle: the relative illumination of ISO 13653 where it is given, which
        falls with the square of the image height where it is one number; cos⁴ otherwise.
    """
    given = setup.lens.relative_illumination
    if given is None:
        lens = setup.lens.focal_length_mm, setup.pupil_magnification
        return off_axis_share(x_um, setup.magnification, *lens)
    position = x_um / (1000 * np.asarray(setup.half_line_mm))
    if isinstance(given, OverField):
        return given.at(position, setup.half_line_mm)
    return np.asarray(1 - (1 - np.asarray(given)) * position**2)


def least_lens_share(setup: Setup) -> float:
    """Give the least of the values over the field; 1 where the setup has none of them."""
    given = setup.lens.relative_illumination
    if not isinstance(given, OverField):
        return 1.0
    return float(given.at(np.linspace(-1, 1, _PLACES), setup.half_line_mm).min())


def off_axis_share(
    x_um: FloatArray, magnification: float, focal_length_mm: float | None, pupil: float = 1.0
) -> FloatArray:
    """Give the cos⁴ fall-off, tan θ = x/(f(P+m)) with x at the sensor; 1 without a focal length."""
    if focal_length_mm is None:
        return np.ones_like(x_um)
    tangent = x_um / (1000 * focal_length_mm * (pupil + magnification))
    return (1 + tangent**2) ** -2.0


def line_profile(position: FloatArray, edge_falloff: float) -> FloatArray:
    """Give the light along the line, which falls off as a parabola."""
    return np.asarray(1 - edge_falloff * position**2)


def column_profile(setup: Setup, columns: int, *, ambient: bool = False) -> FloatArray:
    """
    Give the light at each column: the fall-off of the light along the line and of the lens.

    Parameters
    ----------
    setup : Setup
    columns : int; columns across the delivered line
    ambient : bool; of the ambient light alone, which falls evenly on the target

    Returns
    -------
    ndarray of shape (columns,); share of the signal in the middle of the line
    """
    lamp, lens, share = _parts(setup, (2 * np.arange(columns) + 1) / columns - 1)
    if ambient:
        return np.asarray(share * lens)
    return np.asarray(((1 - share) * lamp + share) * lens)


def ends_share(setup: Setup) -> FloatArray:
    """
    Give the light at the worst place: the outermost column, at the end of the lamps' service.

    Lamp and lens fall off steadily; what lamps lose with age (CIE 97, from memory) they lose
    everywhere, and the ambient light does not.

    Parameters
    ----------
    setup : Setup; the station; its numbers may be arrays

    Returns
    -------
    ndarray; share of the new lamp's signal in the middle of the line
    """
    columns = setup.camera.pixels // setup.acquisition.binning.across
    lamp, lens, share = _parts(setup, 1 - 1 / np.asarray(columns))
    lens = np.minimum(lens, least_lens_share(setup))
    left = setup.light.maintenance_factor
    lamp = lamp if left is None else lamp * left
    return np.asarray(((1 - share) * lamp + share) * lens)


def half_line_mm(setup: Setup) -> FloatArray:
    """
    Give half the length of the delivered line on the target.

    Parameters
    ----------
    setup : Setup; the station; its numbers may be arrays

    Returns
    -------
    float or ndarray [mm]
    """
    return np.asarray(_half_um(setup) / setup.magnification / 1000)


def _half_um(setup: Setup) -> FloatArray:
    """Half the delivered line on the sensor. [µm]."""
    across = setup.acquisition.binning.across
    return np.asarray(setup.camera.pixels // across * across * setup.camera.pixel_width_um / 2)


def _lamps(setup: Setup, position: FloatArray) -> FloatArray:
    """Fall-off of lamps that end, each by its own geometry; each counts by its light."""
    place_mm = position * half_line_mm(setup)
    each_w_m2 = [np.asarray(lamp.irradiance_w_m2) for lamp in setup.lamps]
    fallen = [
        own_w_m2 * lamp.falls(place_mm)
        for lamp, own_w_m2 in zip(setup.lamps, each_w_m2, strict=True)
    ]
    all_w_m2 = np.sum(each_w_m2, axis=0)
    left = np.sum(fallen, axis=0) / np.maximum(all_w_m2, 1e-300)
    return np.where(all_w_m2 > 0, left, 1.0)


def _parts(setup: Setup, position: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share of lamp and lens at places from -1 to 1, and how much of the light is ambient."""
    lens = lens_share(setup, position * _half_um(setup))
    lamp = line_profile(position, setup.light.edge_falloff)
    if not all(each.strip.endless for each in setup.lamps):
        lamp = lamp * _lamps(setup, position)
    other_w_m2: Figure = setup.ambient_w_m2
    if setup.light.pulse_us is not None:
        when = timing(setup, geometry(setup))
        other_w_m2 = other_w_m2 * when.exposure_us / when.lit_us
    all_w_m2 = np.maximum(setup.irradiance_w_m2 + other_w_m2, 1e-300)
    return lamp, lens, np.asarray(other_w_m2 / all_w_m2)
