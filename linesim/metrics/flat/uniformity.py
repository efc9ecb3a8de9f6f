"""How even a line is: fall-off to its ends, streaks, bands, and the SNR from end to end."""

from dataclasses import dataclass

import numpy as np
from scipy.signal import savgol_filter

from linesim.metrics.flat.area import Samples, flat_area
from linesim.metrics.flat.banding import Banding, banding
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.signal_noise import SignalNoise
from linesim.metrics.flat.streaks import Streaks, streaks
from linesim.setup.arrays import FloatArray

FEWEST_COLUMNS = 40
_WINDOWS = 8
_PARTS = 10
_ORDER = 2
_FEWEST_WAVES = 8
"""As many as there are windows of the smooth profile: slower ones are its own."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineProfile:
    """The level along the line, above black."""

    columns_dn: FloatArray  # shape (columns,); mean of each column [DN]
    # shape (columns,); the same, smoothed by parabolas over an eighth of the line [DN]
    smooth_dn: FloatArray
    end_sd_dn: float  # standard error of the smooth level at the ends, from streaks and noise [DN]

    @property
    def brightest(self) -> int:
        """Column in which the smooth level is highest."""
        return int(np.argmax(self.smooth_dn))

    @property
    def falloff_left(self) -> Estimate:
        """Share of the brightest level lost at the first column."""
        return self._lost(float(self.smooth_dn[0]))

    @property
    def falloff_right(self) -> Estimate:
        """Share of the brightest level lost at the last column."""
        return self._lost(float(self.smooth_dn[-1]))

    @property
    def peak_to_peak(self) -> float:
        """Range of the smooth level, share of its mean."""
        return float(np.ptp(self.smooth_dn) / self.smooth_dn.mean())

    @property
    def relative_sd(self) -> float:
        """Standard deviation of the smooth level, share of its mean."""
        return float(self.smooth_dn.std() / self.smooth_dn.mean())

    @property
    def gain(self) -> float:
        """Largest gain that a flat-field correction of the smooth level needs."""
        return float(self.smooth_dn.max() / self.smooth_dn.min())

    @property
    def gain_columns(self) -> float:
        """Largest gain that a correction column by column needs, brightest to darkest column."""
        return float(self.columns_dn.max() / self.columns_dn.min())

    def _lost(self, level_dn: float) -> Estimate:
        highest_dn = float(self.smooth_dn.max())
        return Estimate(value=1 - level_dn / highest_dn, sd=self.end_sd_dn / highest_dn)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Uniformity:
    """How even a line is."""

    whole: SignalNoise  # of all columns together
    profile: LineProfile
    streaks: Streaks  # columns that differ from their neighbours
    banding: Banding
    waves: Banding  # waves over the columns, of eight cycles or more
    # the left, middle and right tenth of the line
    parts: tuple[SignalNoise, SignalNoise, SignalNoise]


def uniformity(image_dn: Samples, black_dn: float) -> Uniformity:
    """
    Read how even a line is off an image of an even target.

    Parameters
    ----------
    image_dn : ndarray of shape (lines, columns); one channel, at least 16 lines of 40 columns [DN]

    Raises
    ------
    ValueError; too small, or columns that do not lie above black
    """
    columns = image_dn.shape[1]
    if columns < FEWEST_COLUMNS:
        msg = f"{columns} columns, but at least {FEWEST_COLUMNS} are needed"
        raise ValueError(msg)
    area, black = flat_area([image_dn]), Estimate(value=black_dn, sd=0.0)
    by_column = image_dn.mean(axis=0, dtype=np.float64) - black_dn
    noise = Estimate(
        value=area.pixel_dn2.value / image_dn.shape[0], sd=area.pixel_dn2.sd / image_dn.shape[0]
    )
    found = streaks(by_column, noise)
    part = max(columns // _PARTS, 8)
    middle = (columns - part) // 2
    left, centre, right = (
        SignalNoise(lit=flat_area([each]), black_dn=black, dark=None)
        for each in (image_dn[:, :part], image_dn[:, middle : middle + part], image_dn[:, -part:])
    )
    return Uniformity(
        whole=SignalNoise(lit=area, black_dn=black, dark=None),
        profile=line_profile(by_column, found.spread_dn),
        streaks=found,
        banding=banding(image_dn.mean(axis=1, dtype=np.float64)),
        waves=banding(by_column, _FEWEST_WAVES),
        parts=(left, centre, right),
    )


def line_profile(by_column_dn: FloatArray, spread_dn: float) -> LineProfile:
    """
    Smooth the level along the line.

    A. Savitzky and M. J. E. Golay, Smoothing and differentiation of data by simplified least
    squares procedures, Anal. Chem. 36 (1964), 1627 (from memory).
    """
    if not by_column_dn.min() > 0:
        msg = f"a column lies at {by_column_dn.min():.4g} DN above black, but all must lie above it"
        raise ValueError(msg)
    window = max(2 * (by_column_dn.size // (2 * _WINDOWS)) + 1, 2 * _ORDER + 1)
    smooth = savgol_filter(by_column_dn, window, _ORDER, mode="interp")
    return LineProfile(
        columns_dn=by_column_dn,
        smooth_dn=np.asarray(smooth, dtype=np.float64),
        end_sd_dn=3 * spread_dn / float(np.sqrt(window)),
    )
