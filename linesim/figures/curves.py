"""What figures are made of: each factor of the MTF, source of noise and step of the light."""

from dataclasses import dataclass

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.pixel import pixel_factors_across, pixel_factors_along
from linesim.forward.station import Station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

Factors = dict[str, FloatArray]
"""Name -> transfer at the frequencies asked for."""


def _lens_factors(numbers: Station, across_lp_mm: Figure, along_lp_mm: Figure) -> Factors:
    lens = numbers.optics
    found = lens.factors(across_lp_mm / lens.magnification, along_lp_mm / lens.magnification)
    return {name: np.abs(factor) for name, factor in found.items()}


def factors_across(numbers: Station, frequency_lp_mm: FloatArray) -> Factors:
    """
    Give each factor of the MTF across the web; their product is ``mtf_across``.

    Parameters
    ----------
    frequency_lp_mm : ndarray; on the target [lp/mm]
    """
    return {
        **_lens_factors(numbers, frequency_lp_mm, 0.0),
        **pixel_factors_across(numbers, frequency_lp_mm),
    }


def factors_along(numbers: Station, frequency_lp_mm: FloatArray) -> Factors:
    """
    Give each factor of the MTF along travel; their product is ``mtf_along``.

    Parameters
    ----------
    frequency_lp_mm : ndarray; on the target [lp/mm]
    """
    return {
        **_lens_factors(numbers, 0.0, frequency_lp_mm),
        **pixel_factors_along(numbers, frequency_lp_mm),
    }


def noise_sources_e(numbers: Station, signal_e: Figure) -> dict[str, FloatArray]:
    """
    Give each source of noise; the root of the sum of their squares is ``total_noise_e``.

    Parameters
    ----------
    signal_e : float or ndarray; of a delivered pixel; each noise gets its shape [e]
    """
    signal = np.asarray(signal_e, dtype=np.float64)
    sources = {
        "shot noise": np.sqrt(signal),
        "dark current": np.sqrt(numbers.dark_e),
        "read noise": np.sqrt(numbers.reads) * numbers.sensor.read_noise_e,
        "quantisation": np.sqrt(numbers.rounding_e2),
        "fixed pattern": numbers.pattern_e(signal),
    }
    if np.any(np.asarray(numbers.line_noise_e) > 0):
        sources["line noise"] = np.asarray(numbers.line_noise_e)
    return {name: np.broadcast_to(noise, signal.shape) for name, noise in sources.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class LightPath:
    """What is left of the light on its way, for a white target on the axis."""

    lamp_w_m2: float
    ambient_w_m2: float
    sent_back_w_m2: float  # of both, sent back by white [W/m²]
    sensor_w_m2: float
    photons: float  # on a delivered pixel in its exposures, all wavelengths, before any filter


def light_path(setup: Setup, numbers: Station) -> LightPath:
    """
    Follow the light from the lamp to the electrons.

    References
    ----------
    EMVA 1288 R4.0 RC, (3)(4): μ_p = A t E ∫ e(λ) λ/(hc) dλ, here of all joined pixels.
    """
    lamp, ambient = float(numbers.irradiance_w_m2), float(numbers.ambient_w_m2)
    place, sensor_w_m2 = numbers.geometry, float(numbers.irradiance_sensor_w_m2)
    energy_joule = (
        sensor_w_m2
        * float(place.pixels_joined * place.pixel_area_um2)
        * float(numbers.timing.lit_us)
        * 1e-18
    )
    return LightPath(
        lamp_w_m2=lamp,
        ambient_w_m2=ambient,
        sent_back_w_m2=float(numbers.white_reflectance) * (lamp + ambient),
        sensor_w_m2=sensor_w_m2,
        photons=energy_joule * setup.light.spectrum.photons_per_joule,
    )
