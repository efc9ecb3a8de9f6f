"""Cautions about where the figures of signal and noise on white stop holding. Derived."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy

from linesim.figures.case import Case, Found
from linesim.figures.rounding import Columns, conversion_shift, joined_shift, noise_rounded_again
from linesim.forward.flat_field import LEAST_SIGNAL_DN
from linesim.setup.arrays import FloatArray
from linesim.setup.channels import COLOURS

_OFF = 0.05
"""Share by which a figure of white may be off before it is told; our choice."""
_GAIN_VARIANCE = 0.02
"""
Variance v of a column's gain: noise grows by 1.5 v and the mean by up to v, 3 % and 2 % here, and
both faster than v beyond.
"""
_COARSE_DN = 8.0
"""A step of 1 DN at the mean changes a variance by 0.8 σ: 5 % of the noise at 8 DN."""
_COLUMNS = 32
_IRRATIONAL = np.array([0.8191725, 0.6710436, 0.5497005])
"""Powers of 1/1.2207441, the root of x⁴ = x + 1: multiples fill a cube evenly."""
_TAIL = 3.09
"""Standard deviations beyond which lies 0.1 %, as much as figures read off an image may clip."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _White:
    """White of one channel in delivered numbers, before and after corrections. [DN]."""

    name: str
    level_dn: float
    noise_dn: float
    dark_noise_dn: float
    prnu: float
    offsets_dn: float
    lines: int
    balance: float
    reported_noise_dn: float

    @property
    def gain_sd(self) -> float:
        """Noise of a column's gain, from its lines in the dark and on white; a share of it."""
        lines = max(self.lines, 1)
        return float(np.hypot(self.noise_dn, self.dark_noise_dn) / np.sqrt(lines) / self.level_dn)

    @property
    def is_corrected(self) -> bool:
        """Whether its numbers are multiplied."""
        return self.lines > 0 or self.balance != 1

    @property
    def shift_share(self) -> float:
        """Half a DN, by which a second rounding may move the mean, over white."""
        return 0.5 / (self.balance * self.level_dn) if self.is_corrected else 0.0

    @property
    def columns(self) -> Columns:
        """Some columns as they come: of their own response, offset and reference lines."""
        response, offset, residue = _deviates()
        spread = np.hypot(self.prnu, self.gain_sd) if self.lines else 0.0
        gains = self.balance / np.maximum(1 + spread * response, 0.1)
        levels_dn = self.level_dn * (1 + self.prnu * response) + self.offsets_dn * offset
        if not self.lines:
            return Columns(gains=gains, levels_dn=levels_dn, offsets_dn=np.zeros_like(gains))
        left_dn = self.balance * self.noise_dn / np.sqrt(self.lines) * residue
        return Columns(gains=gains, levels_dn=levels_dn, offsets_dn=left_dn - gains * levels_dn)


def _deviates() -> FloatArray:
    """Three normal deviates of each of some columns, spread evenly by multiples of irrationals."""
    turns = np.arange(1, _COLUMNS + 1) * _IRRATIONAL[:, None]
    return np.asarray(scipy.special.ndtri(turns % 1))


def _whites(case: Case) -> list[_White]:
    """List the channels that get any light."""
    numbers, plain = case.numbers, case.numbers.uncorrected
    white_e = np.asarray(numbers.electrons_white, dtype=np.float64)
    dark_pattern_e = np.asarray(plain.pattern_e(0.0 * white_e))
    pattern_e2 = np.asarray(plain.pattern_e(white_e)) ** 2 - dark_pattern_e**2
    columns = (
        plain.dn_per_e * white_e,
        plain.dn_per_e * np.asarray(plain.noise_e(white_e)),
        plain.dn_per_e * np.asarray(plain.noise_e(0.0 * white_e)),
        np.sqrt(np.maximum(pattern_e2, 0)) / np.maximum(white_e, 1e-300),
        plain.dn_per_e * dark_pattern_e,
        numbers.balance,
        plain.dn_per_e * np.asarray(numbers.noise_e(white_e)) * numbers.balance,
    )
    rows = zip(*(np.ravel(each).tolist() for each in np.broadcast_arrays(*columns)), strict=True)
    names = COLOURS if white_e.ndim else ("white",)
    whites = [
        _White(
            name=name,
            level_dn=level,
            noise_dn=noise,
            dark_noise_dn=dark,
            prnu=prnu,
            offsets_dn=offsets,
            lines=int(numbers.sensor.reference_lines),
            balance=balance,
            reported_noise_dn=reported_dn,
        )
        for name, (level, noise, dark, prnu, offsets, balance, reported_dn) in zip(
            names, rows, strict=True
        )
    ]
    return [white for white in whites if white.level_dn > 0]


