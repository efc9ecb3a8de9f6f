"""
Collect: photons become electrons, with the shot noise of light and of dark current.

References
----------
EMVA 1288 R4.0 RC (March 2021): photons μ_p = A E t λ/(hc) (3)(4), as a spectral integral for broad
light; electrons η μ_p; Poisson statistics σ_e² = μ_e (13); dark current μ_I t (29)(30);
DSNU and PRNU as fixed patterns of the pixels (66)(67).
"""

from dataclasses import dataclass, replace

import numpy as np

from linesim.forward.draws import poisson_in_place
from linesim.forward.geometry import Figure
from linesim.forward.stage import Columns, Samples, Stage
from linesim.forward.streams import PATTERN_STREAM, Streams, stream
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup


def electrons(
    irradiance_w_m2: Figure, area_um2: Figure, exposure_us: Figure, electrons_per_joule: Figure
) -> Figure:
    """
    Count the electrons that one pixel collects, A E t ∫η(λ) λ/(hc).

    Parameters
    ----------
    irradiance_w_m2 : float or ndarray; at the sensor [W/m²]
    area_um2 : float or ndarray; of the pixel [µm²]
    exposure_us : float or ndarray; exposure time [µs]
    electrons_per_joule : float or ndarray; of this light on this sensor [e/J]

    Returns
    -------
    float or ndarray; mean number [e]
    """
    return irradiance_w_m2 * (area_um2 * 1e-12) * (exposure_us * 1e-6) * electrons_per_joule


def electrons_per_joule(setup: Setup) -> Figure:
    """
    Count the electrons from each joule of the setup's light on its sensor.

    A colour channel whose efficiency is one number, or one curve for all, sees its own band alone:
    red above 580 nm, green from 490 nm, blue below. A curve of its own is taken as it is.
    """
    spectrum = setup.light.spectrum
    if setup.camera.kind == "mono":
        return spectrum.electrons_per_joule(setup.camera.efficiency("mono"))
    found = []
    for index, name in enumerate(COLOURS):
        efficiency = setup.camera.efficiency(name)
        whole = spectrum.electrons_per_joule(efficiency)
        own = setup.camera.has_own_curve(name)
        share = 1.0 if own else spectrum.band_shares(efficiency)[2 - index]
        found.append(whole * share * setup.camera.share_of_light(name))
    return np.array(found)


def band_weights(setup: Setup) -> FloatArray:
    """
    Weigh red, green and blue reflectance in the signal of each channel.

    Returns
    -------
    ndarray of shape (3,), or (3, 3) with one row a channel
        Share of the electrons above 580 nm, from 490 to 580 nm, below 490 nm.
    """
    spectrum, camera = setup.light.spectrum, setup.camera
    if camera.kind == "mono":
        return np.asarray(spectrum.band_shares(camera.efficiency("mono")))[::-1]
    own = np.eye(3)
    for index, name in enumerate(COLOURS):
        if camera.has_own_curve(name):
            own[index] = np.asarray(spectrum.band_shares(camera.efficiency(name)))[::-1]
    return own


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """Fixed pattern of one sensor, per physical pixel, for the rows and columns that are read."""

    response: FloatArray  # shape (rows, columns); relative response, mean 1 (PRNU, waves)
    offset_e: FloatArray  # shape (rows, columns); offset of either sign (DSNU) [e]

    def joined(self, across: int) -> "Pattern":
        """Pattern of the pixels that join all rows and ``across`` columns of this one."""
        width = self.response.shape[1] // across * across
        groups = (self.response.shape[0], -1, across)
        return Pattern(
            response=self.response[:, :width].reshape(groups).mean(axis=(0, 2))[None],
            offset_e=self.offset_e[:, :width].reshape(groups).sum(axis=(0, 2))[None],
        )


def pattern(setup: Setup, channel: int) -> Pattern:
    """
    Draw the fixed pattern that belongs to the camera, one stream a row, whatever the run's seed.

    Charge that is shifted through the stages of time-delay integration meets all their pixels.
    """
    camera, stages = setup.camera, setup.camera.tdi_stages
    count = setup.rows_read * stages
    rows = [
        stream(camera.pattern_seed, PATTERN_STREAM, channel, row).standard_normal(
            (2, camera.pixels)
        )
        for row in range(setup.first_row, setup.first_row + count)
    ]
    drawn = np.stack(rows).reshape(-1, stages, 2, camera.pixels)
    response = np.maximum(1 + camera.prnu * drawn[:, :, 0], 0).mean(axis=1)
    return Pattern(
        response=response if camera.column_waves is None else response * column_wave(setup),
        offset_e=camera.dsnu_e * drawn[:, :, 1].sum(axis=1),
    )


def column_wave(setup: Setup) -> FloatArray:
    """Give the response of each physical column that waves over the columns make, 1 + a sin."""
    columns, waves = np.arange(setup.camera.pixels), setup.camera.column_waves
    if waves is None:
        return np.ones(len(columns))
    return np.asarray(1 + waves.gain * np.sin(2 * np.pi * columns / waves.period_px))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Response(Stage):
    """What each pixel makes of its light, and its dark current."""

    # shape (exposures, 1, columns); relative response (PRNU); one exposure may stand for all
    response: ImageArray
    dark_e: float  # expected dark electrons of a pixel [e]

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Turn expected signal into expected charge, on a copy."""
        mean_e = samples * self.response
        if self.dark_e:
            mean_e += np.float32(self.dark_e)
        # next to white, black rounds to some -1e-14 e in the sum of the lens terms
        return np.maximum(mean_e, 0, out=mean_e)

    def at(self, columns: Columns) -> "Response":
        """Give some columns."""
        return replace(self, response=self.response[..., columns.as_they_come])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shot(Stage):
    """Shot noise: electrons are counted around their mean."""

    streams: Streams

    def __call__(self, samples: Samples, strip: int) -> Samples:
        """Draw the charge of a strip."""
        poisson_in_place(samples, self.streams.of(strip))
        return samples
