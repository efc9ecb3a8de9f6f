"""
Put figures to what the forward model leaves out, wherever a closed form or a table lets one.

``python -m tests.bench.left_out`` prints the tables of the second half of
``linesim/forward/README.md`` in some seconds. Reflectances are those of the 24 patches of
ISO 17321-1 as colour-science carries them.
"""

import sys
import warnings

import numpy as np

from linesim.forward.lens import box_mtf, diffraction_mtf, disc_mtf
from linesim.forward.profile import off_axis_share
from linesim.setup.arrays import FloatArray
from linesim.setup.light.spectra import Spectrum

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

LIGHTS = (
    Spectrum.named("LED-B3"),
    Spectrum.named("D65"),
    Spectrum.named("A"),
    Spectrum.gaussian(630.0, 20.0),
    Spectrum.gaussian(850.0, 40.0),
)
SILICON_NM = np.array([350.0, 400, 450, 500, 550, 600, 650, 700, 750, 780])
SILICON = np.array([0.25, 0.40, 0.55, 0.62, 0.65, 0.63, 0.58, 0.50, 0.42, 0.37])
"""A plain silicon sensor's efficiency over the wavelength; common practice, no source. [nm]."""
NYQUIST = 0.17
"""ν at the Nyquist frequency of a 7.5 µm pixel behind f/4 at m = 0.1 in LED-B3."""
WAVES = (0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0)


def polychromatic_mtf(light: Spectrum, relative: FloatArray) -> FloatArray:
    """Weigh the diffraction MTF of every wavelength by its photons; 1 is the mean's cut-off."""
    photons = light.weight_per_nm * light.wavelength_nm
    share = light.wavelength_nm / light.photon_mean_wavelength_nm
    each = diffraction_mtf(np.multiply.outer(relative, share))
    return np.asarray(
        np.trapezoid(each * photons, light.wavelength_nm)
        / np.trapezoid(photons, light.wavelength_nm)
    )


def colour_error(light: Spectrum, low: float, high: float) -> float:
    """Give the largest error of one wavelength's MTF in a range of relative frequency."""
    relative = np.linspace(low, high, 241)
    return largest(diffraction_mtf(relative) - polychromatic_mtf(light, relative))


def defocused_otf(relative: FloatArray, waves: float) -> FloatArray:
    """
    Work out the transfer of a circular pupil with a path error of w waves at its rim.

    It is the overlap of two unit discs at ±ν, (4/π) ∫₀^{1−ν} √(1−(x+ν)²) cos(8πwνx) dx.
    """
    node, weight = np.polynomial.legendre.leggauss(400)
    x = np.multiply.outer(1 - relative, (node + 1) / 2)
    height = np.sqrt(np.maximum(1 - (x + relative[:, None]) ** 2, 0))
    wave = np.cos(8 * np.pi * waves * relative[:, None] * x)
    return np.asarray(4 / np.pi * (1 - relative) / 2 * ((height * wave) @ weight))


def defocus_errors(waves: float) -> tuple[float, float, float]:
    """
    Give the largest error of the model's transfer up to ν = 0.17, anywhere, and of the plain disc.

    A path error of w waves makes a disc of 8 wλN_w: w = δ′/(8 λN_w²) and d = δ′/N_w for a focus
    shift δ′ at the sensor.
    """
    relative = np.linspace(0, 1, 2001)
    true = defocused_otf(relative, waves)
    model = diffraction_mtf(relative) * disc_mtf(8 * waves * relative * (1 - relative)) - true
    alone = diffraction_mtf(relative) * disc_mtf(8 * waves * relative) - true
    return largest(model[relative <= NYQUIST]), largest(model), largest(alone)


def largest(error: FloatArray) -> float:
    """Give the error furthest from 0, with its sign."""
    return float(error[np.argmax(np.abs(error))])


def patch_errors(light: Spectrum, efficiency: float | tuple[FloatArray, FloatArray]) -> FloatArray:
    """Compare a mono camera's signal of each patch from its RGB value with that of its spectrum."""
    bands = np.asarray(light.band_shares(efficiency))[::-1]
    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    return np.array([_from_rgb(p) @ bands - _from_spectrum(p, light, efficiency) for p in patches])