def _references(case: Case, whites: list[_White]) -> Found:
    lines = int(case.numbers.sensor.reference_lines)
    if not lines:
        return
    worst = max(whites, key=lambda white: white.gain_sd)
    if worst.gain_sd**2 > _GAIN_VARIANCE:
        enough = int(np.ceil(lines * worst.gain_sd**2 / (_GAIN_VARIANCE / 2)))
        text = (
            f"The flat-field references are noisy themselves: {lines} lines averaged leave "
            f"{worst.gain_sd:.2g} rms in the gain of each column. Noise and mean on white come "
            "out higher than the figures, for numbers are divided by that noise. "
            f"flat_field_lines = {enough} brings it to 0.1; more light helps too."
        )
        yield "flat_field_noise", text
    dimmest = min(whites, key=lambda white: white.level_dn * (1 - _TAIL * white.gain_sd))
    lowest_dn = dimmest.level_dn * (1 - _TAIL * dimmest.gain_sd)
    if lowest_dn < LEAST_SIGNAL_DN:
        text = (
            f"White lies {dimmest.level_dn:.2g} DN above dark ({dimmest.name}): columns of "
            "under 1 DN are not brought to one level, and keep their fixed pattern. More light "
            "or more gain helps."
        )
        yield "flat_field_left", text


def _rounded_again(case: Case, whites: list[_White]) -> Found:
    del case
    found = []
    for white in whites:
        if white.is_corrected and white.reported_noise_dn < _COARSE_DN:
            ends_dn = noise_rounded_again(white.noise_dn, white.columns)
            off = max(abs(end_dn / white.reported_noise_dn - 1) for end_dn in ends_dn)
            # SNR is off by what noise and mean are together
            found.append((off + white.shift_share, white, ends_dn))
    if not found:
        return
    off, white, (low_dn, high_dn) = max(found, key=lambda each: each[0])
    if off > _OFF:
        text = (
            "What flat field or white balance multiplies is rounded once more: the noise of "
            f"{white.name} is {white.reported_noise_dn:.2g} DN by the figures and anything from "
            f"{low_dn:.2g} to {high_dn:.2g} DN in the image, by where its level lies between "
            "two numbers. More bits or more gain help."
        )
        yield "correction_rounds", text


def _shifted(case: Case, whites: list[_White]) -> Found:
    numbers, acquisition = case.numbers, case.setup.acquisition
    reads, averaged = int(numbers.reads), float(numbers.sensor.averaged)
    black_dn = case.setup.camera.black_level_dn
    joined_dn = 0.0
    if reads > 1:
        joined_dn = joined_shift(reads, black_dn, average=acquisition.binning_mode == "average")
    found = []
    for white in whites:
        one_dn = white.noise_dn * averaged / np.sqrt(reads)
        before_dn = abs(joined_dn) + reads / averaged * conversion_shift(one_dn)
        share = before_dn / white.level_dn + white.shift_share
        found.append((share, share * white.balance * white.level_dn, white))
    share, shift_dn, white = max(found, key=lambda each: each[0])
    if share > _OFF:
        text = (
            f"Rounding may shift the mean by {shift_dn:.2g} DN, where {white.name} lies only "
            f"{white.balance * white.level_dn:.2g} DN above black: its signal and SNR are off "
            f"by up to {share:.2g} of themselves. More light, more bits or more gain help."
        )
        yield "rounding_shifts", text


def _cut_off(case: Case, whites: list[_White]) -> Found:
    del whites
    numbers, plain, camera = case.numbers, case.numbers.uncorrected, case.setup.camera
    white_e, reads = np.asarray(numbers.electrons_white), float(numbers.reads)
    one_e = (white_e + numbers.dark_e) / reads
    offsets_e2 = numbers.geometry.pixels_joined / reads * camera.dsnu_e**2
    lows_dn = [
        # each conversion on white
        numbers.sensor.gain_dn_e
        * (one_e - _TAIL * np.sqrt(one_e + camera.read_noise_e**2 + offsets_e2)),
        # what is delivered of it
        numbers.dn_per_e
        * numbers.balance
        * (white_e + numbers.delivered_dark_e - _TAIL * numbers.total_noise_e(white_e)),
    ]
    if case.setup.acquisition.flat_field:
        lines = float(numbers.sensor.reference_lines)
        left_e = np.hypot(plain.noise_e(0.0) / np.sqrt(lines), plain.pattern_e(0.0))
        lows_dn.append(numbers.dn_per_e * (numbers.dark_e - _TAIL * left_e))
    needed_dn = -min(float(np.min(low)) for low in lows_dn)
    if needed_dn > camera.black_level_dn:
        text = (
            f"A black level of {camera.black_level_dn:.4g} DN lets numbers be cut off at 0, on "
            "white or in the flat field's dark reference: mean and noise differ from the "
            f"figures. {np.ceil(needed_dn):.4g} DN would keep them."
        )
        yield "black_clips", text


_CHECKS: tuple[Callable[[Case, list[_White]], Found], ...] = (
    _references,
    _rounded_again,
    _shifted,
    _cut_off,
)


def noise_cautions(case: Case) -> Found:
    """Find where figures of white do not hold."""
    whites = _whites(case)
    if whites:
        for check in _CHECKS:
            yield from check(case, whites)
