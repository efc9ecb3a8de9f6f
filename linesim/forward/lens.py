"""
The lens: how much light of the target reaches the sensor, and how sharply.

Frequencies are in cycles/mm at the sensor; every function broadcasts.

References
----------
Irradiance: camera equation for a distant pupil, E' = π L τ / (4 N²(1+m)²) with L = ρE/π for a
matt target. Pupil magnification P: N(1+m/P) for N(1+m), photographic optics texts (from memory);
derived: the exit pupil, P f/N wide, lies f(P+m) before the image. Diffraction: MTF of a circular
pupil in incoherent light, textbooks on Fourier optics. Defocus: P. A. Stokseth, "Properties of a
defocused optical system", Journal of the Optical Society of America 59, 1969 (from memory):
diffraction times the transfer 2 J₁(x)/x of the geometric disc at x(1−ν), for the overlap of the
shifted pupils, over which the path error is felt, narrows with the frequency; within 0.017 of the
exact transfer at any defocus. Over the field: distortion as ISO 9039, lateral colour as the
chromatic displacement of ISO 19084 have them; a shift of focus at the sensor is 1/m² as much at the
target (W. J. Smith, Modern Optical Engineering). All from memory.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from math import prod

import numpy as np
import scipy

from linesim.forward.geometry import Figure
from linesim.setup.arrays import FloatArray, is_any
from linesim.setup.channels import COLOURS, ByChannel
from linesim.setup.lens.over_field import OverField
from linesim.setup.setup import Setup

OverFigure = Figure | OverField
BINS = 8
"""Equal parts of the electrons, by wavelength; against the spectral integral right to 0.002."""
_MATTERS = 0.5
"""Nyquist frequency over the cut-off from which on one wavelength errs by more than 0.003."""
_PLACES = 201
"""Along the line, at which the worst is looked for."""


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
    more_across_um, more_along_um : float
        Standard deviation by which the rest blur is wider across, or along, than ``blur_um``; their
        squares add up. [µm]
    averaged : float; 1 where diffraction is averaged over the band, 0 where its mean stands for it
    band : tuple of float; wavelengths of equal parts of the electrons, over the mean; rising
    pupil_magnification : float; exit pupil over entrance pupil, P
    """

    magnification: Figure
    f_number: Figure
    transmission: Figure
    wavelength_um: Figure
    blur_um: Figure
    defocus_mm: Figure
    more_across_um: Figure = 0.0
    more_along_um: Figure = 0.0
    averaged: Figure = 0.0
    band: tuple[Figure, ...] = (1.0,) * BINS
    pupil_magnification: Figure = 1.0

    def of_channel(self, index: int) -> "Optics":
        """Give one channel's lens in plain numbers: red, green, blue; the only one of all."""
        own = {
            name: float(value[index])
            for name in ("wavelength_um", "defocus_mm", "averaged")
            if isinstance(value := getattr(self, name), np.ndarray)
        }
        if not own:
            return self
        band = tuple(float(np.broadcast_to(each, 3)[index]) for each in self.band)
        return replace(self, band=band, **own)

    def is_as(self, other: "Optics") -> bool:
        """Tell whether all numbers of another lens are the same."""
        names = [each.name for each in fields(self)]
        return all(np.array_equal(getattr(self, name), getattr(other, name)) for name in names)

    @property
    def working_f_number(self) -> Figure:
        """N(1+m/P): distance of the exit pupil over its diameter."""
        return self.f_number * (1 + self.magnification / self.pupil_magnification)

    @property
    def share_to_sensor(self) -> Figure:
        """Irradiance at the sensor over that at a white target, on the axis: τ/(4 N_w²)."""
        return self.transmission / (4 * self.working_f_number**2)

    @property
    def cutoff_lp_mm(self) -> Figure:
        """Highest frequency that diffraction lets pass, 1/(λ N_w), at the sensor. [cycles/mm]."""
        return 1000 / (self.wavelength_um * self.working_f_number)

    @property
    def last_lp_mm(self) -> Figure:
        """Highest frequency of the shortest waves that count, at the sensor. [cycles/mm]."""
        return self.cutoff_lp_mm / np.where(self.averaged, self.band[0], 1.0)

    @property
    def defocus_disc_um(self) -> Figure:
        """Diameter of the blur disc at the sensor, m²δ/N_w. [µm]."""
        return 1000 * self.magnification**2 * np.abs(self.defocus_mm) / self.working_f_number

    @property
    def rest_blur_um(self) -> Figure:
        """The rest blur in the direction in which it is wider. [µm]."""
        return np.hypot(self.blur_um, np.maximum(self.more_across_um, self.more_along_um))

    def factors(self, across_lp_mm: Figure, along_lp_mm: Figure = 0.0) -> dict[str, FloatArray]:
        """Transfer of each cause of blur at a frequency at the sensor. [cycles/mm]."""
        found = self._round_factors(np.hypot(across_lp_mm, along_lp_mm))
        found["rest blur"] = (
            found["rest blur"]
            * gaussian_mtf(across_lp_mm * self.more_across_um / 1000)
            * gaussian_mtf(along_lp_mm * self.more_along_um / 1000)
        )
        return found

    def mtf(self, across_lp_mm: Figure, along_lp_mm: Figure = 0.0) -> FloatArray:
        """MTF at a frequency at the sensor. [cycles/mm]."""
        if not (is_any(self.more_across_um) or is_any(self.more_along_um)):
            return self.round_mtf(np.hypot(across_lp_mm, along_lp_mm))
        return np.asarray(prod(self.factors(across_lp_mm, along_lp_mm).values()))

    def mtf_on_target(self, across_lp_mm: Figure, along_lp_mm: Figure) -> FloatArray:
        """MTF at a frequency of any direction on the target. [lp/mm]."""
        m = self.magnification
        found = self.round_mtf(np.hypot(across_lp_mm, along_lp_mm) / m)
        # to multiply very many numbers by 1 takes its time too
        if is_any(self.more_across_um):
            found = found * gaussian_mtf(across_lp_mm * self.more_across_um / m / 1000)
        if is_any(self.more_along_um):
            found = found * gaussian_mtf(along_lp_mm * self.more_along_um / m / 1000)
        return np.asarray(found)

    def round_mtf(self, frequency_lp_mm: Figure) -> FloatArray:
        """MTF of what blurs alike in all directions. [cycles/mm]."""
        found = self._diffraction(frequency_lp_mm)
        if is_any(self.defocus_mm):
            found = found * self._defocus(frequency_lp_mm)
        rest = gaussian_mtf(frequency_lp_mm * self.blur_um / 1000)
        return np.asarray(found * rest)

    def _round_factors(self, frequency_lp_mm: Figure) -> dict[str, FloatArray]:
        return {
            "diffraction": self._diffraction(frequency_lp_mm),
            "defocus": self._defocus(frequency_lp_mm),
            "rest blur": gaussian_mtf(frequency_lp_mm * self.blur_um / 1000),
        }

    def _defocus(self, frequency_lp_mm: Figure) -> FloatArray:
        inside = 1 - np.minimum(np.abs(frequency_lp_mm / self.cutoff_lp_mm), 1)
        return disc_mtf(frequency_lp_mm * self.defocus_disc_um / 1000 * inside)

    def _diffraction(self, frequency_lp_mm: Figure) -> FloatArray:
        """Transfer of the pupil, over the band where pixels are fine enough to see it."""
        nu = np.asarray(frequency_lp_mm / self.cutoff_lp_mm)
        found = diffraction_mtf(nu)
        if is_any(self.averaged):
            shape = np.broadcast_shapes(nu.shape, *map(np.shape, (self.averaged, *self.band)))
            nu, found = np.broadcast_to(nu, shape), np.broadcast_to(found, shape).copy()
            over = np.broadcast_to(self.averaged, shape) != 0
            # one of nine where it is not seen
            bins = (np.broadcast_to(each, shape)[over] for each in self.band)
            found[over] = sum(diffraction_mtf(nu[over] * each) for each in bins) / BINS
        return found


