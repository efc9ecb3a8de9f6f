"""Where a delivered pixel lies on the target, and when a line is taken. All numbers broadcast."""

from dataclasses import dataclass

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

Figure = float | FloatArray
"""A number, or an array of them that broadcasts against the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """
    Pixels and their footprints; each field a number or an array.

    Parameters
    ----------
    pixels : float
        Physical pixels along the line.
    pixel_width_um, pixel_height_um : float
        One physical pixel at the sensor. [µm]
    across, along : float
        Physical pixels joined into a delivered one.
    magnification : float
        Image over object.
    speed_mm_s, assumed_speed_mm_s : float
        Of the target, and what the line clock believes. [mm/s]
    """

    pixels: Figure
    pixel_width_um: Figure
    pixel_height_um: Figure
    across: Figure
    along: Figure
    magnification: Figure
    speed_mm_s: Figure
    assumed_speed_mm_s: Figure

    @property
    def pixels_joined(self) -> Figure:
        """Physical pixels in one delivered pixel."""
        return self.across * self.along

    @property
    def pixel_area_um2(self) -> Figure:
        """Light-sensitive area of one physical pixel. [µm²]."""
        return self.pixel_width_um * self.pixel_height_um

    @property
    def object_pixel_x_um(self) -> Figure:
        """Footprint of a delivered pixel across the web. [µm]."""
        return self.across * self.pixel_width_um / self.magnification

    @property
    def object_pixel_y_um(self) -> Figure:
        """Footprint of a delivered pixel along travel. [µm]."""
        return self.along * self.pixel_height_um / self.magnification

    @property
    def image_width_px(self) -> Figure:
        """Delivered pixels in a line; pixels that fill no whole group are left out."""
        return self.pixels // self.across

    @property
    def field_of_view_mm(self) -> Figure:
        """Length of the delivered line on the target. [mm]."""
        return self.image_width_px * self.object_pixel_x_um / 1000

    @property
    def matched_line_rate_hz(self) -> Figure:
        """Rate at which the advance equals the object pixel's height. [Hz]."""
        return 1000 * self.speed_mm_s / self.object_pixel_y_um

    @property
    def square_line_rate_hz(self) -> Figure:
        """Rate at which the advance equals the object pixel's width. [Hz]."""
        return 1000 * self.speed_mm_s / self.object_pixel_x_um


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """
    When lines start and how long they expose; each field a number or an array.

    Parameters
    ----------
    line_rate_hz : float
        Lines a second at the mean speed. [Hz]
    line_advance_um : float
        Travel from one line to the next at the mean speed. [µm]
    exposure_us : float
        Exposure time. [µs]
    peak_rate_hz : float
        Lines a second while the ripple is at its peak; the line rate itself with a clock. [Hz]
    dead_time_us : float
        Time the camera needs between two exposures. [µs]
    """

    line_rate_hz: Figure
    line_advance_um: Figure
    exposure_us: Figure
    peak_rate_hz: Figure
    dead_time_us: Figure

    @property
    def line_period_us(self) -> Figure:
        """Time from one line to the next at the mean speed. [µs]."""
        return 1e6 / self.line_rate_hz

    @property
    def longest_exposure_us(self) -> Figure:
        """What the shortest period leaves to expose in. [µs]."""
        return 1e6 / self.peak_rate_hz - self.dead_time_us

    @property
    def duty(self) -> Figure:
        """Exposure over line period."""
        return self.exposure_us / self.line_period_us


def geometry(setup: Setup) -> Geometry:
    """
    Take the geometry out of a setup.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Geometry
        Plain numbers.
    """
    transport, binning = setup.transport, setup.acquisition.binning
    return Geometry(
        pixels=setup.camera.pixels,
        pixel_width_um=setup.camera.pixel_width_um,
        pixel_height_um=setup.pixel_height_um,
        across=binning.across,
        along=binning.along,
        magnification=setup.magnification,
        speed_mm_s=transport.speed_mm_s,
        assumed_speed_mm_s=transport.assumed_speed_mm_s or transport.speed_mm_s,
    )


def line_advance_um(setup: Setup, place: Geometry) -> Figure:
    """
    Travel from one line to the next: set by a clock, or counted by an encoder.

    Parameters
    ----------
    setup : Setup
        The station.
    place : Geometry
        Its geometry.

    Returns
    -------
    float
        Line advance at the mean speed. [µm]
    """
    rate = setup.acquisition.line_rate
    wanted_um = place.object_pixel_x_um if rate == "square" else place.object_pixel_y_um
    if setup.transport.trigger == "encoder":
        count_um = (setup.transport.encoder_step_um or 0.0) / setup.transport.encoder_multiplier
        divider = setup.transport.encoder_divider or np.maximum(1, np.rint(wanted_um / count_um))
        return float(count_um * divider)
    # the clock sets its rate for the speed it believes in
    rate_hz = 1000 * place.assumed_speed_mm_s / wanted_um if isinstance(rate, str) else rate
    return 1000 * place.speed_mm_s / rate_hz


def timing(setup: Setup, place: Geometry) -> Timing:
    """
    Work out line rate and exposure.

    With a clock, a ripple of the speed leaves the rate alone; with an encoder the rate follows
    the speed, so "full" exposure is what the shortest period leaves.

    Parameters
    ----------
    setup : Setup
        The station.
    place : Geometry
        Its geometry.

    Returns
    -------
    Timing
        Plain numbers.
    """
    advance_um = line_advance_um(setup, place)
    rate_hz = 1000 * place.speed_mm_s / advance_um
    follows = setup.transport.trigger == "encoder"
    peak_hz = rate_hz * (1 + setup.transport.speed_ripple) if follows else rate_hz
    dead_us = setup.camera.dead_time_us
    exposure = setup.acquisition.exposure
    return Timing(
        line_rate_hz=rate_hz,
        line_advance_um=advance_um,
        exposure_us=1e6 / peak_hz - dead_us if isinstance(exposure, str) else exposure,
        peak_rate_hz=peak_hz,
        dead_time_us=dead_us,
    )
