"""
A scan made a target again: numbers to electrons to reflectance, and the station's own blur off.

Each sample's number is undone by the conversion of the setup, dark signal and fall-off of the light
along the line are taken off, and what is left over white is a reflectance. The transfer of lens,
pixel and motion is undone where the scan stands out of its noise (`wiener`). The result is a sum of
cosines, which is evaluated on a finer grid of square pixels and divided by what those pixels blur.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linesim.figures.cautions import Caution
from linesim.figures.resolution import mtf_across, mtf_along
from linesim.files.samples_in import read_samples
from linesim.forward.lens import box_mtf
from linesim.forward.pixel import pixel_mtf_across, pixel_mtf_along
from linesim.forward.profile import column_profile
from linesim.forward.sensor.linearity import meant_e
from linesim.forward.station import Station, station
from linesim.forward.transport import line_table
from linesim.setup.arguments import checked_setup
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies.restore.minded import cautions_of
from linesim.studies.restore.wiener import NoisePower, Restored, restore, sampled, true_to
from linesim.targets.given import MOST_REFLECTANCE

LEAST_PX = 32
_FINER = (4, 3)
"""Pixels of the target in a sample, each way; 2 where these make too many; our choice."""
_MANY = 64_000_000
_MOST_PIXELS = 200_000_000
_STEPS = 513
_LEAST_LIGHT = 0.02
"""Share of the middle's light below which a column cannot be told; our choice."""
_MOST_CUT = 0.5
"""Share of samples at an end of the scale past which there is no scan to restore; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """A scan as a target."""

    setup: Setup  # of the station that delivered the scan
    name: str
    data: ImageArray  # shape (rows, columns); reflectances
    plain: ImageArray  # shape (lines, columns); as seen, nothing restored
    pixel_size_um: float
    # up to here half of the contrast is there, or more, and it is no false pattern [lp/mm]
    true_to_x_lp_mm: float
    true_to_y_lp_mm: float
    # rms of a sample's noise, in reflectance
    noise_before: float
    noise_left: float
    folded: bool  # one of these frequencies is set by detail finer than the scan, not by noise
    cautions: tuple[Caution, ...]

    @property
    def finest_um(self) -> float:
        """Object pixel of the finest station that may be judged with it. [µm]."""
        return 500 / min(self.true_to_x_lp_mm, self.true_to_y_lp_mm)


def restored(setup: Setup, image: Path | NDArray[np.uint16]) -> Material:
    """
    Make a scan a target again.

    Parameters
    ----------
    setup : Setup; a monochrome station, as it was when it delivered the scan
    image : pathlib.Path or ndarray of uint16, shape (lines, width); as delivered [DN]

    Raises
    ------
    InputError; where the image cannot be read, or is no image of such a camera
    """
    name, samples_dn = _samples(checked_setup(setup), image)
    numbers = station(setup)
    seen, noise = _reflectance(setup, numbers, samples_dn)
    pitch_um = float(numbers.geometry.object_pixel_x_um), float(numbers.timing.line_advance_um)
    lines, columns = seen.shape
    frequency = tuple(
        np.arange(count) / (2 * count) * 1000 / side_um
        for count, side_um in zip((columns, lines), pitch_um, strict=True)
    )
    back = restore(seen, _transfer(numbers, *frequency), noise)
    data, size_um = _finer(setup, numbers, back, frequency)
    true_x, folded_x = _true_up_to(back.share, frequency[0], partial(mtf_across, numbers))
    true_y, folded_y = _true_up_to(back.share.T, frequency[1], partial(mtf_along, numbers))
    return Material(
        setup=setup,
        name=name,
        data=data,
        plain=seen.astype(np.float32),
        pixel_size_um=size_um,
        true_to_x_lp_mm=true_x,
        true_to_y_lp_mm=true_y,
        noise_before=float(np.sqrt(noise.variance)),
        noise_left=float(np.sqrt(back.noise_variance)),
        folded=folded_x or folded_y,
        cautions=cautions_of(setup, numbers, samples_dn, data),
    )


def _samples(setup: Setup, image: Path | NDArray[np.uint16]) -> tuple[str, NDArray[np.uint16]]:
    if setup.camera.kind != "mono":
        refuse(
            f'camera.kind: read "{setup.camera.kind}"; expected "mono": a colour scan is no '
            "target yet"
        )
    name, samples = "image", image
    if isinstance(image, Path):
        name = image.name
        samples, _ = read_samples(image, bit_depth=setup.camera.bit_depth)
    assert isinstance(samples, np.ndarray)  # noqa: S101 -- for the type checker
    width = int(station(setup).geometry.image_width_px)
    if samples.ndim != 2 or samples.shape[1] != width or min(samples.shape) < LEAST_PX:  # noqa: PLR2004 -- lines and width
        refuse(
            f'image "{name}": read {" x ".join(map(str, samples.shape))} samples (lines x width), '
            f"but the setup delivers lines of {width}; expected one channel of that width and at "
            f"least {LEAST_PX} lines and columns"
        )
    ends = float(np.mean((samples == 0) | (samples >= setup.full_scale_dn)))
    if ends > _MOST_CUT:
        refuse(
            f'image "{name}": {ends:.0%} of the samples are at an end of the scale; expected at '
            f"most {_MOST_CUT:.0%}"
        )
    return name, samples


def _reflectance(
    setup: Setup, numbers: Station, samples_dn: NDArray[np.uint16]
) -> tuple[FloatArray, NoisePower]:
    """Give reflectances as seen, and the variances of their noise."""
    charge_e = numbers.delivered.charge_e(samples_dn.astype(np.float64))
    signal_e = np.asarray(meant_e(numbers, charge_e)) - float(numbers.delivered_dark_e)
    profile = column_profile(setup, samples_dn.shape[1])
    if not profile.min() > _LEAST_LIGHT:
        refuse(
            f"light: the ends of the line get {profile.min():.1%} of the light in its middle; "
            f"expected over {_LEAST_LIGHT:.0%}, so that the scan shows the target there"
        )
    white_e = float(numbers.electrons_white) / float(numbers.white_reflectance or 1.0)
    if not white_e > 0:
        refuse("light.illuminance: no light reaches the sensor; expected a scan taken in light")
    if setup.acquisition.flat_field:  # equalised already, noise and all
        even_e, raw_e = signal_e, signal_e * profile
    else:
        even_e, raw_e = signal_e / profile, signal_e
    at_e = np.maximum(raw_e, 0.0)
    sample = np.asarray(numbers.sample_noise_e(at_e)) / profile / white_e
    fixed = np.asarray(numbers.pattern_e(at_e.mean(axis=0))) / profile / white_e
    shared = np.asarray(numbers.line_noise_e) / profile / white_e
    return even_e / white_e, NoisePower(
        variance=float(np.mean(sample**2)),
        of_columns=float(np.mean(fixed**2)),
        of_lines=float(np.mean(shared**2)),
    )


def _transfer(numbers: Station, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
    """Give the transfer of lens, pixel and motion at all pairs of frequencies."""
    lens = numbers.optics.mtf_on_target(across_lp_mm, along_lp_mm[:, np.newaxis])
    pixel = pixel_mtf_along(numbers, along_lp_mm)[:, np.newaxis] * pixel_mtf_across(
        numbers, across_lp_mm
    )
    return np.asarray(lens * pixel)


def _true_up_to(
    share: FloatArray, frequency: FloatArray, mtf: Callable[[FloatArray], FloatArray]
) -> tuple[float, bool]:
    """
    Tell up to where the target is true, and whether detail finer than the scan sets that.

    Where the signal is over the noise up to the limit f_N of the scan, the product has detail
    beyond it, of which a frequency 2f_N − f came as f. As much of it there as at f makes
    H(2f_N − f)/H(f) of the contrast a false pattern: true is up to where that is one half.
    """
    limit = true_to(share, frequency)
    nyquist = 2 * frequency[-1] - frequency[-2]
    if limit < nyquist:
        return limit, False
    at = nyquist * np.linspace(0, 1, _STEPS)
    ratio = np.abs(mtf(2 * nyquist - at)) / np.maximum(np.abs(mtf(at)), 1e-9)
    return float(at[np.argmax(ratio >= 0.5)]), True  # noqa: PLR2004 -- half


def _finer(
    setup: Setup, numbers: Station, back: Restored, frequency: tuple[FloatArray, ...]
) -> tuple[ImageArray, float]:
    """Evaluate on square pixels, so many finer, that give back what they blur themselves."""
    side_um = float(numbers.geometry.object_pixel_x_um), float(numbers.timing.line_advance_um)
    lines, columns = back.cosines.shape
    wide_um, high_um = columns * side_um[0], lines * side_um[1]
    finer = next((n for n in _FINER if wide_um * high_um * (n / min(side_um)) ** 2 < _MANY), 2)
    size_um = float(f"{min(side_um) / finer:.4g}")
    shape = round(high_um / size_um), round(wide_um / size_um)
    if shape[0] * shape[1] > _MOST_PIXELS:
        refuse(
            f"image: {lines} x {columns} samples would make a target of {shape[0]} x {shape[1]} "
            f"pixels; expected at most {_MOST_PIXELS / 1e6:.0f} million: cut the scan into pieces"
        )
    blur = [box_mtf(each * size_um / 1000) for each in frequency]
    cosines = back.cosines / blur[1][:, np.newaxis] / blur[0]
    places = [(np.arange(count) + 0.5) * size_um for count in shape]
    # a line looks at the middle of its footprint and travel; what moves single lines is not known
    number = np.arange(lines, dtype=np.float64)
    start_um = line_table(setup, numbers, 0, number * float(numbers.timing.lines_joined)).start_um
    footprint_um = float(numbers.geometry.object_pixel_y_um) + float(numbers.motion_um)
    middle_um = float(np.mean(start_um - number * side_um[1])) + footprint_um / 2
    lines_at = (places[0] - middle_um) / side_um[1]
    columns_at = places[1] / side_um[0] - 0.5
    data = sampled(cosines, lines_at, columns_at)
    return np.clip(data, 0, MOST_REFLECTANCE), size_um
