"""
A line camera written down a second time, in numpy alone: captures for what reads captures.

The target is a sum of plane waves, whose every mean over a box, blur and motion is a factor in
closed form; no reference image is sampled. So a capture holds no error but its noise, and shares no
code and no method with linesim, which it does not import.

Sources, from memory: transfer of a circular pupil out of focus, H. H. Hopkins, Proc. R. Soc. A 231
(1955) 91, as the integral over the common area of two pupils, with W = δ'/(8 N_w²); sinc of a box,
exp(−2π²σ²f²) of a Gaussian; photons E A t λ/(hc), EMVA 1288; E = ρ E τ/(4 N_w²), N_w = N(1 + m).
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.constants import c, h

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Waves:
    """
    A target: reflectance, a sum of plane waves about a mean.

    Parameters
    ----------
    mean : float
    amplitude, across_per_mm, along_per_mm, phase : ndarray of shape (waves,)
        Of amplitude·cos(2π(across·x + along·y) + phase), x from the axis, y with row 0 at 0. [mm⁻¹]
    """

    mean: float
    amplitude: Array
    across_per_mm: Array
    along_per_mm: Array
    phase: Array


def waves(
    seed: int, *, count: int = 80, finest_per_mm: float, mean: float = 0.5, rms: float = 0.1
) -> Waves:
    """Draw waves in all directions, most of them coarse, none finer than the finest."""
    rng = np.random.default_rng(seed)
    frequency = finest_per_mm * rng.uniform(0.03, 1, count)
    turn = rng.uniform(0, np.pi, count)
    amplitude = rng.uniform(0.5, 1, count)
    return Waves(
        mean=mean,
        amplitude=amplitude * rms / np.sqrt((amplitude**2).sum() / 2),
        across_per_mm=frequency * np.cos(turn),
        along_per_mm=frequency * np.sin(turn),
        phase=rng.uniform(0, 2 * np.pi, count),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """The camera's physical numbers; the lens is even over the field, the light one wavelength."""

    pixels: int = 160
    pixel_um: float = 7.5
    magnification: float = 0.1
    f_number: float = 4.0
    transmission: float = 0.8
    blur_um: float = 3.0  # Gaussian, at the sensor
    defocus_mm: float = 0.0  # of the target from best focus
    irradiance_w_m2: float = 60.0  # at the target
    wavelength_nm: float = 555.0
    edge_falloff: float = 0.0
    speed_mm_s: float = 1000.0
    line_rate_hz: float = 1e6 / 75.0
    exposure_us: float = 75.0
    ripple: float = 0.0  # of the speed, peak
    ripple_hz: float = 0.0
    ripple_phase: float = 0.0
    efficiency: float = 0.6
    read_noise_e: float = 20.0
    dark_e_s: float = 0.0
    prnu: float = 0.005
    dsnu_e: float = 4.0
    gain_dn_e: float = 0.1
    black_dn: float = 64.0
    bits: int = 12

    @property
    def white_e(self) -> float:
        """Electrons of a pixel on a perfect white, in the middle of the line."""
        working = self.f_number * (1 + self.magnification)
        at_sensor = self.irradiance_w_m2 * self.transmission / (4 * working**2)
        joules = at_sensor * (self.pixel_um * 1e-6) ** 2 * self.exposure_us * 1e-6
        return joules * self.efficiency * self.wavelength_nm * 1e-9 / (h * c)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lies:
    """
    Where the camera really looks, against one square over a centred target.

    Parameters
    ----------
    across_um, along_um : float; where the middle column looks on line 0, more than it should [um]
    turn_deg : float; of the line about the lens's axis
    scale : float; object pixel over what pixel and magnification make it
    drift : float; motion of the target across, over its travel
    strays_um : ndarray of shape (lines,), optional; further shifts along, one a line [um]
    mirror : str; "no", "across", "along" or "both": how the image file lies
    """

    across_um: float = 0.0
    along_um: float = 0.0
    turn_deg: float = 0.0
    scale: float = 1.0
    drift: float = 0.0
    strays_um: Array | None = None
    mirror: str = "no"