def diffraction_mtf(relative_frequency: Figure) -> FloatArray:
    """MTF of a circular pupil, (2/π)(arccos ν − ν√(1−ν²))."""
    nu = np.minimum(np.abs(relative_frequency), 1)
    found = np.asarray(np.arccos(nu))
    found -= nu * np.sqrt(1 - nu * nu)
    found *= 2 / np.pi
    return found


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
    return np.asarray(2 * scipy.special.j1(x) / x)


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
    # as numpy's own sinc, which takes longer to start than to work out
    turn = np.pi * np.where(np.asarray(cycles) == 0, 1e-20, cycles)
    return np.asarray(np.abs(np.sin(turn) / turn))


def comb_mtf(count: Figure, cycles: Figure) -> FloatArray:
    """
    Transfer of equal exposures at even distances, |sin(πNεf)/(N sin(πεf))|.

    Parameters
    ----------
    count : float or ndarray; exposures, N: stages of time-delay integration, or joined lines
    cycles : float or ndarray; distance from one to the next times frequency, εf

    Returns
    -------
    ndarray; 1 for one exposure, or for several at one place
    """
    # the ratio repeats with every whole cycle, and about 0 sinc over sinc is it without 0/0
    part = np.asarray(cycles) - np.rint(cycles)
    return np.asarray(np.abs(np.sinc(count * part) / np.sinc(part)))


def channel_wavelengths_nm(setup: Setup) -> Figure:
    """
    Give the mean wavelength of the light that each channel of the camera makes electrons of.

    Returns
    -------
    float, or ndarray of shape (3,) for red, green and blue [nm]
    """
    spectrum, camera = setup.light.spectrum, setup.camera
    if camera.kind == "mono":
        whole = camera.efficiency("mono")
        if isinstance(whole, tuple):
            return spectrum.electron_mean_wavelength_nm(whole)
        return spectrum.photon_mean_wavelength_nm
    return np.array(
        [
            spectrum.electron_mean_wavelength_nm(
                camera.efficiency(name), None if camera.has_own_curve(name) else 2 - index
            )
            for index, name in enumerate(COLOURS)
        ]
    )


