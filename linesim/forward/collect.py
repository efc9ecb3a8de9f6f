"""
Collect: photons become electrons, with the shot noise of light and of dark current.

References
----------
EMVA 1288 Release 4.0 Linear: photons μ_p = A E t λ/(hc) (3)(4), as a spectral integral for broad
light; electrons η μ_p; Poisson statistics σ_e² = μ_e (13); dark current μ_I t (29)(30);
DSNU and PRNU as fixed patterns of the pixels (66)(67).
"""

from dataclasses import dataclass

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.sampler import poisson_in_place
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.setup import Setup


def electrons(
    irradiance_w_m2: Figure, area_um2: Figure, exposure_us: Figure, electrons_per_joule: Figure
) -> Figure:
    """
    Count the electrons that one pixel collects, A E t ∫η(λ) λ/(hc).

    Parameters
    ----------
    irradiance_w_m2 : float or ndarray
        At the sensor. [W/m²]
    area_um2 : float or ndarray
        Of the pixel. [µm²]
    exposure_us : float or ndarray
        Exposure time. [µs]
    electrons_per_joule : float or ndarray
        Of this light on this sensor. [e/J]

    Returns
    -------
    float or ndarray
        Mean number. [e]
    """
    return irradiance_w_m2 * (area_um2 * 1e-12) * (exposure_us * 1e-6) * electrons_per_joule


def electrons_per_joule(setup: Setup) -> float:
    """
    Count the electrons from each joule of the setup's light on its sensor.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    float
        ∫ e(λ) η(λ) λ/(hc) dλ, e the share of the power per nm. [e/J]
    """
    return setup.light.spectrum.electrons_per_joule(_efficiency(setup))


def band_weights(setup: Setup) -> FloatArray:
    """
    Weigh red, green and blue reflectance in the signal of a monochrome sensor.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    ndarray of shape (3,)
        Share of the electrons above 580 nm, from 490 to 580 nm, below 490 nm.
    """
    return np.asarray(setup.light.spectrum.band_shares(_efficiency(setup)))[::-1]


def _efficiency(setup: Setup) -> float | tuple[FloatArray, FloatArray]:
    given = setup.camera.quantum_efficiency
    return given if isinstance(given, float) else given.arrays()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """
    Fixed pattern of one sensor, per physical pixel, for the rows and columns that are read.

    Parameters
    ----------
    response : ndarray of shape (rows, columns)
        Relative response, mean 1 (PRNU).
    offset_e : ndarray of shape (rows, columns)
        Offset of either sign (DSNU). [e]
    """

    response: FloatArray
    offset_e: FloatArray

    def joined(self, across: int) -> "Pattern":
        """Pattern of the pixels that join all rows and ``across`` columns of this one."""
        width = self.response.shape[1] // across * across
        groups = (self.response.shape[0], -1, across)
        return Pattern(
            response=self.response[:, :width].reshape(groups).mean(axis=(0, 2))[None],
            offset_e=self.offset_e[:, :width].reshape(groups).sum(axis=(0, 2))[None],
        )


PATTERN_STREAM = 3


def pattern(setup: Setup) -> Pattern:
    """
    Draw the fixed pattern that belongs to the camera, one stream a row, whatever the run's seed.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Pattern
        For the rows that the binning reads and all physical columns.
    """
    camera = setup.camera
    shape = (2, camera.pixels)
    rows = [
        np.random.Generator(
            np.random.SFC64(
                np.random.SeedSequence(camera.pattern_seed, spawn_key=(PATTERN_STREAM, row))
            )
        ).standard_normal(shape)
        for row in range(setup.acquisition.binning.along)
    ]
    drawn = np.stack(rows)
    return Pattern(
        response=np.maximum(1 + camera.prnu * drawn[:, 0], 0),
        offset_e=camera.dsnu_e * drawn[:, 1],
    )


def collect(
    expected_e: ImageArray, response: ImageArray, dark_e: float, rng: np.random.Generator
) -> ImageArray:
    """
    Draw the electrons of one strip.

    Parameters
    ----------
    expected_e : ndarray of shape (lines, columns)
        Expected signal; left alone. [e]
    response : ndarray of shape (columns,)
        Relative response of each column.
    dark_e : float
        Expected dark electrons. [e]
    rng : numpy.random.Generator
        Stream of this strip.

    Returns
    -------
    ndarray of shape (lines, columns)
        Whole electrons, no well yet. [e]
    """
    drawn = expected_e * response
    drawn += np.float32(dark_e)
    # next to white, black rounds to some -1e-14 e in the sum of the lens terms
    np.maximum(drawn, 0, out=drawn)
    poisson_in_place(drawn, rng)
    return drawn
