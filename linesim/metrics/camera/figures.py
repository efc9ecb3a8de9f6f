"""The figures that means and temporal variances of a series of exposures give, by EMVA 1288."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.camera.saturation import Saturation
from linesim.metrics.camera.series import Series
from linesim.metrics.camera.transfer import (
    FITTED,
    LEAST_NOISE_DN,
    LEAST_VARIANCE_DN2,
    dark_noise,
    photon_transfer,
    responsivity,
)
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.interval import Interval, carried, interval
from linesim.setup.arrays import FloatArray

_FREE_STEPS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """A camera's temporal figures, each with its 95 % interval from temporal noise."""

    saturation: Saturation  # the step of light that stands for saturation
    fitted: int  # steps up to 70 % of saturation, which gain and responsivity are fitted to
    # whether rounding hides the dark noise, so that its figures are upper limits
    dark_noise_is_limit: bool
    # by name: gain_dn_e (K, through 0), gain_free_offset_dn_e, responsivity_dn (per unit of light),
    # efficiency (electrons per unit of light), dark_noise_dn, dark_noise_e, read_noise_e and
    # black_level_dn (both at exposure 0 where the dark was seen at several), threshold_e,
    # threshold_release_3_e, threshold_light, saturation_e, saturation_dn, snr_max, snr_max_db,
    # dynamic_range, dynamic_range_db, and with darks at several exposures dark_current_mean_e_s,
    # dark_current_variance_e_s, dark_current_gap_e_s (mean less variance)
    figures: dict[str, Interval]


def transfer(series: Series, found: Saturation) -> Transfer:
    """
    Evaluate a series by the linear model of a camera.

    Errors of means and variances are carried through to each figure together, for gain and dark
    noise share the dark, and thresholds share both. ValueError where no step lies between dark and
    70 % of saturation, or the variance does not rise. EMVA 1288 R4.0 RC (March 2021): K and R
    (49)(50), σ_d (53)(54), threshold (26), saturation (24), SNR (55), dynamic range (28), dark
    current (29)(30).
    """
    signal_dn = series.signal_dn
    used = np.flatnonzero((signal_dn > 0) & (signal_dn <= FITTED * signal_dn[found.step]))
    if used.size == 0:
        msg = f"no step of light lies between dark and {FITTED:.0%} of saturation"
        raise ValueError(msg)

    def at(values: FloatArray) -> dict[str, float]:
        return _figures(series.having(values), found.step, used)

    values, sds = series.values(), series.sds()
    figures = at(values)
    errors = carried(lambda moved: np.array(list(at(moved).values())), values, sds)
    sd = np.sqrt((errors**2).sum(axis=1))
    low = dict.fromkeys(("dark_noise_e", "dark_noise_dn", "read_noise_e"), 0.0)
    return Transfer(
        saturation=found,
        fitted=int(used.size),
        dark_noise_is_limit=bool(series.dark.temporal_dn2[series.shortest] < LEAST_VARIANCE_DN2),
        figures={
            name: interval(Estimate(value=value, sd=float(each)), low=low.get(name, -np.inf))
            for (name, value), each in zip(figures.items(), sd, strict=True)
        },
    )


def _figures(series: Series, saturated: int, used: NDArray[np.intp]) -> dict[str, float]:
    gain = _gain(series, used)
    response = responsivity(
        np.append(0, series.signal_dn[used]), np.append(0, series.light[used]), saturation_dn=np.inf
    )
    dark_dn2 = float(series.dark.temporal_dn2[series.shortest])
    dark_dn = np.sqrt(dark_dn2) if dark_dn2 >= LEAST_VARIANCE_DN2 else LEAST_NOISE_DN
    efficiency = response / gain
    # (26), and the form of Release 3 before it
    threshold_e = np.sqrt((dark_dn / gain) ** 2 + 1 / 4) + 1 / 2
    full_e = efficiency * float(series.light[saturated])
    return {
        "gain_dn_e": gain,
        **_free_offset(series, used),
        "responsivity_dn": response,
        "efficiency": efficiency,
        "dark_noise_dn": float(dark_dn),
        "dark_noise_e": _dark_noise_e(dark_dn2, gain),
        "threshold_e": threshold_e,
        "threshold_light": threshold_e / efficiency,
        "threshold_release_3_e": dark_dn / gain + 1 / 2,
        "saturation_e": full_e,
        "saturation_dn": float(series.signal_dn[saturated]),
        "snr_max": np.sqrt(full_e),
        "snr_max_db": 20 * np.log10(np.sqrt(full_e)),
        "dynamic_range": full_e / threshold_e,
        "dynamic_range_db": 20 * np.log10(full_e / threshold_e),
        **_in_the_dark(series, gain),
    }


def _gain(series: Series, used: NDArray[np.intp]) -> float:
    """Fit the slope through 0; a dark of its own is off each step already."""
    gain = photon_transfer(
        np.append(0, series.signal_dn[used]),
        np.append(0, series.noise_dn2[used]),
        saturation_dn=np.inf,
        samples=1,
    ).value
    if gain <= 0:
        msg = "the temporal variance does not rise with the light"
        raise ValueError(msg)
    return gain


def _free_offset(series: Series, used: NDArray[np.intp]) -> dict[str, float]:
    if used.size < _FREE_STEPS:
        return {}
    slope = np.polyfit(series.signal_dn[used], series.noise_dn2[used], 1)[0]
    return {"gain_free_offset_dn_e": float(slope)}


def _dark_noise_e(dark_dn2: float, gain_dn_e: float) -> float:
    return dark_noise(Estimate(value=dark_dn2, sd=0.0), Estimate(value=gain_dn_e, sd=0.0)).value


def _in_the_dark(series: Series, gain_dn_e: float) -> dict[str, float]:
    """Part what the dark gathers with time from what is there at once, (29)(30)."""
    dark, seconds = series.dark, 1e-6 * series.dark_exposure_us
    if seconds.size == 1:
        return {
            "read_noise_e": _dark_noise_e(float(dark.temporal_dn2[0]), gain_dn_e),
            "black_level_dn": float(dark.mean_dn[0]),
        }
    mean_dn_s, black_dn = np.polyfit(seconds, dark.mean_dn, 1)
    variance_dn2_s, still_dn2 = np.polyfit(seconds, dark.temporal_dn2, 1)
    by_mean, by_variance = mean_dn_s / gain_dn_e, variance_dn2_s / gain_dn_e**2
    return {
        "read_noise_e": _dark_noise_e(float(still_dn2), gain_dn_e),
        "black_level_dn": float(black_dn),
        "dark_current_mean_e_s": float(by_mean),
        "dark_current_variance_e_s": float(by_variance),
        "dark_current_gap_e_s": float(by_mean - by_variance),
    }
