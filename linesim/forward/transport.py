"""
Transport: where each line looks on the target while it is exposed.

The speed is v(t) = v̄ (1 + a sin 2πgt), so y(t) = v̄ (t + a (1 − cos 2πgt) / (2πg)). A clock starts
lines at equal times: a ripple then moves the lines on the target. An encoder starts them at equal
travel: a ripple then moves the line period; every count that it loses puts all later lines a
count's travel further. Light k of n that shine in turn starts its lines
(k − 1)/n of a line later, by time or by travel, whichever starts lines. A trigger delay is a time
after that, in which the web moves as it does then. Jitter moves each line by itself, and its mean
transfer is exp(−2π²σ²f²). The web wanders sideways and flutters in height, each a sine from
phase 0: height brings defocus, and a change of scale by height over working distance. Of a sine
A sin 2πgt an exposure of t about a time c sees the mean A j₀(πgt) sin 2πgc, and travels by
6 A j₁(πgt) cos 2πgc: the straight line that is nearest to it in the least squares. Light that
flickers by a fraction b at a frequency g leaves b sinc(g t) of it in a line exposed for t.

Time-delay integration averages all of them over its stages, each at its own time. What the stages
see apart blurs: of an even mismatch exactly, in the footprint; of the swings it is left out, so
that a swing should take many stages' time.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.forward.encoder.lost import place_of
from linesim.forward.station import Station
from linesim.forward.streams import JITTER_STREAM
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

STRIP_LINES = 64
"""Lines in a strip, counted from line 0: the unit of every random stream and of every task."""
_STREAMS = 1 << 32
_NEWTON_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Place over time."""

    speed_um_s: float
    ripple: float
    ripple_frequency_hz: float

    def place_um(self, time_s: FloatArray) -> FloatArray:
        """Travel since time 0. [µm]."""
        if self.ripple == 0:
            return self.speed_um_s * time_s
        angular = 2 * np.pi * self.ripple_frequency_hz
        lag_s = self.ripple * (1 - np.cos(angular * time_s)) / angular
        return self.speed_um_s * (time_s + lag_s)

    def speed_at(self, time_s: FloatArray) -> FloatArray:
        """Speed at a time. [µm/s]."""
        angular = 2 * np.pi * self.ripple_frequency_hz
        return np.asarray(self.speed_um_s * (1 + self.ripple * np.sin(angular * time_s)))

    def time_s(self, place_um: FloatArray) -> FloatArray:
        """Give the time at which a place is reached, by Newton's method kept within its bracket."""
        swing_s = self.ripple / (np.pi * self.ripple_frequency_hz)
        high = place_um / self.speed_um_s
        low = high - swing_s
        time = high
        for _ in range(_NEWTON_STEPS if self.ripple > 0 else 0):
            over = self.place_um(time) - place_um
            high, low = np.where(over > 0, time, high), np.where(over > 0, low, time)
            newton = time - over / self.speed_at(time)
            time = np.where((newton >= low) & (newton <= high), newton, (low + high) / 2)
        return np.asarray(time)


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """A sine from phase 0."""

    amplitude: float
    frequency_hz: float

    def seen(self, time_s: FloatArray, exposure_s: float) -> tuple[FloatArray, FloatArray]:
        """Give mean and travel while exposed from a time on, the mean of the stages."""
        if self.amplitude == 0:
            return np.zeros(len(time_s)), np.zeros(len(time_s))
        half = np.pi * self.frequency_hz * exposure_s
        middle = 2 * np.pi * self.frequency_hz * time_s + half
        mean = self.amplitude * scipy.special.spherical_jn(0, half) * np.sin(middle)
        travel = self.amplitude * 6 * scipy.special.spherical_jn(1, half) * np.cos(middle)
        return np.asarray(mean.mean(axis=1)), np.asarray(travel.mean(axis=1))

    def most_travel(self, exposure_s: float) -> float:
        """Give the longest travel of any exposure."""
        half = np.pi * self.frequency_hz * exposure_s
        return float(self.amplitude * 6 * np.abs(scipy.special.spherical_jn(1, half)))


