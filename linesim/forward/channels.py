"""
The colour channels of a camera: where each looks, when, and which part of the light it sees.

A three-line sensor has its rows of red, green and blue at a distance: the same strip of the target
passes them one after the other, D = line_spacing/(m · line_advance) lines apart. The camera undoes
the delay by whole lines, by fractions of a line, or not at all, from the speed it believes in. A
prism gives every colour a sensor of its own on one line of sight: nothing to undo.
"""

from dataclasses import dataclass

import numpy as np

from linesim.forward.collect import band_weights
from linesim.forward.lens import by_wavelength
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Channel:
    """One channel."""

    # 0 for monochrome and red, 1 for green, 2 for blue: the channel of its random streams
    index: int
    # where on the target its row looks, from where the green one does; what lies further back meets
    # the camera later [µm]
    row_offset_um: float
    delay_lines: float  # delivered lines by which it is read later, to undo that
    bands: FloatArray  # shape (3,); what red, green and blue reflectance count in it
    white_e: float  # signal of a delivered pixel on white [e]


def row_distance(setup: Setup) -> float:
    """Distance of neighbouring colour rows on the target."""
    spaced = setup.camera.kind == "three-line"
    return setup.line_spacing_um / (setup.magnification * setup.foreshortening) if spaced else 0.0


def undone_lines(setup: Setup, numbers: Station) -> float:
    """Delay between neighbouring colour rows that the camera undoes."""
    place, alignment = numbers.geometry, setup.acquisition.colour_alignment
    believed = 1.0
    if setup.transport.trigger == "clock":  # an encoder counts travel itself
        believed = float(place.assumed_speed_mm_s / place.speed_mm_s)
    delay = row_distance(setup) / (float(numbers.timing.line_advance_um) * believed)
    return {"none": 0.0, "whole-lines": float(np.rint(delay)), "fractional": delay}[alignment]


def channels(setup: Setup, numbers: Station) -> tuple[Channel, ...]:
    """
    Give the channels of a camera, in the order in which they are delivered.

    Returns
    -------
    tuple of Channel; one, or red, green and blue
    """
    white_e = np.atleast_1d(np.asarray(numbers.electrons_white, dtype=np.float64))
    distance_um, undone = row_distance(setup), undone_lines(setup, numbers)
    off_um = sensors_off_um(setup)
    bands = np.atleast_2d(band_weights(setup))
    return tuple(
        Channel(
            index=index,
            row_offset_um=(index - 1) * distance_um
            + (0.0 if off_um is None else float(off_um[index])),
            delay_lines=(1 - index) * undone,
            bands=bands[index],
            white_e=float(white_e[index]),
        )
        for index in range(len(white_e))
    )


def colour_shift_um(setup: Setup, channel: int, x_um: FloatArray) -> FloatArray | None:
    """
    Tell by how much further along the sensor a channel has its image than the optical axis says.

    Parameters
    ----------
    channel : int; 0 for monochrome and red, 1 for green, 2 for blue
    x_um : ndarray; places of the line from the optical axis, at the sensor [µm]

    Returns
    -------
    ndarray of the same shape, or None where nothing shifts [µm]
    """
    lateral, off = setup.lens.lateral_colour_um, setup.camera.registration_um
    if setup.camera.kind == "mono" or (lateral is None and off is None):
        return None
    out_um = by_wavelength(setup, lateral)[channel] * x_um / (1000 * setup.half_line_mm)
    return np.asarray(out_um - (0.0 if off is None else off[channel][0]))


def misregistration_x_px(setup: Setup, numbers: Station) -> FloatArray | None:
    """
    Shift of each colour against green across the line, at the end where it is larger.

    Returns
    -------
    ndarray of shape (3,), or None where nothing shifts
        Place in the picture less that in green: red, green, blue. [delivered pixels]
    """
    half_um = 1000 * np.asarray(setup.half_line_mm)
    found = (colour_shift_um(setup, index, np.array([1.0, -1.0]) * half_um) for index in range(3))
    each = [shift_um for shift_um in found if shift_um is not None]
    if not each:
        return None
    against_um = np.stack(each) - each[1]
    larger = np.abs(against_um).argmax(axis=1)
    side_um = numbers.geometry.pixel_width_um * numbers.geometry.across
    return np.asarray(against_um[np.arange(3), larger] / side_um)


def misregistration_swing_px(setup: Setup, numbers: Station) -> FloatArray:
    """
    Shift of each colour against green that a ripple of the speed adds, to and fro.

    Returns
    -------
    ndarray of shape (3,)
        Peak, a v̄ τ |sinc(gτ)| with τ the delay between rows; none with an encoder. [lines]
    """
    speed_um_s = 1000 * float(numbers.geometry.speed_mm_s)
    delay_s = row_distance(setup) / speed_um_s
    ripple = setup.transport.speed_ripple if setup.transport.trigger == "clock" else 0.0
    swing_um = ripple * row_distance(setup)
    swing_um *= abs(float(np.sinc(setup.transport.ripple_frequency_hz * delay_s)))
    return swing_um / float(numbers.timing.line_advance_um) * np.array([1.0, 0.0, 1.0])


def misregistration_px(setup: Setup, numbers: Station) -> FloatArray:
    """
    Shift of each colour against green that is left at an even speed.

    Where the camera undoes nothing, red meets the target D lines after green: an edge then lies D
    lines further down in red, which counts as +D, and as many further up in blue.

    Returns
    -------
    ndarray of shape (3,)
        Place in the picture less that in green: red, green, blue. [delivered lines]
    """
    advance_um = float(numbers.timing.line_advance_um)
    delay = row_distance(setup) / advance_um
    left = (delay - undone_lines(setup, numbers)) * np.array([1.0, 0.0, -1.0])
    off_um = sensors_off_um(setup)
    return left if off_um is None else left - (off_um - off_um[1]) / advance_um


def sensors_off_um(setup: Setup) -> FloatArray | None:
    """
    Tell how far along travel each sensor of a prism looks from its place.

    Returns
    -------
    ndarray of shape (3,), or None where all are in their places; on the target [µm]
    """
    given = setup.camera.registration_um
    if given is None:
        return None
    on_target = setup.magnification * setup.foreshortening
    return np.array([along for _, along in given]) / on_target
