"""
The second half of the forward model: from the electrons of each pixel to delivered numbers.

A tuple of stages says all of it. Each strip of 64 lines goes through them one after the other, with
random streams of its own for whatever is drawn.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linesim.forward.binning import JoinCharge, JoinNumbers, Wells
from linesim.forward.collect import Pattern, Response, Shot, pattern
from linesim.forward.digitise import Digitise
from linesim.forward.draws import FUSED_SD_E, poisson_plus_normal_in_place
from linesim.forward.flat_field import correction
from linesim.forward.read import LineNoise, Offset, Read
from linesim.forward.sensor.bend import Bend
from linesim.forward.sensor.linearity import full_reading_e
from linesim.forward.sensor.numbers import Sensor
from linesim.forward.sensor.taps import amplify
from linesim.forward.stage import Columns, Samples, Stage
from linesim.forward.station import Station, station
from linesim.forward.streams import LINE_STREAM, READ_STREAM, SHOT_STREAM, Streams
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup

WELL_MARGIN = 6.0


def keeps_pixels_apart(setup: Setup, numbers: Station) -> bool:
    """
    Tell whether the physical pixels must be kept apart up to their wells or their conversion.

    Binned in the digital domain they always are. In the charge domain, where the place of summing
    holds no more than one pixel, a full pixel fills it too, and the sum alone tells the same;
    otherwise every pixel must stay 6σ below its well.

    Returns
    -------
    bool; True where expected electrons may not be joined first
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
    peak = float(np.max(numbers.pixel_white_e)) * (1 + WELL_MARGIN * setup.camera.prnu)
    peak = peak / setup.target.white_reflectance if setup.target.white_reflectance > 0 else peak
    full = setup.camera.tdi_stages * (peak + float(numbers.pixel_dark_e))
    return bool(full + WELL_MARGIN * np.sqrt(full) >= float(sensor.full_well_e))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Capturer:
    """
    The second half for one channel, ready to turn the expected electrons of any strip into numbers.

    Parameters
    ----------
    stages : tuple of Stage; what is done, in order
    across : int; columns that they join
    """

    stages: tuple[Stage, ...]
    across: int

    def at(self, columns: Columns) -> "Capturer":
        """Take some columns of all stages."""
        return replace(self, stages=tuple(stage.at(columns) for stage in self.stages))

    def strip(self, expected_e: ImageArray, strip: int) -> NDArray[np.uint16]:
        """Turn expected electrons (exposures, lines, columns) into DN (lines, columns)."""
        samples: Samples = expected_e
        for stage in _fused(self.stages):
            samples = stage(samples, strip)
        return samples


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _ShotAndRead(Stage):
    """The first stages of a pixel that is read alone: far from its wells one draw does for all."""

    response: Response
    apart: tuple[Shot, Wells, JoinCharge, Read]

    def __call__(self, samples: Samples, strip: int) -> Samples:
        shot, wells, place, read = self.apart
        peak_e = float(samples.max()) * float(self.response.response.max()) + self.response.dark_e
        far = peak_e + WELL_MARGIN * np.sqrt(peak_e) < min(wells.full_well_e, place.place_e)
        samples = self.response(samples, strip)
        if far and len(samples) == 1:
            # nothing clips between shot and read noise, so one draw gives both
            poisson_plus_normal_in_place(samples[0], read.read_noise_e, shot.streams.of(strip))
            alone: Samples = samples[0]
            return alone
        for stage in self.apart:
            samples = stage(samples, strip)
        return samples


def _fused(stages: tuple[Stage, ...]) -> tuple[Stage, ...]:
    """Put the first stages together where they are these and no other."""
    match stages:
        case (
            Response() as response,
            Shot() as shot,
            Wells() as wells,
            JoinCharge(across=1) as place,
            Read() as read,
            *others,
        ) if read.read_noise_e >= FUSED_SD_E:
            apart = (shot, wells, place, read)
            return _ShotAndRead(response=response, apart=apart), *others
    return stages


def capturer(setup: Setup, seed: int, channel: int, *, physical: bool) -> Capturer:
    """
    Build the second half.

    Parameters
    ----------
    setup : Setup
    seed : int; of the run
    channel : int; which channel
    physical : bool; whether the expected electrons come for physical pixels
    """
    return Capturer(
        stages=stages_of(setup, seed, channel, physical=physical),
        across=setup.acquisition.binning.across if physical else 1,
    )


def stages_of(setup: Setup, seed: int, channel: int, *, physical: bool) -> tuple[Stage, ...]:
    """Say what is done to the expected electrons of each pixel, in order."""
    numbers, drawn = station(setup), pattern(setup, channel)
    sensor, (across, along) = numbers.sensor, setup.acquisition.binning
    conversion, joined = sensor.conversion, drawn.joined(across)
    own, count = (drawn, 1) if physical else (joined, across * along)
    left = across if physical else 1
    response = Response(
        response=_by_column(own.response, joined, left),
        dark_e=count * setup.camera.tdi_stages * float(numbers.pixel_dark_e),
    )
    shot = Shot(streams=Streams(seed, SHOT_STREAM, channel))
    # pixels that were joined before fill their wells only where the sum is full too
    wells = Wells(full_well_e=count * float(sensor.full_well_e))
    reading = _reading(sensor, seed, channel)
    corrected = correction(setup, numbers, seed, channel)
    ends = () if corrected is None else (corrected,)
    digital = physical and setup.acquisition.binning_domain == "digital"
    converted = _converted(setup, numbers, channel, left if digital else 0)
    if digital:
        average = setup.acquisition.binning_mode == "average"
        offset = Offset(offset_e=_by_column(drawn.offset_e, joined, left))
        numbered = JoinNumbers(across=left, average=average, conversion=conversion)
        return response, shot, wells, offset, *reading, *converted, numbered, *ends
    offset = Offset(offset_e=joined.offset_e[0].astype(np.float32))
    charge = JoinCharge(across=left, place_e=float(numbers.place_e))
    return response, shot, wells, charge, *reading, offset, *converted, *ends


def _reading(sensor: Sensor, seed: int, channel: int) -> tuple[Stage, ...]:
    """Say what reading adds to each sample, and to all of a line."""
    streams = Streams(seed, READ_STREAM, channel)
    read = Read(read_noise_e=float(sensor.read_noise_e), streams=streams)
    if not sensor.line_noise_e:
        return (read,)
    streams = Streams(seed, LINE_STREAM, channel)
    return read, LineNoise(line_noise_e=float(sensor.line_noise_e), streams=streams)


def _converted(setup: Setup, numbers: Station, channel: int, apart: int) -> tuple[Stage, ...]:
    """Say how what is read becomes numbers, of so many columns apart or of one that they joined."""
    bend, digitise = float(numbers.sensor.bend), Digitise(conversion=numbers.sensor.conversion)
    amplified = amplify(setup, channel, apart)
    if bend == 0:
        return *amplified, digitise
    return *amplified, Bend(bend=bend, full_e=float(full_reading_e(numbers))), digitise


def _by_column(rows: FloatArray, joined: Pattern, left: int) -> ImageArray:
    """Lay a pattern out over exposures and lines, for columns that fill whole delivered pixels."""
    return rows[:, None, : joined.response.shape[1] * left].astype(np.float32)
