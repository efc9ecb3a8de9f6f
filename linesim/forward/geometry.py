"""Where a delivered pixel lies on the target, and when a line is taken. All numbers broadcast."""

from dataclasses import dataclass, replace

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.lens.over_field import OverField
from linesim.setup.setup import Setup

Figure = float | FloatArray
"""A number, or an array of them that broadcasts against the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """Pixels and their footprints; each field a number or an array."""

    pixels: Figure
    pixel_width_um: Figure
    pixel_height_um: Figure
    across: Figure
    along: Figure
    magnification: Figure
    speed_mm_s: Figure
    assumed_speed_mm_s: Figure
    lines_joined: Figure = 1
    joined_advance_um: Figure = 0.0
    stages: Figure = 1
    foreshortening: Figure = 1.0
    field_share: Figure = 1.0

    @property
    def pixels_joined(self) -> Figure:
        """Physical pixels, lines and stages in one delivered pixel."""
        return self.across * self.along * self.lines_joined * self.stages

    @property
    def pixel_area_um2(self) -> Figure:
        """Light-sensitive area of one physical pixel. [µm²]."""
        return self.pixel_width_um * self.pixel_height_um

    @property
    def object_pixel_x_um(self) -> Figure:
        """Footprint of a delivered pixel across the web. [µm]."""
        return self.across * self.pixel_width_um / self.magnification

    @property
    def row_side_um(self) -> Figure:
        """Footprint along travel of the rows that look at the same moment. [µm]."""
        return self.along * self.pixel_height_um / (self.magnification * self.foreshortening)

    @property
    def object_pixel_y_um(self) -> Figure:
        """Footprint of a delivered pixel along travel, from first to last joined line. [µm]."""
        return self.row_side_um + (self.lines_joined - 1) * self.joined_advance_um

    @property
    def image_width_px(self) -> Figure:
        """Delivered pixels in a line; pixels that fill no whole group are left out."""
        return self.pixels // self.across

    @property
    def field_of_view_mm(self) -> Figure:
        """Length of the delivered line on the target, as the lens distorts it. [mm]."""
        return self.image_width_px * self.object_pixel_x_um / 1000 * self.field_share

    @property
    def matched_line_rate_hz(self) -> Figure:
        """Delivered rate at which lines neither overlap nor leave gaps. [Hz]."""
        return 1000 * self.speed_mm_s / (self.row_side_um * self.lines_joined)

    @property
    def square_line_rate_hz(self) -> Figure:
        """Rate at which the advance equals the object pixel's width. [Hz]."""
        return 1000 * self.speed_mm_s / self.object_pixel_x_um


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """
    When lines start and how long they expose; each field a number or an array.

    Of lights that shine in turn, all is of the lines of one but for ``peak_rate_hz``: the camera
    exposes ``turns`` times as many.
    """

    line_rate_hz: Figure
    line_advance_um: Figure
    exposure_us: Figure
    peak_rate_hz: Figure
    dead_time_us: Figure
    lines_joined: Figure = 1
    pulse_us: Figure = np.inf
    turns: Figure = 1

    @property
    def lit_us(self) -> Figure:
        """Time in which the lamp shines into an exposure: all of it, or a pulse. [µs]."""
        return np.minimum(self.exposure_us, self.pulse_us)

    @property
    def exposed_rate_hz(self) -> Figure:
        """Lines exposed a second at the mean speed. [Hz]."""
        return self.line_rate_hz * self.lines_joined

    @property
    def exposed_advance_um(self) -> Figure:
        """Travel from one exposed line to the next at the mean speed. [µm]."""
        return self.line_advance_um / self.lines_joined

    @property
    def line_period_us(self) -> Figure:
        """Time from one exposed line to the next at the mean speed. [µs]."""
        return 1e6 / self.exposed_rate_hz

    @property
    def longest_exposure_us(self) -> Figure:
        """What the camera's shortest period leaves to expose in. [µs]."""
        return 1e6 / self.peak_rate_hz - self.dead_time_us

    @property
    def duty(self) -> Figure:
        """Exposure over line period."""
        return self.exposure_us / self.line_period_us


