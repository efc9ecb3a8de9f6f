"""Sensor and electronics in numbers. All of it broadcasts."""

from dataclasses import dataclass

import numpy as np

from linesim.forward.conversion import Conversion
from linesim.forward.geometry import Figure
from linesim.forward.sensor.bend import bend_of
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """Sensor and electronics in numbers; each field a number or an array."""

    read_noise_e: Figure
    dark_current_e_s: Figure
    full_well_e: Figure
    binned_full_well_e: Figure
    gain_dn_e: Figure
    black_level_dn: Figure
    full_scale_dn: Figure
    dsnu_e: Figure
    prnu: Figure
    conversions: Figure = 1
    averaged: Figure = 1
    reference_lines: Figure = 0
    line_noise_e: Figure = 0.0
    crosstalk: Figure = 0.0
    lag: Figure = 0.0
    inefficiency: Figure = 0.0
    bend: Figure = 0.0
    tap_gain: Figure = 0.0
    tap_offset_e: Figure = 0.0
    wave_gain: Figure = 0.0
    wave_period_px: Figure = np.inf

    @property
    def digital(self) -> Figure:
        """1 where numbers are joined, not charge."""
        return np.greater(self.conversions, 1) * 1.0

    @property
    def conversion(self) -> Conversion:
        """How one reading becomes a number."""
        return Conversion(
            gain_dn_e=self.gain_dn_e,
            black_level_dn=self.black_level_dn,
            full_scale_dn=self.full_scale_dn,
        )


def sensor(setup: Setup) -> Sensor:
    """Take the sensor out of a setup."""
    camera, acquisition = setup.camera, setup.acquisition
    taps, waves = camera.taps, camera.column_waves
    binning, digital = acquisition.binning, acquisition.binning_domain == "digital"
    numbers = binning.across * binning.along if digital else 1
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
        conversions=numbers,
        averaged=numbers if acquisition.binning_mode == "average" else 1,
        reference_lines=acquisition.flat_field_lines if acquisition.flat_field else 0,
        line_noise_e=camera.line_noise_e,
        crosstalk=camera.crosstalk,
        lag=camera.lag,
        inefficiency=camera.charge_transfer_inefficiency,
        bend=bend_of(camera.linearity_error),
        tap_gain=taps.gain_step if taps else 0.0,
        tap_offset_e=taps.offset_step_e if taps else 0.0,
        wave_gain=waves.gain if waves else 0.0,
        wave_period_px=waves.period_px if waves else np.inf,
    )
