"""The whole station in numbers: what a white target gives, and with what noise. All broadcast."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from linesim.forward.collect import electrons, electrons_per_joule
from linesim.forward.conversion import QUANTISATION_VARIANCE_DN2, Conversion
from linesim.forward.geometry import Figure, Geometry, Timing, geometry, timing
from linesim.forward.lens import Optics, comb_mtf, optics, worst_optics
from linesim.forward.profile import ends_share
from linesim.forward.sensor.carried import trail
from linesim.forward.sensor.numbers import Sensor, sensor
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.setup.lights import refuse_multiplexed
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One station, or many at once."""

    geometry: Geometry
    timing: Timing
    optics: Optics
    sensor: Sensor
    irradiance_w_m2: Figure  # of the lamp, at the target [W/m²]
    ambient_w_m2: Figure
    electrons_per_joule: Figure  # of this light on this sensor [e/J]
    white_reflectance: Figure  # of the brightest value of the target
    ends_optics: Optics  # lens where it is worst along the line
    # factor of the delivered numbers that brings the whites of the colours together
    balance: Figure = 1.0
    ends: Figure = 1.0  # light at the outermost column, as a share of that in the middle

    @property
    def even_optics(self) -> bool:
        """Whether the lens is everywhere as in the middle of the line."""
        return self.ends_optics is self.optics or self.optics.is_as(self.ends_optics)

    @property
    def at_ends(self) -> "Station":
        """The same station as its worst column has it; a flat field lifts it to the middle."""
        corrected = np.asarray(self.sensor.reference_lines) > 0
        lift = np.where(
            corrected & (np.asarray(self.ends) > 0), 1 / np.maximum(self.ends, 1e-12), 1
        )
        return replace(
            self,
            irradiance_w_m2=self.ends * self.irradiance_w_m2,
            ambient_w_m2=self.ends * self.ambient_w_m2,
            optics=self.ends_optics,
            balance=self.balance * lift,
            ends=1.0,
        )

    @property
    def reads(self) -> Figure:
        """Conversions in one delivered sample."""
        return self.sensor.conversions

    @property
    def dn_per_e(self) -> Figure:
        """Delivered number for each electron of the delivered pixel. [DN/e]."""
        return self.sensor.gain_dn_e / self.sensor.averaged

    @property
    def delivered(self) -> Conversion:
        """How the charge of a delivered pixel becomes its number, white balance included."""
        return replace(self.sensor.conversion, gain_dn_e=self.dn_per_e * np.asarray(self.balance))

    @property
    def by_colour(self) -> tuple["Station", ...]:
        """One station a colour, each of plain numbers; one alone where there are no colours."""
        white_e = np.atleast_1d(np.asarray(self.electrons_white))
        per_joule, balance = (
            np.broadcast_to(np.asarray(value), white_e.shape).tolist()
            for value in (self.electrons_per_joule, self.balance)
        )
        return tuple(
            replace(
                self,
                electrons_per_joule=per_joule[index],
                balance=balance[index],
                optics=self.optics.of_channel(index),
                ends_optics=self.ends_optics.of_channel(index),
            )
            for index in range(len(white_e))
        )

    @property
    def green(self) -> "Station":
        """The station that green has, of several colours; the only one of all."""
        ones = self.by_colour
        return self if len(ones) == 1 else ones[1]

    @property
    def uncorrected(self) -> "Station":
        """The same station without what flat field and white balance do to the numbers."""
        return replace(self, balance=1.0, sensor=replace(self.sensor, reference_lines=0))

    @property
    def trail(self) -> tuple[float, ...]:
        """Shares of a line's charge that it delivers, and the lines behind it; of one station."""
        sensor, stages = self.sensor, int(np.max(self.geometry.stages))
        return trail(float(np.max(sensor.lag)), float(np.max(sensor.inefficiency)), stages)

    @property
    def motion_um(self) -> Figure:
        """Travel while the lamp shines into an exposure. [µm]."""
        return self.geometry.speed_mm_s * self.timing.lit_us / 1000

    @property
    def irradiance_sensor_w_m2(self) -> Figure:
        """At the sensor from a white target, on the axis, while the lamp shines. [W/m²]."""
        # other light shines all through an exposure, a pulsed lamp in a part of it
        longer = self.timing.exposure_us / self.timing.lit_us
        light_w_m2 = self.irradiance_w_m2 + self.ambient_w_m2 * longer
        return self.white_reflectance * light_w_m2 * self.optics.share_to_sensor

    @property
    def pixel_white_e(self) -> Figure:
        """Signal of one physical pixel on white. [e]."""
        return electrons(
            self.irradiance_sensor_w_m2,
            self.geometry.pixel_area_um2,
            self.timing.lit_us,
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
    def delivered_dark_e(self) -> Figure:
        """Dark electrons still in the delivered number; a flat field takes them off. [e]."""
        corrected = np.asarray(self.sensor.reference_lines) > 0
        return np.where(corrected, 0.0, self.dark_e)

    @property
    def dark_noise_e(self) -> Figure:
        """σ_d of a delivered pixel: reading, its line's too, and dark current. [e]."""
        read_e2 = self.reads * self.sensor.read_noise_e**2
        return np.sqrt(self.dark_e + read_e2 + self.line_noise_e**2)

    @property
    def line_noise_e(self) -> Figure:
        """Noise in time that all samples of a delivered line share. [e]."""
        # of numbers that are joined, those of one row share a draw, and each row has its own
        columns = np.where(np.asarray(self.sensor.digital) > 0, self.geometry.across, 1)
        return self.sensor.line_noise_e * np.sqrt(self.reads * columns)

    @property
    def rounding_e2(self) -> Figure:
        """Variance of rounding: each conversion, an average, a correction; in electrons. [e²]."""
        sensor = self.sensor
        averaged = np.asarray(sensor.averaged)
        # the mean of n whole numbers lies on steps of 1/n: n² places less the one that is exact
        mean = averaged**2 - 1
        # what flat field or white balance multiplies is rounded once more
        again = (np.asarray(sensor.reference_lines) > 0) | (np.asarray(self.balance) != 1)
        corrected = np.where(again, (averaged / np.asarray(self.balance)) ** 2, 0)
        return (self.reads + mean + corrected) * QUANTISATION_VARIANCE_DN2 / sensor.gain_dn_e**2

    def noise_e(self, signal_e: Figure) -> Figure:
        """Temporal noise of a delivered pixel at a signal. [e]."""
        return np.sqrt(signal_e + self.dark_noise_e**2 + self.rounding_e2)

    def sample_noise_e(self, signal_e: Figure) -> Figure:
        """Temporal noise of a delivered pixel that it shares with no other. [e]."""
        return np.sqrt(self.noise_e(signal_e) ** 2 - self.line_noise_e**2)

    def pattern_e(self, signal_e: Figure) -> Figure:
        """Spread of the columns that stays the same in all lines: the streaks of an image. [e]."""
        # n pixels join PRNU/√n and DSNU·√n; successive lines come from the same pixels
        lines = np.asarray(self.geometry.lines_joined)
        pixels = self.geometry.pixels_joined / lines
        dsnu_e2 = pixels * (lines * self.sensor.dsnu_e) ** 2
        fixed_e2 = (self.sensor.prnu * signal_e) ** 2 / pixels + dsnu_e2
        fixed_e2 = fixed_e2 + self._uneven_e2(signal_e)
        # corrected, only the noise of the reference lines is left; of the dark ones none on white
        averaged = np.asarray(self.sensor.reference_lines)
        left_e2 = self.sample_noise_e(signal_e) ** 2 / np.maximum(averaged, 1)
        return np.sqrt(np.where(averaged > 0, left_e2, fixed_e2))

    def _uneven_e2(self, signal_e: Figure) -> Figure:
        """Variance of the columns by taps, which amplify dark charge too, and by waves. [e²]."""
        sensor = self.sensor
        tap_e2 = (sensor.tap_gain * (signal_e + self.dark_e)) ** 2
        tap_e2 = tap_e2 + (self.reads * sensor.tap_offset_e) ** 2
        # a sine has half its peak squared; joined columns see it at even distances
        seen = comb_mtf(self.geometry.across, 1 / np.asarray(sensor.wave_period_px))
        return tap_e2 + (sensor.wave_gain * seen * signal_e) ** 2 / 2

    def total_noise_e(self, signal_e: Figure) -> Figure:
        """Noise with the fixed pattern, or with what a flat-field correction leaves of it. [e]."""
        return np.hypot(self.noise_e(signal_e), self.pattern_e(signal_e))

    @property
    def saturation_e(self) -> Figure:
        """Signal at which the nearest of well, binned well and full scale is reached. [e]."""
        return np.asarray(np.minimum.reduce(np.broadcast_arrays(*self.limits_e.values())))

    def wells(self) -> FloatArray:
        """Wells whose charge makes a delivered pixel: that of all stages gathers in one."""
        return np.asarray(self.geometry.pixels_joined / self.geometry.stages, dtype=np.float64)

    @property
    def place_e(self) -> FloatArray:
        """Capacity of the place where charge is summed; endless where none is. [e]."""
        # one pixel alone is not summed anywhere, and numbers are summed outside of any well
        summed = (self.wells() > 1) & (np.asarray(self.sensor.digital) == 0)
        return np.where(summed, self.sensor.binned_full_well_e, np.inf)

    @property
    def word_e(self) -> Figure:
        """Charge at which the delivered word is full. [e]."""
        # an average divides the word, a white balance multiplies it
        return self.sensor.averaged * self.sensor.conversion.full_scale_e / self.balance

    @property
    def limits_e(self) -> dict[str, Figure]:
        """Charge of a delivered pixel at each limit, on an even target. [e]."""
        pixel_e = self.wells() * self.sensor.full_well_e
        return {"pixel": pixel_e, "binned": self.place_e, "scale": self.word_e}


@lru_cache(maxsize=64)
def station(setup: Setup) -> Station:
    """
    Take all numbers out of a setup, once for each setup.

    Raises
    ------
    InputError
        Where the dead time leaves nothing of the line period to expose in, or lights are
        multiplexed.
    """
    return stations(setup)


def stations(setup: Setup) -> Station:
    """
    Take all numbers out of a setup of many stations, whose values are arrays.

    Raises
    ------
    InputError
        Where the dead time leaves nothing of the line period to expose in, or lights are
        multiplexed.
    """
    refuse_multiplexed(setup)
    place = geometry(setup)
    when = timing(setup, place)
    if not np.all(np.asarray(when.exposure_us) > 0):
        refuse(
            f"camera.dead_time: read {when.dead_time_us:g} us, but the shortest line period is "
            f"{1e6 / when.peak_rate_hz:g} us, so no time is left to expose; expected a shorter "
            "dead time, a slower line or a lower line rate"
        )
    middle = optics(setup)
    numbers = Station(
        geometry=place,
        timing=when,
        optics=middle,
        ends_optics=worst_optics(setup, middle),
        sensor=sensor(setup),
        irradiance_w_m2=setup.irradiance_w_m2,
        ambient_w_m2=setup.ambient_w_m2,
        electrons_per_joule=electrons_per_joule(setup),
        white_reflectance=setup.target.white_reflectance,
        ends=ends_share(setup),
    )
    white_e = np.asarray(numbers.electrons_white)
    if setup.acquisition.white_balance == "off" or not np.all(white_e > 0):
        return numbers
    return replace(numbers, balance=white_e.max() / white_e)