STRAIGHT = Lies()


def reference(target: Waves, pixel_um: float, shape: tuple[int, int]) -> Array:
    """Give the target's reflectance, the exact mean over each square of a grid, centred across."""
    rows, columns = shape
    y = (np.arange(rows) + 0.5) * pixel_um / 1000
    x = (np.arange(columns) + 0.5 - columns / 2) * pixel_um / 1000
    side = pixel_um / 1000
    seen = np.sinc(target.across_per_mm * side) * np.sinc(target.along_per_mm * side)
    return _summed(target, seen, (y, np.zeros(rows)), (np.zeros(columns), x))


def expected_dn(target: Waves, plain: Plain, lines: int, lies: Lies = STRAIGHT) -> Array:
    """Give the numbers without any noise or pattern, of shape (lines, pixels)."""
    white_e = plain.white_e * _light(plain)
    signal_e = white_e * _reflectance(target, plain, lines, lies)
    charge_e = signal_e + plain.dark_e_s * plain.exposure_us * 1e-6
    return _turned(plain.black_dn + plain.gain_dn_e * charge_e, lies)


def capture(
    target: Waves, plain: Plain, lines: int, seed: int, lies: Lies = STRAIGHT
) -> NDArray[np.uint16]:
    """Give what the camera delivers, of shape (lines, pixels); its pattern is the seed's too."""
    rng = np.random.default_rng(seed)
    white_e = plain.white_e * _light(plain)
    signal_e = white_e * _reflectance(target, plain, lines, lies)
    signal_e = signal_e * (1 + plain.prnu * rng.standard_normal(plain.pixels))
    charge_e = rng.poisson(signal_e + plain.dark_e_s * plain.exposure_us * 1e-6).astype(float)
    charge_e += plain.dsnu_e * rng.standard_normal(plain.pixels)
    charge_e += plain.read_noise_e * rng.standard_normal(charge_e.shape)
    number = np.floor(plain.black_dn + plain.gain_dn_e * charge_e + 0.5)
    return _turned(np.clip(number, 0, 2**plain.bits - 1), lies).astype(np.uint16)


def station_texts(plain: Plain, pixel_um: float) -> dict[str, dict[str, object] | str]:
    """Write the camera down as a setup file has it; the target is a file, ``target.tif``."""
    return {
        "title": "A plain camera",
        "target": {
            "image": "target.tif",
            "pixel_size": f"{pixel_um!r} um",
            "encoding": "linear",
            "white_reflectance": 1.0,
        },
        "transport": {
            "speed": f"{plain.speed_mm_s!r} mm/s",
            "speed_ripple": plain.ripple,
            "ripple_frequency": f"{plain.ripple_hz or 10.0!r} Hz",
        },
        "lens": {
            "magnification": plain.magnification,
            "f_number": plain.f_number,
            "transmission": plain.transmission,
            "blur": f"{plain.blur_um!r} um",
            "defocus": f"{plain.defocus_mm!r} mm",
        },
        "light": {
            "irradiance": f"{plain.irradiance_w_m2!r} W/m^2",
            "spectrum": {"peak": f"{plain.wavelength_nm!r} nm", "width": "2 nm"},
            "edge_falloff": plain.edge_falloff,
        },
        "camera": {
            "pixels": plain.pixels,
            "pixel_width": f"{plain.pixel_um!r} um",
            "quantum_efficiency": plain.efficiency,
            "read_noise": f"{plain.read_noise_e!r} e",
            "dark_current": f"{plain.dark_e_s!r} e/s",
            "prnu": plain.prnu,
            "dsnu": f"{plain.dsnu_e!r} e",
            "full_well": "1000 ke",
            "gain": f"{plain.gain_dn_e!r} DN/e",
            "black_level": f"{plain.black_dn!r} DN",
            "bit_depth": plain.bits,
        },
        "acquisition": {
            "line_rate": f"{plain.line_rate_hz!r} Hz",
            "exposure": f"{plain.exposure_us!r} us",
        },
    }