def _from_rgb(patch: colour.SpectralDistribution) -> FloatArray:
    xyz = colour.sd_to_XYZ(patch, illuminant=colour.SDS_ILLUMINANTS["D65"]) / 100
    rgb = colour.XYZ_to_sRGB(xyz, apply_cctf_encoding=False)
    return np.clip(np.asarray(rgb, dtype=np.float64), 0, 1)


def _from_spectrum(
    patch: colour.SpectralDistribution,
    light: Spectrum,
    efficiency: float | tuple[FloatArray, FloatArray],
) -> float:
    grid = light.wavelength_nm
    reflectance = np.interp(grid, patch.wavelengths, patch.values)
    qe = efficiency if isinstance(efficiency, float) else np.interp(grid, *efficiency)
    electrons = light.weight_per_nm * grid * qe
    return float(np.trapezoid(electrons * reflectance, grid) / np.trapezoid(electrons, grid))


def row(*cells: object) -> None:
    """Print one row of a table."""
    texts = [f"{cell:.4f}" if isinstance(cell, float) else str(cell) for cell in cells]
    sys.stdout.write("| " + " | ".join(texts) + " |\n")


def head(*cells: str) -> None:
    """Print the head of a table."""
    sys.stdout.write("\n")
    row(*cells)
    row(*["---"] * len(cells))


def light_tables() -> None:
    """Print what colour does: diffraction at one wavelength, and RGB in place of a spectrum."""
    head("light", "mean wavelength nm", "error up to ν 0.5", "from 0.5 on")
    for light in LIGHTS:
        mean = f"{light.photon_mean_wavelength_nm:.0f}"
        row(light.name, mean, colour_error(light, 0, 0.5), colour_error(light, 0.5, 1.2))
    head("light", "sensor", "rms error of ρ, 24 patches", "largest", "of the six greys")
    for light in LIGHTS[:3]:
        for name, qe in (("flat", 0.6), ("silicon", (SILICON_NM, SILICON))):
            error = np.abs(patch_errors(light, qe))
            rms = float(np.sqrt(np.mean(error**2)))
            row(light.name, name, rms, float(error.max()), float(error[-6:].max()))


def lens_tables() -> None:
    """Print what the simple lens does: defocus, no pupil magnification, cos⁴."""
    head("path error in waves", "disc in λN_w", "error up to ν 0.17", "anywhere", "of a disc")
    for waves in WAVES:
        row(f"{waves:g}", f"{8 * waves:g}", *defocus_errors(waves))
    head("magnification", *[f"pupil {pupil:g}" for pupil in (0.7, 0.85, 1.2, 1.5)])
    for m in (0.02, 0.1, 0.5, 1.0):
        gains = [((1 + m) / (1 + m / pupil)) ** 2 - 1 for pupil in (0.7, 0.85, 1.2, 1.5)]
        row(f"{m:g}", *[f"{100 * gain:+.1f} %" for gain in gains])
    head("field angle", "light left")
    for degree in (5, 10, 15, 20, 30):
        x_um = np.array([1e3 * np.tan(np.radians(degree))])
        row(f"{degree}°", float(off_axis_share(x_um, 0.0, 1.0)[0]))


def sampling_tables() -> None:
    """Print what the reference's own pixels and a camera's crosstalk do."""
    head("reference pixels in an object pixel", "there at Nyquist", "drawn at Nyquist", "ghost")
    for count in (1.5, 2.0, 3.0, 4.0, 6.0):
        kept = float(box_mtf(0.5 / count))
        # the replica at 1/q - f, drawn as squares and seen by the pixel, before any lens
        ghost = kept * float(box_mtf(1 - 0.5 / count) * box_mtf(count - 0.5))
        row(f"{count:g}", kept, kept**2, ghost)
    head("charge to each neighbour", "MTF at Nyquist", "Gaussian blur of the same variance, in px")
    for share in (0.005, 0.01, 0.02, 0.05):
        row(f"{share:.1%}", 1 - 4 * share, float(np.sqrt(2 * share)))


if __name__ == "__main__":
    light_tables()
    lens_tables()
    sampling_tables()
