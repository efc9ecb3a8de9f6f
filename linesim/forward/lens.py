"""
The lens: how much light of the target reaches the sensor, and how sharply.

Frequencies are in cycles/mm at the sensor; every function broadcasts.

References
----------
Irradiance: camera equation for a distant pupil, E' = π L τ / (4 N²(1+m)²) with L = ρE/π for a
matt target. Diffraction: MTF of a circular pupil in incoherent light, textbooks on Fourier
optics. Defocus: P. A. Stokseth, "Properties of a defocused optical system", Journal of the Optical
Society of America 59, 1969 (from memory): diffraction times the transfer 2 J₁(x)/x of the geometric
disc at x(1−ν), for the overlap of the shifted pupils, over which the path error is felt, narrows
with the frequency; within 0.017 of the exact transfer at any defocus. Fall-off: cos⁴ law (from
memory).
"""

from dataclasses import dataclass
from math import prod

import numpy as np
from scipy.special import j1

from linesim.forward.geometry import Figure
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """
    The lens in numbers; each field a number or an array.

    Parameters
    ----------
    magnification : float
        Image over object.
    f_number : float; as engraved, at infinity
    transmission : float; share of the light that passes
    wavelength_um : float; photon-weighted mean of the light [µm]
    blur_um : float
        Gaussian standard deviation of the rest blur, along one axis, at the sensor. [µm]
    defocus_mm : float; distance of the target from best focus [mm]
    """

    magnification: Figure
    f_number: Figure
    transmission: Figure
    wavelength_um: Figure
    blur_um: Figure
    defocus_mm: Figure

    @property
    def working_f_number(self) -> Figure:
        """N(1+m), for a pupil magnification of 1."""
        return self.f_number * (1 + self.magnification)

    @property
    def share_to_sensor(self) -> Figure:
        """Irradiance at the sensor over that at a white target, on the axis: τ/(4 N_w²)."""
        return self.transmission / (4 * self.working_f_number**2)

    @property
    def cutoff_lp_mm(self) -> Figure:
        """Highest frequency that diffraction lets pass, 1/(λ N_w), at the sensor. [cycles/mm]."""
        return 1000 / (self.wavelength_um * self.working_f_number)

    @property
    def defocus_disc_um(self) -> Figure:
        """Diameter of the blur disc at the sensor, m²δ/(N(1+m)). [µm]."""
        return 1000 * self.magnification**2 * np.abs(self.defocus_mm) / self.working_f_number

    def factors(self, frequency_lp_mm: Figure) -> dict[str, FloatArray]:
        """Transfer of each cause of blur at a frequency at the sensor. [cycles/mm]."""
        relative = np.minimum(np.abs(frequency_lp_mm / self.cutoff_lp_mm), 1)
        return {
            "diffraction": diffraction_mtf(relative),
            "defocus": disc_mtf(frequency_lp_mm * self.defocus_disc_um / 1000 * (1 - relative)),
            "rest blur": gaussian_mtf(frequency_lp_mm * self.blur_um / 1000),
        }

    def mtf(self, frequency_lp_mm: Figure) -> FloatArray:
        """MTF at a frequency at the sensor, whatever its direction. [cycles/mm]."""
        return np.asarray(prod(self.factors(frequency_lp_mm).values()))


def diffraction_mtf(relative_frequency: Figure) -> FloatArray:
    """MTF of a circular pupil, (2/π)(arccos ν − ν√(1−ν²))."""
    nu = np.clip(np.abs(relative_frequency), 0, 1)
    return np.asarray(2 / np.pi * (np.arccos(nu) - nu * np.sqrt(1 - nu * nu)))


def disc_mtf(cycles: Figure) -> FloatArray:
    """
    Transfer of a uniform disc, 2 J₁(πdf)/(πdf); negative beyond its first zero.

    Parameters
    ----------
    cycles : float or ndarray; diameter times frequency, df

    Returns
    -------
    ndarray; 1 for a point
    """
    x = np.maximum(np.abs(np.pi * np.asarray(cycles)), 1e-12)
    if x.max(initial=0.0) <= 1e-12:  # noqa: PLR2004 -- a point: a quarter of a second saved
        return np.ones(x.shape)
    return np.asarray(2 * j1(x) / x)


def gaussian_mtf(cycles: Figure) -> FloatArray:
    """Transfer of a Gaussian, exp(−2π²σ²f²)."""
    return np.asarray(np.exp(-2 * np.pi**2 * np.asarray(cycles) ** 2))


def box_mtf(cycles: Figure) -> FloatArray:
    """
    Transfer of a box, |sinc(wf)|: a pixel's side, or the travel while exposed.

    Parameters
    ----------
    cycles : float or ndarray; width times frequency, wf

    Returns
    -------
    ndarray; 1 for a point
    """
    return np.asarray(np.abs(np.sinc(cycles)))


def comb_mtf(count: Figure, cycles: Figure) -> FloatArray:
    """
    Transfer of equal looks at even distances, |sin(πNεf)/(N sin(πεf))|.

    Parameters
    ----------
    count : float or ndarray; looks, N: stages of time-delay integration, or joined lines
    cycles : float or ndarray; distance from one to the next times frequency, εf

    Returns
    -------
    ndarray; 1 for one look, or for looks at one place
    """
    # the ratio repeats with every whole cycle, and about 0 sinc over sinc is it without 0/0
    part = np.asarray(cycles) - np.rint(cycles)
    return np.asarray(np.abs(np.sinc(count * part) / np.sinc(part)))


def off_axis_share(
    x_um: FloatArray, magnification: float, focal_length_mm: float | None
) -> FloatArray:
    """Give the cos⁴ fall-off, tan θ = x/(f(1+m)) with x at the sensor; 1 without a focal length."""
    if focal_length_mm is None:
        return np.ones_like(x_um)
    tangent = x_um / (1000 * focal_length_mm * (1 + magnification))
    return (1 + tangent**2) ** -2.0


def optics(setup: Setup) -> Optics:
    """Take the lens out of a setup."""
    return Optics(
        magnification=setup.magnification,
        f_number=setup.lens.f_number,
        transmission=setup.lens.transmission,
        wavelength_um=setup.light.spectrum.photon_mean_wavelength_nm / 1000,
        blur_um=setup.lens.blur_um,
        defocus_mm=setup.lens.defocus_mm,
    )
