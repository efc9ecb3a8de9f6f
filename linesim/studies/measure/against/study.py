"""
Does the real camera agree with the prediction? A captured image against the setup's own target.

The target is rendered without noise, brought into register with the image, and compared: level,
blur each way, noise at the level that was captured.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from skimage.registration import phase_cross_correlation

from linesim.figures.cautions import Caution
from linesim.figures.resolution import mtf_across, mtf_along
from linesim.figures.safety import safety_cautions
from linesim.files.samples_in import read_samples
from linesim.forward.kept import CLIPPED_SHARE
from linesim.forward.profile import column_profile
from linesim.forward.render import render
from linesim.forward.sensor.linearity import shown_e
from linesim.forward.station import Station, station
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.compared import (
    LEAST_PX,
    Transfer,
    blurred,
    has_structure,
    jackknife,
    shifted,
    spectra,
    transfer,
)
from linesim.setup.arguments import checked_setup
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.studies.measure.against.agreement import Agreement, Difference, findings
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference

_RIM_PX = 8
_UPSAMPLED = 50
_FARTHEST_CYC_PX = 1.0
_GRID = 2001


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pair:
    """Predicted and captured in register, without the rim. [DN]."""

    predicted_dn: FloatArray
    captured_dn: FloatArray
    shift_px: tuple[float, float]


def measure_against(
    setup: Setup, image: Path | NDArray[np.uint16], *, max_pixels: int | None = None
) -> Agreement:
    """
    Compare a captured image with what a setup predicts of its own target.

    Parameters
    ----------
    setup : Setup; a monochrome station with the target that was captured
    image : pathlib.Path or ndarray of uint16, shape (lines, width)
        As delivered; of the width that the setup delivers. [DN]
    max_pixels : int, optional; refuse files with more pixels; left out: 10⁹

    Raises
    ------
    InputError; where the image cannot be read, or is no image of such a camera
    """
    captured_dn = _captured(checked_setup(setup), image, max_pixels)
    numbers = station(setup)
    expected_dn = _expected(setup, numbers, len(captured_dn))
    noise_dn2 = _noise_dn(numbers, expected_dn) ** 2
    detailed = has_structure(expected_dn, float(noise_dn2.mean()))
    pair = _in_register(expected_dn, captured_dn, moved=detailed)
    found = transfer(spectra(pair.predicted_dn, pair.captured_dn)) if detailed else None
    differences = (
        *_levels(numbers, pair, found),
        *(() if found is None else _sharpness(numbers, found)),
    )
    return Agreement(
        differences=differences,
        shift_px=pair.shift_px,
        findings=findings(differences),
        ratio=found,
        cautions=tuple(Caution(code=code, text=text) for code, text in safety_cautions(setup)),
    )


def _captured(setup: Setup, image: Path | NDArray[np.uint16], max_pixels: int | None) -> FloatArray:
    if setup.camera.kind != "mono":
        msg = f'camera.kind: read "{setup.camera.kind}"; expected "mono" to compare an image with'
        raise InputError(msg)
    if isinstance(image, Path):
        name = f'image "{image}"'
        samples, _ = read_samples(image, bit_depth=setup.camera.bit_depth, max_pixels=max_pixels)
    else:
        name, samples = "image", image
    width = int(station(setup).geometry.image_width_px)
    if samples.ndim != 2 or samples.shape[1] != width or min(samples.shape) < LEAST_PX:  # noqa: PLR2004 -- lines and width
        msg = (
            f"{name}: read {' x '.join(map(str, samples.shape))} samples (lines x width), but the "
            f"setup delivers lines of {width}; expected one channel of that width and at least "
            f"{LEAST_PX} lines and columns"
        )
        raise InputError(msg)
    clipped = float(np.mean((samples == 0) | (samples >= setup.full_scale_dn)))
    if clipped > CLIPPED_SHARE:
        msg = (
            f"{name}: {clipped:.2%} of the samples are at an end of the scale; expected at most "
            f"{CLIPPED_SHARE:.1%}: less light, or a black level above 0"
        )
        raise InputError(msg)
    return samples.astype(np.float64)


def _expected(setup: Setup, numbers: Station, lines: int) -> FloatArray:
    """Noise-free numbers of the setup's own target. [DN]."""
    target = lit_reference(setup, target_reference(setup))
    signal_e = render(setup, target, lines, 0).expected_e.astype(np.float64)
    if setup.acquisition.flat_field:
        signal_e = signal_e / column_profile(setup, signal_e.shape[1])
    charge_e = shown_e(numbers, signal_e + float(numbers.delivered_dark_e))
    return np.asarray(numbers.delivered.number_dn(charge_e))


def _noise_dn(numbers: Station, expected_dn: FloatArray) -> FloatArray:
    """Noise in time that the setup predicts at each sample. [DN]."""
    signal_e = numbers.delivered.charge_e(expected_dn) - float(numbers.delivered_dark_e)
    return np.asarray(numbers.delivered.gain_dn_e * numbers.noise_e(np.maximum(signal_e, 0)))


