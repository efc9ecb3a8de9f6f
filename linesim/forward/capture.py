"""
The second half of the forward model: collect -> binning -> read -> digitise, to delivered numbers.

Each strip of 64 lines has random streams of its own for shot noise and for read noise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.forward.binning import join_charge, join_numbers
from linesim.forward.collect import Pattern, collect, pattern
from linesim.forward.correct import Correction, correction
from linesim.forward.digitise import digitise, whole_numbers
from linesim.forward.draws import FUSED_SD_E, add_normal_in_place, poisson_plus_normal_in_place
from linesim.forward.station import Sensor, Station, station
from linesim.forward.streams import READ_STREAM, SHOT_STREAM, stream
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup

_WELL_MARGIN = 6.0


def keeps_pixels_apart(setup: Setup, numbers: Station) -> bool:
    """
    Tell whether the physical pixels must be kept apart up to their wells or their conversion.

    Binned in the digital domain they always are. In the charge domain, where the place of summing
    holds no more than one pixel, a full pixel fills it too, and the sum alone tells the same;
    otherwise every pixel must stay 6σ below its well.

    Parameters
    ----------
    setup : Setup
        The station.
    numbers : Station
        Its numbers.

    Returns
    -------
    bool
        True where expected electrons may not be joined first.
    """
    joined = setup.acquisition.binning.across * setup.acquisition.binning.along
    if joined == 1:
        return False
    # a face that mirrors is brighter than any white
    if setup.acquisition.binning_domain == "digital" or setup.target.gloss:
        return True
    sensor = numbers.sensor
    if float(sensor.binned_full_well_e) <= float(sensor.full_well_e):
        return False
    peak = float(np.max(numbers.pixel_white_e)) * (1 + _WELL_MARGIN * setup.camera.prnu)
    peak = peak / setup.target.white_reflectance if setup.target.white_reflectance > 0 else peak
    full = setup.camera.tdi_stages * (peak + float(numbers.pixel_dark_e))
    return bool(full + _WELL_MARGIN * np.sqrt(full) >= float(sensor.full_well_e))


@dataclass(frozen=True, slots=True, kw_only=True)
class Capturer:
    """
    The second half for one channel, ready to turn the expected electrons of any strip into numbers.

    Parameters
    ----------
    setup : Setup
        The station.
    sensor : Sensor
        Its camera in numbers.
    seed : int
        Of the run.
    channel : int
        Of the random streams.
    fixed : Pattern
        Of the pixels as they come: physical or joined.
    offset_e : ndarray of shape (columns,)
        Of the same, once all are joined. [e]
    across : int
        Columns still to be joined.
    dark_e : float
        Expected dark electrons of a pixel as it comes. [e]
    wells_e : tuple of float
        Capacity of a pixel as it comes, and of the place where charge is summed. [e]
    corrected : Correction or None
        What is done to the numbers at the end.
    """

    setup: Setup
    sensor: Sensor
    seed: int
    channel: int
    fixed: Pattern
    offset_e: ImageArray
    across: int
    dark_e: float
    wells_e: tuple[float, float]
    corrected: Correction | None

    def strip(self, expected_e: ImageArray, strip: int) -> NDArray[np.uint16]:
        """Turn expected electrons of shape (looks, lines, columns) into DN of (lines, columns)."""
        digital = self.setup.acquisition.binning_domain == "digital"
        full_scale_dn = int(self.sensor.full_scale_dn)
        if digital and (self.across > 1 or len(expected_e) > 1):
            whole_dn = whole_numbers(self._digital(expected_e, strip), full_scale_dn)
        else:
            whole_dn = self._converted(self._charge(expected_e, strip))
        if self.corrected is None:
            return whole_dn
        return whole_numbers(self.corrected.applied(whole_dn), full_scale_dn)

    def _charge(self, expected_e: ImageArray, strip: int) -> ImageArray:
        """Draw electrons, join their charge, and read it once."""
        sd_e = float(self.sensor.read_noise_e)
        shot = stream(self.seed, SHOT_STREAM, self.channel, strip)
        if self.across == len(expected_e) == 1 and self._far_from_wells(expected_e):
            # nothing clips between shot and read noise, so one draw gives both
            mean_e = self._mean(expected_e)[0]
            poisson_plus_normal_in_place(mean_e, sd_e, shot)
            return self._offset(mean_e)
        drawn_e = collect(self._mean(expected_e), shot)
        charge_e = join_charge(drawn_e, self.across, *self.wells_e)
        add_normal_in_place(charge_e, sd_e, stream(self.seed, READ_STREAM, self.channel, strip))
        return self._offset(charge_e)

    def _digital(self, expected_e: ImageArray, strip: int) -> ImageArray:
        """Draw electrons, read and convert every pixel, and join the numbers."""
        drawn_e = collect(
            self._mean(expected_e), stream(self.seed, SHOT_STREAM, self.channel, strip)
        )
        np.minimum(drawn_e, np.float32(self.wells_e[0]), out=drawn_e)
        drawn_e += self._by_look(self.fixed.offset_e, drawn_e)
        read = stream(self.seed, READ_STREAM, self.channel, strip)
        add_normal_in_place(drawn_e, float(self.sensor.read_noise_e), read)
        return join_numbers(
            self._converted(drawn_e),
            self.across,
            float(self.sensor.black_level_dn),
            average=self.setup.acquisition.binning_mode == "average",
        )

    def _far_from_wells(self, expected_e: ImageArray) -> bool:
        peak = float(expected_e.max()) * float(self.fixed.response.max()) + self.dark_e
        nearest = min(self.wells_e)
        return (
            float(self.sensor.read_noise_e) >= FUSED_SD_E
            and peak + _WELL_MARGIN * np.sqrt(peak) < nearest
        )

    def _mean(self, expected_e: ImageArray) -> ImageArray:
        """Apply the sensor's response and add its dark current, on a copy."""
        mean_e = expected_e * self._by_look(self.fixed.response, expected_e)
        if self.dark_e:
            mean_e += np.float32(self.dark_e)
        # next to white, black rounds to some -1e-14 e in the sum of the lens terms
        np.maximum(mean_e, 0, out=mean_e)
        return mean_e

    def _offset(self, charge_e: ImageArray) -> ImageArray:
        if self.setup.camera.dsnu_e > 0:
            charge_e += self.offset_e[: charge_e.shape[1]]
        return charge_e

    def _by_look(self, rows: NDArray[np.float64], like: ImageArray) -> ImageArray:
        """Repeat the pattern of the rows for every joined line; one row a look."""
        looks = np.resize(rows, (len(like), rows.shape[1])) if len(rows) != len(like) else rows
        return looks[:, None, : like.shape[2]].astype(np.float32)

    def _converted(self, read_e: ImageArray) -> NDArray[np.uint16]:
        return digitise(
            read_e,
            float(self.sensor.gain_dn_e),
            float(self.sensor.black_level_dn),
            int(self.sensor.full_scale_dn),
        )


def capturer(setup: Setup, seed: int, channel: int, *, physical: bool) -> Capturer:
    """
    Build the second half.

    Parameters
    ----------
    setup : Setup
        The station.
    seed : int
        Of the run.
    channel : int
        Which channel.
    physical : bool
        Whether the expected electrons come for physical pixels.

    Returns
    -------
    Capturer
        Ready for any strip.
    """
    numbers = station(setup)
    sensor, stages = numbers.sensor, setup.camera.tdi_stages
    across, along = setup.acquisition.binning
    drawn = pattern(setup, channel)
    joined = 1 if physical else across * along
    node_e = sensor.binned_full_well_e if across * along > 1 else sensor.full_well_e
    return Capturer(
        setup=setup,
        sensor=sensor,
        seed=seed,
        channel=channel,
        fixed=drawn if physical else drawn.joined(across),
        offset_e=drawn.joined(across).offset_e[0].astype(np.float32),
        across=across if physical else 1,
        dark_e=joined * stages * float(numbers.pixel_dark_e),
        # pixels that were joined before fill their wells only where the sum is full too
        wells_e=(joined * float(sensor.full_well_e), float(node_e)),
        corrected=correction(setup, numbers, seed, channel),
    )
