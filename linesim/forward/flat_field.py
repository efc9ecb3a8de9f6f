"""
The correction of the delivered numbers: flat field from reference lines, and white balance.

The flat-field correction takes an offset and a gain for each column from averages of a number of
lines in the dark and on white. It brings every column to the level that white has in the middle of
the line. It equalises level, not SNR: dim ends are multiplied, noise and all, and the noise of the
averages stays in the picture as a fixed streak, 1/√lines of a line's own.
"""

import numpy as np

from linesim.forward.collect import Pattern, pattern
from linesim.forward.correct import Correct
from linesim.forward.profile import column_profile
from linesim.forward.sensor.linearity import shown_e
from linesim.forward.sensor.taps import amplifiers
from linesim.forward.station import Station
from linesim.forward.streams import REFERENCE_STREAM, stream
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

LEAST_SIGNAL_DN = 1.0
"""A column whose white is nearer to its dark than this, or should be, is left as it is. [DN]."""


def correction(setup: Setup, numbers: Station, seed: int, channel: int) -> Correct | None:
    """Work out the correction of one channel; none where there is nothing to correct."""
    one = numbers.by_colour[channel]
    balance, raw = float(one.balance), one.uncorrected
    conversion, white_e = raw.delivered, float(one.electrons_white)
    black_dn, columns = float(conversion.black_level_dn), int(numbers.geometry.image_width_px)
    dark_dn, gain = np.full(columns, black_dn), np.ones(columns)
    if setup.acquisition.flat_field:
        fixed = pattern(setup, channel).joined(setup.acquisition.binning.across)
        in_the_dark = stream(seed, REFERENCE_STREAM, channel, 0)
        on_white = stream(seed, REFERENCE_STREAM, channel, 1)
        taps = amplifiers(setup, channel, columns)
        dark_dn = _reference_line(setup, raw, (fixed, taps), 0.0, in_the_dark)
        white_dn = _reference_line(setup, raw, (fixed, taps), white_e, on_white)
        dark_e, kept_e = _kept(raw, np.array([0.0, white_e]))
        wanted_dn = float(conversion.gain_dn_e) * float(kept_e - dark_e)
        rise_dn = white_dn - dark_dn
        enough = np.minimum(rise_dn, wanted_dn) > LEAST_SIGNAL_DN
        gain = np.where(enough, wanted_dn / np.where(enough, rise_dn, 1.0), 1.0)
    elif balance == 1:
        return None
    return Correct(
        dark_dn=dark_dn,
        gain=gain * balance,
        black_level_dn=black_dn,
        full_scale_dn=int(conversion.full_scale_dn),
    )


def _kept(raw: Station, signal_e: FloatArray) -> FloatArray:
    """Charge of signal and dark current that the nearest limit lets through. [e]."""
    return np.asarray(np.minimum(signal_e + raw.dark_e, raw.saturation_e))


def _reference_line(
    setup: Setup,
    raw: Station,
    patterns: tuple[Pattern, tuple[FloatArray, FloatArray]],
    white_e: float,
    rng: np.random.Generator,
) -> FloatArray:
    """Average lines on an even target that gives so much in the middle, 0 in the dark. [DN]."""
    columns, repeats = int(raw.geometry.image_width_px), int(raw.geometry.lines_joined)
    conversion, (fixed, (gain, offset_e)) = raw.delivered, patterns
    signal_e = white_e * column_profile(setup, columns) * fixed.response[0, :columns]
    charge_e = _kept(raw, signal_e) + repeats * fixed.offset_e[0, :columns]
    charge_e = np.asarray(shown_e(raw, gain * charge_e + float(raw.reads) * offset_e))
    lines = np.sqrt(setup.acquisition.flat_field_lines)
    error_dn = float(conversion.gain_dn_e) * np.asarray(raw.sample_noise_e(signal_e)) / lines
    drawn_dn = conversion.number_dn(charge_e) + error_dn * rng.standard_normal(columns)
    # the columns of a line share what reading adds to all of it
    drawn_dn += float(conversion.gain_dn_e * raw.line_noise_e) / lines * rng.standard_normal()
    return np.asarray(np.clip(drawn_dn, 0, float(conversion.full_scale_dn)))
