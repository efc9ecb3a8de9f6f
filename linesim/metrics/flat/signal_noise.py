"""Signal and noise of an even area: levels above black, and the ratios by EMVA 1288."""

from dataclasses import dataclass

import numpy as np

from linesim.metrics.flat.area import FlatArea
from linesim.metrics.flat.noise import Estimate

_DB_PER_SHARE = 20 / np.log(10)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SignalNoise:
    """What an even area is worth."""

    lit: FlatArea
    black_dn: Estimate
    dark: FlatArea | None  # the same area without light, where it was looked at

    @property
    def signal_dn(self) -> Estimate:
        """Mean above black, μ_y − μ_y.dark. [DN]."""
        return self.lit.mean_dn.less(self.black_dn)

    @property
    def temporal_noise_dn(self) -> Estimate:
        """Standard deviation in time of one sample, σ_y. [DN]."""
        return self.lit.temporal_dn2.root()

    @property
    def snr(self) -> Estimate | None:
        """Signal over noise in time (20); None without either."""
        return _ratio(self.signal_dn, self.temporal_noise_dn)

    @property
    def snr_total(self) -> Estimate | None:
        """Signal over what a single image shows, in time and between columns; None as above."""
        return _ratio(self.signal_dn, self.lit.total_dn2.root())

    @property
    def gain_dn_e(self) -> Estimate | None:
        """
        System gain from this one level, by the noise that light adds (15); None without dark.

        Of samples, not of whole lines: what a line shares comes from the light, not from the
        photons' number.
        """
        if self.dark is None or not self.signal_dn.value > 0:
            return None
        added = self.lit.pixel_dn2.less(self.dark.pixel_dn2)
        return added.over(self.signal_dn) if added.value > 0 else None

    def figures(self) -> dict[str, Estimate]:
        """Give all figures by name; one without a value is absent."""
        lit, dark = self.lit, self.dark
        named = {
            "mean_dn": lit.mean_dn,
            "black_dn": self.black_dn,
            "signal_dn": self.signal_dn,
            "temporal_noise_dn": self.temporal_noise_dn,
            "line_variation_dn": lit.line_dn2.root(),
            "column_pattern_dn": lit.column_dn2.root(),
            "column_pattern_even_dn": lit.pattern_dn2.root(),
            "total_noise_dn": lit.total_dn2.root(),
            "snr": self.snr,
            "snr_db": _decibel(self.snr),
            "snr_total": self.snr_total,
            "snr_total_db": _decibel(self.snr_total),
            "gain_dn_e": self.gain_dn_e,
            "dark_noise_dn": None if dark is None else dark.temporal_dn2.root(),
            "dark_column_pattern_dn": None if dark is None else dark.column_dn2.root(),
        }
        return {name: figure for name, figure in named.items() if figure is not None}


def _ratio(signal: Estimate, noise: Estimate) -> Estimate | None:
    return signal.over(noise) if signal.value > 0 and noise.value > 0 else None


def _decibel(ratio: Estimate | None) -> Estimate | None:
    if ratio is None:
        return None
    value = float(20 * np.log10(ratio.value))
    return Estimate(value=value, sd=float(_DB_PER_SHARE * ratio.sd / ratio.value))