def _in_register(expected_dn: FloatArray, captured_dn: FloatArray, *, moved: bool) -> _Pair:
    """Find how far the image lies off, move the prediction, and cut both to what they share."""
    along_px = across_px = 0.0
    if moved:
        offset, _, _ = phase_cross_correlation(  # type: ignore[no-untyped-call]
            captured_dn - captured_dn.mean(),
            expected_dn - expected_dn.mean(),
            upsample_factor=_UPSAMPLED,
            normalization=None,
        )
        along_px, across_px = map(float, offset)
    whole = round(along_px), round(across_px)
    cut = [
        slice(max(0, -w), len_ - max(0, w))
        for w, len_ in zip(whole, captured_dn.shape, strict=True)
    ]
    cut_to = [
        slice(max(0, w), len_ - max(0, -w))
        for w, len_ in zip(whole, captured_dn.shape, strict=True)
    ]
    inner = (slice(_RIM_PX, -_RIM_PX),) * 2
    predicted = shifted(expected_dn[tuple(cut)], along_px - whole[0], across_px - whole[1])
    captured = captured_dn[tuple(cut_to)][inner]
    if min(captured.shape) < LEAST_PX:
        msg = (
            f"image: lies {along_px:+.0f} lines and {across_px:+.0f} columns off the setup's "
            f"target; expected at least {LEAST_PX} lines and columns that both share"
        )
        raise InputError(msg)
    return _Pair(
        predicted_dn=predicted[inner], captured_dn=captured, shift_px=(along_px, across_px)
    )


def _levels(numbers: Station, pair: _Pair, found: Transfer | None) -> tuple[Difference, ...]:
    """Signal and noise on white, as the image's own level and noise scale the predicted ones."""
    base_dn = float(numbers.delivered.number_dn(numbers.delivered_dark_e))
    model_dn = pair.predicted_dn if found is None else blurred(pair.predicted_dn, found)
    model_dn = model_dn + (pair.captured_dn.mean() - model_dn.mean())
    left_dn = pair.captured_dn - model_dn
    # streaks and slow drift are no noise in time
    left_dn = left_dn - left_dn.mean(axis=0) - left_dn.mean(axis=1, keepdims=True) + left_dn.mean()
    lines, columns = left_dn.shape
    freedom = (1 - 1 / lines) * (1 - 1 / columns)
    noise_dn2 = freedom * _noise_dn(numbers, model_dn) ** 2
    sums = _blocks(np.stack([
        pair.captured_dn - base_dn, pair.predicted_dn - base_dn, left_dn**2, noise_dn2,
    ]))  # fmt: skip
    white_e = float(numbers.electrons_white)

    def figures(total: FloatArray) -> FloatArray:
        seen_e, noise = white_e * total[0] / total[1], np.sqrt(total[2] / total[3])
        at_white_e = float(numbers.noise_e(np.maximum(seen_e, 0)))
        return np.array([seen_e, noise * numbers.noise_e(white_e), seen_e / (noise * at_white_e)])

    predicted = white_e, float(numbers.noise_e(white_e)), white_e / float(numbers.noise_e(white_e))
    return tuple(
        Difference(name=name, predicted=wanted, measured=seen)
        for name, wanted, seen in zip(
            ("electrons_white", "noise_white_e", "snr_white"),
            predicted,
            jackknife(sums, figures),
            strict=True,
        )
    )


def _blocks(planes: FloatArray) -> FloatArray:
    """Sum planes over blocks: (rows, columns, planes)."""
    rows, columns = (np.linspace(0, side, 7).astype(int)[:-1] for side in planes.shape[1:])
    sums = np.add.reduceat(np.add.reduceat(planes, rows, axis=1), columns, axis=2)
    return np.asarray(np.moveaxis(sums, 0, 2))


def _sharpness(numbers: Station, found: Transfer) -> tuple[Difference, ...]:
    """MTF50 of the prediction and of the prediction times the fitted blur."""
    sides_um = (
        float(numbers.geometry.object_pixel_x_um),
        float(numbers.timing.line_advance_um),
    )
    each = zip(
        ("x", "y"), sides_um, (mtf_across, mtf_along), (found.blur_x, found.blur_y), strict=True
    )
    differences = []
    for axis, side_um, mtf, blur in each:
        cycles = np.linspace(0, _FARTHEST_CYC_PX, _GRID)
        own = mtf(numbers.green, 1000 * cycles / side_um)
        predicted, *near = (
            _half(cycles, own * np.exp(-exponent * cycles**2)) * 1000 / side_um
            for exponent in (0.0, blur.value, blur.value - blur.sd, blur.value + blur.sd)
        )
        measured, low, high = near
        sd = abs(high - low) / 2
        differences.append(
            Difference(
                name=f"mtf50_{axis}_lp_mm",
                predicted=predicted,
                measured=Estimate(value=measured, sd=sd),
            )
        )
    return tuple(differences)


def _half(cycles: FloatArray, mtf: FloatArray) -> float:
    """First frequency at which a curve falls to one half. [cycles/px]."""
    below = int(np.argmax(mtf < 0.5)) or len(mtf) - 1  # noqa: PLR2004 -- MTF50
    return float(np.interp(-0.5, -mtf[below - 1 : below + 1], cycles[below - 1 : below + 1]))
