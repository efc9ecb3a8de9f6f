"""The whole station in numbers: what a white target gives, and with what noise. All broadcast."""

from dataclasses import dataclass

import numpy as np

from linesim.forward.collect import electrons, electrons_per_joule
from linesim.forward.geometry import Figure, Geometry, Timing, geometry, timing
from linesim.forward.lens import Optics, optics
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup

QUANTISATION_VARIANCE_DN2 = 1 / 12
"""Variance of rounding, EMVA 1288 σ_q²; holds while the noise is above about 0.4 DN. [DN²]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """
    Sensor and electronics in numbers; each field a number or an array.

    Parameters
    ----------
    read_noise_e : float
        Of one conversion. [e]
    dark_current_e_s : float
        Per physical pixel. [e/s]
    full_well_e, binned_full_well_e : float
        Capacity of a physical pixel, and of the place where charge is summed. [e]
    gain_dn_e : float
        K. [DN/e]
    black_level_dn, full_scale_dn : float
        Offset, and largest number delivered. [DN]
    dsnu_e : float
        Per physical pixel. [e]
    prnu : float
        Per physical pixel, fraction.
    """

    read_noise_e: Figure
    dark_current_e_s: Figure
    full_well_e: Figure
    binned_full_well_e: Figure
    gain_dn_e: Figure
    black_level_dn: Figure
    full_scale_dn: Figure
    dsnu_e: Figure
    prnu: Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """
    One station, or many at once.

    Parameters
    ----------
    geometry : Geometry
        Pixels and footprints.
    timing : Timing
        Rates and exposure.
    optics : Optics
        Lens.
    sensor : Sensor
        Camera.
    irradiance_w_m2 : float
        At the target. [W/m²]
    electrons_per_joule : float
        Of this light on this sensor. [e/J]
    white_reflectance : float
        Of the brightest value of the target.
    """

    geometry: Geometry
    timing: Timing
    optics: Optics
    sensor: Sensor
    irradiance_w_m2: Figure
    electrons_per_joule: Figure
    white_reflectance: Figure

    @property
    def reads(self) -> Figure:
        """Conversions in one delivered sample: one, for charge is summed before it."""
        return 1

    @property
    def motion_um(self) -> Figure:
        """Travel while exposed. [µm]."""
        return self.geometry.speed_mm_s * self.timing.exposure_us / 1000

    @property
    def irradiance_sensor_w_m2(self) -> Figure:
        """At the sensor from a white target, on the axis. [W/m²]."""
        return self.white_reflectance * self.irradiance_w_m2 * self.optics.share_to_sensor

    @property
    def pixel_white_e(self) -> Figure:
        """Signal of one physical pixel on white. [e]."""
        return electrons(
            self.irradiance_sensor_w_m2,
            self.geometry.pixel_area_um2,
            self.timing.exposure_us,
            self.electrons_per_joule,
        )

    @property
    def electrons_white(self) -> Figure:
        """Signal of a delivered pixel on white. [e]."""
        return self.geometry.pixels_joined * self.pixel_white_e

    @property
    def pixel_dark_e(self) -> Figure:
        """Dark electrons of one physical pixel. [e]."""
        return self.sensor.dark_current_e_s * self.timing.exposure_us * 1e-6

    @property
    def dark_e(self) -> Figure:
        """Dark electrons of a delivered pixel. [e]."""
        return self.geometry.pixels_joined * self.pixel_dark_e

    @property
    def dark_noise_e(self) -> Figure:
        """σ_d of a delivered pixel: reading and dark current. [e]."""
        return np.sqrt(self.dark_e + self.reads * self.sensor.read_noise_e**2)

    @property
    def rounding_e2(self) -> Figure:
        """Variance of rounding, referred to electrons: 1/(12K²). [e²]."""
        return self.reads * QUANTISATION_VARIANCE_DN2 / self.sensor.gain_dn_e**2

    def noise_e(self, signal_e: Figure) -> Figure:
        """Temporal noise of a delivered pixel at a signal. [e]."""
        return np.sqrt(signal_e + self.dark_noise_e**2 + self.rounding_e2)

    def total_noise_e(self, signal_e: Figure) -> Figure:
        """Noise with the fixed pattern: n pixels join PRNU/√n and DSNU·√n. [e]."""
        joined = self.geometry.pixels_joined
        fixed_e2 = (self.sensor.prnu * signal_e) ** 2 / joined + joined * self.sensor.dsnu_e**2
        return np.sqrt(self.noise_e(signal_e) ** 2 + fixed_e2)

    @property
    def saturation_e(self) -> Figure:
        """Signal at which the nearest of well, binned well and full scale is reached. [e]."""
        return np.asarray(np.minimum.reduce(np.broadcast_arrays(*self.limits_e.values())))

    @property
    def limits_e(self) -> dict[str, Figure]:
        """Charge of a delivered pixel at each limit, on an even target. [e]."""
        scale_e = (self.sensor.full_scale_dn - self.sensor.black_level_dn) / self.sensor.gain_dn_e
        pixel_e = self.geometry.pixels_joined * self.sensor.full_well_e
        # one pixel alone is not summed anywhere, so its own well is the only one
        binned_e = np.where(
            np.asarray(self.geometry.pixels_joined) > 1, self.sensor.binned_full_well_e, pixel_e
        )
        return {"pixel": pixel_e, "binned": binned_e, "scale": scale_e}


def station(setup: Setup) -> Station:
    """
    Take all numbers out of a setup.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Station
        Plain numbers.

    Raises
    ------
    InputError
        Where the dead time leaves nothing of the line period to expose in.
    """
    place = geometry(setup)
    when = timing(setup, place)
    if not np.all(np.asarray(when.exposure_us) > 0):
        msg = (
            f"camera.dead_time: read {when.dead_time_us:g} us, but the shortest line period is "
            f"{1e6 / when.peak_rate_hz:g} us, so no time is left to expose; expected a shorter "
            "dead time, a slower line or a lower line rate"
        )
        raise InputError(msg)
    return Station(
        geometry=place,
        timing=when,
        optics=optics(setup),
        sensor=_sensor(setup),
        irradiance_w_m2=setup.irradiance_w_m2,
        electrons_per_joule=electrons_per_joule(setup),
        white_reflectance=setup.target.white_reflectance,
    )


def _sensor(setup: Setup) -> Sensor:
    camera = setup.camera
    return Sensor(
        read_noise_e=camera.read_noise_e,
        dark_current_e_s=camera.dark_current_e_s,
        full_well_e=camera.full_well_e,
        binned_full_well_e=setup.binned_full_well_e,
        gain_dn_e=setup.gain_dn_e,
        black_level_dn=camera.black_level_dn,
        full_scale_dn=setup.full_scale_dn,
        dsnu_e=camera.dsnu_e,
        prnu=camera.prnu,
    )