def _light(plain: Plain) -> Array:
    position = (2 * np.arange(plain.pixels) + 1) / plain.pixels - 1
    return 1 - plain.edge_falloff * position**2


def _turned(image: Array, lies: Lies) -> Array:
    down = -1 if lies.mirror in ("along", "both") else 1
    right = -1 if lies.mirror in ("across", "both") else 1
    return image[::down, ::right]


def _reflectance(target: Waves, plain: Plain, lines: int, lies: Lies) -> Array:
    """See the target through lens, pixel and motion, of shape (lines, pixels)."""
    fx, fy = target.across_per_mm, target.along_per_mm
    side = plain.pixel_um / plain.magnification / 1000 * lies.scale
    turn = np.deg2rad(lies.turn_deg)
    right, down = (np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn))
    start, end = (_travel_mm(plain, lines, later) for later in (0.0, plain.exposure_us * 1e-6))
    moved = end - start
    pixel = np.sinc(side * (fx * right[0] + fy * right[1]))
    pixel = pixel * np.sinc(side * (fx * down[0] + fy * down[1]))
    motion = np.sinc(moved[:, None] * (fy + lies.drift * fx))
    seen = _lens(plain, np.hypot(fx, fy) / plain.magnification * lies.scale) * pixel * motion
    # leading edge of the pixel at 0 when line 0 starts
    middle = (start + end) / 2
    y = middle + plain.pixel_um / plain.magnification / 2000 + lies.along_um / 1000
    x = lies.drift * middle + lies.across_um / 1000
    if lies.strays_um is not None:
        y = y + lies.strays_um / 1000
    column = (np.arange(plain.pixels) + 0.5 - plain.pixels / 2) * side
    return _summed(target, seen, (y, x), (column * right[1], column * right[0]))


def _travel_mm(plain: Plain, lines: int, later_s: float) -> Array:
    time = np.arange(lines) / plain.line_rate_hz + later_s
    if plain.ripple == 0:
        return plain.speed_mm_s * time
    angular = 2 * np.pi * plain.ripple_hz
    swing = np.cos(plain.ripple_phase) - np.cos(angular * time + plain.ripple_phase)
    return np.asarray(plain.speed_mm_s * (time + plain.ripple * swing / angular))


@cache
def _nodes() -> tuple[Array, Array]:
    """Places and weights of the integral over the pupil."""
    return np.polynomial.legendre.leggauss(400)


def _lens(plain: Plain, per_mm: Array) -> Array:
    """Transfer at frequencies at the sensor: pupil with its defocus, and the Gaussian."""
    working = plain.f_number * (1 + plain.magnification)
    wavelength_mm = plain.wavelength_nm * 1e-6
    shift = 2 * np.minimum(per_mm * wavelength_mm * working, 1)  # of the pupils, radius 1
    shifted_mm = plain.magnification**2 * plain.defocus_mm
    waves_out = shifted_mm / (8 * working**2) / wavelength_mm
    node, weight = _nodes()
    half = (1 - shift / 2)[:, None]
    # x = half·(1 − u²) smooths the root at the end of the common area
    u = (node + 1) / 2
    x = half * (1 - u**2)
    height = np.sqrt(np.maximum(1 - (x + shift[:, None] / 2) ** 2, 0))
    wave = np.cos(4 * np.pi * waves_out * shift[:, None] * x)
    pupil = 4 / np.pi * ((height * wave * half * 2 * u) @ (weight / 2))
    return pupil * np.exp(-2 * np.pi**2 * (plain.blur_um / 1000) ** 2 * per_mm**2)


def _summed(
    target: Waves, seen: Array, line: tuple[Array, Array], column: tuple[Array, Array]
) -> Array:
    """Add the waves up at places (along, across): a factor of the line times one of the column."""
    from_line, from_column = (
        np.exp(2j * np.pi * (np.outer(y, target.along_per_mm) + np.outer(x, target.across_per_mm)))
        for y, x in (line, column)
    )
    waves_seen = seen * target.amplitude * np.exp(1j * target.phase)
    seen_there: Array = ((from_line * waves_seen) @ from_column.T).real
    return target.mean + seen_there