def by_wavelength(setup: Setup, given: float | ByChannel[float] | None) -> FloatArray:
    """
    Spread over the channels what red has over blue, green in between by its wavelength.

    Parameters
    ----------
    setup : Setup
    given : float, or one number a colour

    Returns
    -------
    ndarray of shape (3,); one a colour, relative to green where one number is given
    """
    if given is None:
        return np.zeros(3)
    if isinstance(given, tuple):
        return np.asarray(given, dtype=np.float64)
    red, green, blue = np.asarray(channel_wavelengths_nm(setup))
    share = (green - blue) / (red - blue) if red > blue else 0.5
    return np.asarray(given * np.array([1 - share, 0.0, -share]))


def optics(setup: Setup, position: float = 0.0) -> Optics:
    """
    Take the lens out of a setup.

    Parameters
    ----------
    setup : Setup
    position : float; place along the line, from -1 to 1; the middle where left out

    Returns
    -------
    Optics; wavelength and defocus of a colour camera are arrays of shape (3,)
    """
    return _optics(setup, lambda given: _one(given, position, setup.half_line_mm))


def worst_optics(setup: Setup, middle: Optics | None = None) -> Optics:
    """
    Take the widest blur and the largest defocus of the field, wherever each is.

    Parameters
    ----------
    setup : Setup
    middle : Optics, optional; of the middle of the line, where it is at hand

    Returns
    -------
    Optics; that of the middle where the setup tells of no other place
    """
    lens = setup.lens
    stated = (lens.blur_um, lens.blur_across_um, lens.blur_along_um, lens.defocus_mm)
    if middle is not None and not any(isinstance(each, OverField) for each in stated):
        return middle
    return _optics(setup, lambda given: _largest(given, setup.half_line_mm))


def _optics(setup: Setup, read: Callable[[OverFigure], Figure]) -> Optics:
    lens = setup.lens
    across_um, along_um = (
        read(lens.blur_um if own is None else own)
        for own in (lens.blur_across_um, lens.blur_along_um)
    )
    blur_um = np.minimum(across_um, along_um) if across_um is not along_um else across_um
    defocus_mm = read(lens.defocus_mm)
    if lens.axial_colour_um is not None:
        shift_mm = by_wavelength(setup, lens.axial_colour_um) / 1000 / setup.magnification**2
        defocus_mm = defocus_mm + shift_mm
    found = Optics(
        magnification=setup.magnification,
        f_number=lens.f_number,
        transmission=lens.transmission,
        wavelength_um=channel_wavelengths_nm(setup) / 1000,
        blur_um=blur_um,
        defocus_mm=defocus_mm,
        more_across_um=_beyond(across_um, blur_um),
        more_along_um=_beyond(along_um, blur_um),
        pupil_magnification=setup.pupil_magnification,
    )
    return _over_band(setup, found)


def _over_band(setup: Setup, lens: Optics) -> Optics:
    """Average diffraction over the band where the pixels are fine enough to see it."""
    binning = setup.acquisition.binning
    side_um = np.minimum(
        binning.across * setup.camera.pixel_width_um, setup.rows_read * setup.pixel_height_um
    )
    matters = 500 / side_um > _MATTERS * lens.cutoff_lp_mm
    if not np.any(matters):
        return lens
    return replace(lens, averaged=matters * 1.0, band=_bins(setup))


def _bins(setup: Setup) -> tuple[Figure, ...]:
    """Give the wavelengths of equal parts of the electrons over their mean, one a channel."""
    spectrum, camera = setup.light.spectrum, setup.camera
    if camera.kind == "mono":
        each_nm = spectrum.electron_bins_nm(camera.efficiency("mono"), None, BINS)
        return tuple((each_nm / each_nm.mean()).tolist())
    found = []
    for index, name in enumerate(COLOURS):
        part = None if camera.has_own_curve(name) else 2 - index
        each_nm = spectrum.electron_bins_nm(camera.efficiency(name), part, BINS)
        found.append(each_nm / each_nm.mean())
    return tuple(np.array(found).T)


def _one(given: OverFigure, position: float, half_mm: float) -> Figure:
    if isinstance(given, OverField):
        return float(given.at(np.array([position]), half_mm)[0])
    return given


def _largest(given: OverFigure, half_mm: float) -> Figure:
    if isinstance(given, OverField):
        found = given.at(np.linspace(-1, 1, _PLACES), half_mm)
        return float(found[np.abs(found).argmax()])
    return given


def _beyond(whole_um: Figure, part_um: Figure) -> Figure:
    """Give the standard deviation that brings a part to the whole. [µm]."""
    if whole_um is part_um:
        return 0.0
    more_um: Figure = np.sqrt(np.maximum(np.square(whole_um) - np.square(part_um), 0.0))
    return more_um