def swings(setup: Setup) -> tuple[Swing, Swing]:
    """Take wander [µm] and flutter [mm] out of a setup."""
    transport = setup.transport
    return (
        Swing(
            amplitude=transport.lateral_wander_um,
            frequency_hz=transport.lateral_wander_frequency_hz,
        ),
        Swing(amplitude=transport.flutter_mm, frequency_hz=transport.flutter_frequency_hz),
    )


def most_sideways_um(setup: Setup, exposure_s: float, half_um: float) -> float:
    """Give the longest sideways travel while exposed, at half a line's length from the axis."""
    wander, flutter = swings(setup)
    stretch = flutter.most_travel(exposure_s) / setup.view_distance_mm
    return wander.most_travel(exposure_s) + stretch * half_um


def motion(setup: Setup) -> Motion:
    """Take the motion out of a setup."""
    return Motion(
        speed_um_s=1000 * setup.transport.speed_mm_s,
        ripple=setup.transport.speed_ripple,
        ripple_frequency_hz=setup.transport.ripple_frequency_hz,
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LineTable:
    """
    What each line looks at; every array of shape (lines,).

    Parameters
    ----------
    start_um : ndarray; leading edge of the footprint on the target when the exposure starts [µm]
    travel_um : ndarray; distance it moves while exposed [µm]
    sideways_um : ndarray; shift of the line across the target, the mean while exposed [µm]
    sideways_travel_um : ndarray; how far it moves across while exposed [µm]
    stretch : ndarray; relative change of the footprint's distance from the axis, the mean too
    stretch_travel : ndarray; how far that changes while exposed
    height_mm : ndarray; height of the target over its plane, towards the lens, the mean too [mm]
    light : ndarray; light of the lamp over its mean
    """

    start_um: FloatArray
    travel_um: FloatArray
    sideways_um: FloatArray
    sideways_travel_um: FloatArray
    stretch: FloatArray
    stretch_travel: FloatArray
    height_mm: FloatArray
    light: FloatArray

    def __len__(self) -> int:
        """Count the lines."""
        return len(self.start_um)

    def taken(self, index: NDArray[np.intp]) -> "LineTable":
        """Give some of the lines."""
        return LineTable(**{each.name: getattr(self, each.name)[index] for each in fields(self)})

    def filled(self, count: int) -> "LineTable":
        """Give ``count`` lines, the last one repeated behind the end."""
        return self.taken(np.minimum(np.arange(count), len(self) - 1))

    def moved(self, along_um: float, across_um: float = 0.0) -> "LineTable":
        """Look elsewhere on the target."""
        return replace(
            self, start_um=self.start_um + along_um, sideways_um=self.sideways_um + across_um
        )


def steady_lines(start_um: FloatArray, travel_um: FloatArray) -> LineTable:
    """Give lines that neither wander nor flutter, in an even light."""
    none = np.zeros_like(start_um)
    return LineTable(
        start_um=start_um,
        travel_um=travel_um,
        sideways_um=none,
        sideways_travel_um=none,
        stretch=none,
        stretch_travel=none,
        height_mm=none,
        light=np.ones_like(start_um),
    )


def line_table(setup: Setup, numbers: Station, seed: int, exposed: FloatArray) -> LineTable:
    """
    Place exposed lines on the target.

    Parameters
    ----------
    setup : Setup
    numbers : Station; its numbers
    seed : int; of jitter and of lost counts
    exposed : ndarray of shape (lines,); numbers of exposed lines
    """
    moved = motion(setup)
    # a column for each stage of time-delay integration: stage k looks k lines later
    stage = np.arange(setup.camera.tdi_stages, dtype=np.float64)
    start_um, time_s = _starts(setup, numbers, seed, exposed[:, None] + stage)
    start_um = (start_um - stage * float(numbers.geometry.row_side_um)).mean(axis=1)
    jitter_um = setup.transport.line_jitter_um
    if jitter_um > 0:
        start_um = start_um + jitter_um * _jitter(seed, np.floor(exposed + 0.5).astype(np.int64))
    exposure_s = float(np.max(numbers.timing.lit_us)) * 1e-6
    travel_um = moved.place_um(time_s + exposure_s) - moved.place_um(time_s)
    wander, flutter = swings(setup)
    height_mm, rise_mm = flutter.seen(time_s, exposure_s)
    sideways_um, sideways_travel_um = wander.seen(time_s, exposure_s)
    return LineTable(
        start_um=start_um,
        travel_um=travel_um.mean(axis=1),
        sideways_um=sideways_um,
        sideways_travel_um=sideways_travel_um,
        stretch=-height_mm / setup.view_distance_mm,
        stretch_travel=-rise_mm / setup.view_distance_mm,
        height_mm=height_mm,
        light=flicker(setup, time_s, exposure_s).mean(axis=1) * band_share(setup, height_mm),
    )


def first_line_um(setup: Setup, numbers: Station) -> float:
    """
    Tell where the first line starts on the target, at the mean speed.

    Returns
    -------
    float; by its light's turn and the trigger's delay; 0 without them [µm]
    """
    delay_us = setup.acquisition.trigger_delay_us or 0.0
    turn_um = setup.turn.lead * float(numbers.timing.exposed_advance_um)
    return turn_um + delay_us * setup.transport.speed_mm_s / 1000


def band_share(setup: Setup, height_mm: FloatArray) -> FloatArray:
    """
    Give the share of a focused lamp's light at a height: 80 % at both ends of its band, a Gaussian.

    Parameters
    ----------
    setup : Setup; the station
    height_mm : ndarray; of the target out of the lamp's focus [mm]

    Returns
    -------
    ndarray; of the shape of the heights
    """
    band_mm = setup.light.height_band_mm
    if band_mm is None:
        return np.ones_like(height_mm)
    return np.asarray(0.8 ** np.square(2 * height_mm / band_mm))


def flicker(setup: Setup, time_s: FloatArray, exposure_s: float) -> FloatArray:
    """Average the light of the lamp over each exposure."""
    depth, frequency_hz = setup.light.flicker, setup.light.flicker_frequency_hz
    seen = depth * np.sinc(frequency_hz * exposure_s)
    return np.asarray(1 + seen * np.sin(2 * np.pi * frequency_hz * (time_s + exposure_s / 2)))


def _starts(
    setup: Setup, numbers: Station, seed: int, exposed: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give place [µm] and time [s] at which exposures start."""
    exposed, moved = exposed + setup.turn.lead, motion(setup)
    delay_s = 1e-6 * (setup.acquisition.trigger_delay_us or 0.0)
    if setup.transport.trigger == "clock":
        time_s = exposed / float(numbers.timing.exposed_rate_hz) + delay_s
        return moved.place_um(time_s), time_s
    start_um = _counted_um(setup, numbers, seed, exposed)
    turn_mm = setup.transport.encoder_turn_length_mm
    if turn_mm is not None:
        turn = np.sin(2 * np.pi * start_um / (1000 * turn_mm))
        start_um = start_um + setup.transport.encoder_turn_error_um * turn
    if delay_s == 0:
        return start_um, moved.time_s(start_um)
    time_s = moved.time_s(start_um) + delay_s
    return moved.place_um(time_s), time_s


def _counted_um(setup: Setup, numbers: Station, seed: int, exposed: FloatArray) -> FloatArray:
    """Give the travel at which an encoder has counted for lines, those that get lost left out."""
    advance_um, share = float(numbers.timing.exposed_advance_um), setup.missed_counts
    if share == 0:
        return exposed * advance_um
    count_um = setup.encoder_count_um
    arrived = exposed * np.rint(advance_um * (1 - share) / count_um)
    whole = np.floor(arrived + 1e-6).astype(np.int64)
    made = place_of(seed, share, whole.ravel()).reshape(whole.shape)
    return np.asarray((made + (arrived - whole)) * count_um)


def _jitter(seed: int, line: NDArray[np.int64]) -> FloatArray:
    """Draw the jitter of any lines, 64 of them a stream; streams below line 0 count from above."""
    first, last = int(line.min()) // STRIP_LINES, int(line.max()) // STRIP_LINES
    drawn = [
        np.random.default_rng(
            np.random.SeedSequence(seed, spawn_key=(JITTER_STREAM, 0, strip % _STREAMS))
        ).standard_normal(STRIP_LINES)
        for strip in range(first, last + 1)
    ]
    return np.asarray(np.concatenate(drawn)[line - first * STRIP_LINES])