def geometry(setup: Setup) -> Geometry:
    """Take the geometry out of a setup."""
    transport, binning = setup.transport, setup.acquisition.binning
    by_lines = setup.acquisition.binning_along == "lines"
    one_exposure = Geometry(
        pixels=setup.camera.pixels,
        pixel_width_um=setup.camera.pixel_width_um,
        pixel_height_um=setup.pixel_height_um,
        across=binning.across,
        along=1 if by_lines else binning.along,
        lines_joined=binning.along if by_lines else 1,
        magnification=setup.magnification,
        speed_mm_s=transport.speed_mm_s,
        assumed_speed_mm_s=transport.assumed_speed_mm_s or transport.speed_mm_s,
        stages=setup.camera.tdi_stages,
        foreshortening=setup.foreshortening,
        field_share=_field_share(setup),
    )
    return replace(one_exposure, joined_advance_um=exposed_advance_um(setup, one_exposure))


def _field_share(setup: Setup) -> Figure:
    """Share of the undistorted field that is seen, by the distortion at both ends."""
    given = setup.lens.distortion
    if given is None:
        return 1.0
    if isinstance(given, OverField):
        return float(np.mean(1 / (1 + given.at(np.array([-1.0, 1.0]), setup.half_line_mm))))
    return 1 / (1 + given)


def wanted_advance_um(setup: Setup, place: Geometry) -> Figure:
    """Travel from one exposed line to the next that "matched" or "square" asks for."""
    if setup.acquisition.line_rate == "square":
        return place.object_pixel_x_um / place.lines_joined
    return place.row_side_um


def exposed_advance_um(setup: Setup, place: Geometry) -> Figure:
    """Travel from one exposed line to the next: set by a clock, or counted by an encoder."""
    rate, wanted_um = setup.acquisition.line_rate, wanted_advance_um(setup, place)
    if setup.transport.trigger == "encoder":
        count_um = setup.encoder_count_um
        # the camera counts its own lines; each light has every so manieth
        own_um = wanted_um / setup.turn.lights
        nearest = setup.turn.lights * np.maximum(1, np.rint(own_um / count_um))
        counts = setup.transport.encoder_divider or nearest
        # n counts arrive when n/(1 − s) were made, in the mean
        return float(count_um * counts) / (1 - setup.missed_counts)
    # the clock sets its rate for the speed it believes in
    rate_hz = 1000 * place.assumed_speed_mm_s / wanted_um if isinstance(rate, str) else rate
    return 1000 * place.speed_mm_s / rate_hz


def timing(setup: Setup, place: Geometry) -> Timing:
    """
    Work out line rate and exposure.

    With a clock, a ripple of the speed leaves the rate alone; with an encoder the rate follows
    the speed, so "full" exposure is what the shortest period leaves. Of lights that shine in turn
    each leaves its share of the period to the others.
    """
    advance_um = place.joined_advance_um
    exposed_hz, turns = 1000 * place.speed_mm_s / advance_um, setup.turn.lights
    follows = setup.transport.trigger == "encoder"
    peak_hz = exposed_hz * (1 + setup.transport.speed_ripple) if follows else exposed_hz
    # where no count is lost the period is the shortest
    peak_hz = peak_hz * turns / (1 - setup.missed_counts)
    dead_us = setup.camera.dead_time_us
    exposure = setup.acquisition.exposure
    return Timing(
        line_rate_hz=exposed_hz / place.lines_joined,
        line_advance_um=advance_um * place.lines_joined,
        exposure_us=1e6 / peak_hz - dead_us if isinstance(exposure, str) else exposure,
        peak_rate_hz=peak_hz,
        dead_time_us=dead_us,
        lines_joined=place.lines_joined,
        pulse_us=np.inf if setup.light.pulse_us is None else setup.light.pulse_us,
        turns=turns,
    )
