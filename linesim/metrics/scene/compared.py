"""
A captured image against the noise-free image that was predicted of the same target.

Tiles of both are taken to frequencies. The transfer between them is modelled as a gain and one
Gaussian each way, g·exp(−a f_x² − b f_y²), and fitted by least squares, which is the likeliest fit
where noise is white; a and b above 0 are blur that the prediction lacks. Standard errors are the
larger of two jackknives, over bands of lines and of columns, so that streaks, which are the same in
all lines, and drift, which is the same in all columns, count as they are.

Limits: tiles of 64 samples let coarse detail leak into fine, so that a blur of 0.8 samples on a
photograph reads 1.4 % too small (0.4 % with tiles of 128). Blur of another shape is told by the
Gaussian that fits best. Where the prediction itself holds false frequencies, a blur behind them is
not quite a factor.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.setup.arrays import FloatArray

TILE_PX = 64
_STEP_PX = 32
BANDS = 6
"""Bands of lines, and of columns, that are left out in turn."""
LEAST_PX = TILE_PX + 3 * _STEP_PX
"""Side of an image below which there are too few tiles to tell an error."""
_LEAST_STRUCTURE = 0.02
"""Power of the target over that of the noise, in a tile, below which there is nothing to fit."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectra:
    """Sums over tiles, block by block."""

    # shape (rows, columns, TILE_PX, TILE_PX // 2 + 1); of each block: real part of captured times
    # predicted, predicted squared, captured squared, and the noise that is expected in that
    cross: FloatArray
    power: FloatArray
    seen: FloatArray
    noise: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transfer:
    """Transfer between two images."""

    gain: Estimate  # of the contrast, captured over predicted
    # exponents a and b: of f² in cycles per sample, across and along
    blur_x: Estimate
    blur_y: Estimate
    # shape (n,); transfer near both axes without a model [cycles/px]
    frequency_cyc_px: FloatArray
    ratio_x: FloatArray
    ratio_y: FloatArray


def jackknife(parts: FloatArray, figure: Callable[[FloatArray], FloatArray]) -> list[Estimate]:
    """
    Work out figures of summed parts, blocks of (rows, columns, ...), with standard errors.

    Of two errors, √((n−1)/n Σ(v−v̄)²) over rows and columns left out in turn, the larger counts.
    """
    total = parts.sum(axis=(0, 1))
    errors = []
    for bands in (parts.sum(axis=1), parts.sum(axis=0)):
        each = np.array([figure(total - band) for band in bands])
        count = len(each)
        errors.append(np.sqrt((count - 1) / count * ((each - each.mean(axis=0)) ** 2).sum(axis=0)))
    return [
        Estimate(value=float(value), sd=float(sd))
        for value, sd in zip(figure(total), np.maximum(*errors), strict=True)
    ]


def _window() -> FloatArray:
    return np.outer(np.hanning(TILE_PX + 2)[1:-1], np.hanning(TILE_PX + 2)[1:-1])


def _cut(image: FloatArray) -> FloatArray:
    view = np.lib.stride_tricks.sliding_window_view(image, (TILE_PX, TILE_PX))
    return view[::_STEP_PX, ::_STEP_PX]


def _tiles(image: FloatArray) -> FloatArray:
    """Cut into half-overlapping tiles, without their means, faded out at their sides."""
    window, cut = _window(), _cut(image)
    means = (cut * window).sum(axis=(2, 3), keepdims=True) / window.sum()
    return np.asarray((cut - means) * window)


def spectra(
    predicted: FloatArray, captured: FloatArray, variance: FloatArray | None = None
) -> Spectra:
    """
    Take both images to frequencies.

    Parameters
    ----------
    predicted, captured : ndarray of shape (lines, columns)
        In register, at least `LEAST_PX` each way.
    variance : ndarray of the same shape, optional; of the noise expected; left out: none
    """
    rows, columns = (_bands(side) for side in predicted.shape)
    shape = (len(rows), len(columns), TILE_PX, TILE_PX // 2 + 1)
    cross, power, seen, noise = (np.zeros(shape) for _ in range(4))
    for i, j in np.ndindex(shape[:2]):
        block = rows[i], columns[j]
        one, other = (np.fft.rfft2(_tiles(each[block])) for each in (predicted, captured))
        cross[i, j] = (other * one.conj()).real.sum(axis=(0, 1))
        power[i, j] = (np.abs(one) ** 2).sum(axis=(0, 1))
        seen[i, j] = (np.abs(other) ** 2).sum(axis=(0, 1))
        if variance is not None:
            noise[i, j] = (_cut(variance[block]) * _window() ** 2).sum()
    return Spectra(cross=cross, power=power, seen=seen, noise=noise)


def _bands(side_px: int) -> list[slice]:
    """Share the places of tiles out to bands."""
    starts = np.arange(0, side_px - TILE_PX + 1, _STEP_PX)
    groups = np.array_split(starts, min(BANDS, len(starts)))
    return [slice(int(group[0]), int(group[-1]) + TILE_PX) for group in groups]


def has_structure(predicted: FloatArray, noise_variance: float) -> bool:
    """
    Tell whether a target has enough detail to read a transfer off.

    Parameters
    ----------
    predicted : ndarray of shape (lines, columns); noise-free
    """
    return float(_tiles(predicted).var()) > _LEAST_STRUCTURE * noise_variance


def _fit(cross: FloatArray, power: FloatArray) -> tuple[float, float, float]:
    """Fit g·exp(−a fx² − b fy²): least squares from the sums, by Gauss and Newton."""
    fy2, fx2 = _squares()
    # the half plane counts each frequency once, but those on its rim twice: alike for both sums
    a = b = 0.0
    gain = float(cross.sum() / power.sum())
    for _ in range(_ROUNDS):
        shape = np.exp(-a * fx2 - b * fy2)
        slopes = np.stack([shape, -gain * fx2 * shape, -gain * fy2 * shape])
        left = cross - gain * shape * power
        force = (slopes * left).sum(axis=(1, 2))
        stiff = np.einsum("iyx,jyx,yx->ij", slopes, slopes, power)
        step = np.linalg.solve(stiff, force)
        gain, a, b = gain + step[0], a + step[1], b + step[2]
        if np.abs(step).max() < _CLOSE:
            break
    return gain, a, b


_ROUNDS = 50
_CLOSE = 1e-10


def _squares() -> tuple[FloatArray, FloatArray]:
    along, across = np.fft.fftfreq(TILE_PX), np.fft.rfftfreq(TILE_PX)
    return np.square(along[:, None], dtype=np.float64), np.square(across, dtype=np.float64)[None]


def transfer(found: Spectra) -> Transfer:
    """Fit the transfer between two images."""
    parts = np.stack([found.cross, found.power], axis=2)
    gain, blur_x, blur_y = jackknife(parts, lambda sums: np.array(_fit(*sums)))
    near = TILE_PX // 10
    rows, columns = slice(0, TILE_PX // 2), slice(0, TILE_PX // 2)
    about = np.r_[-near : near + 1]
    cross, power = parts.sum(axis=(0, 1))
    return Transfer(
        gain=gain,
        blur_x=blur_x,
        blur_y=blur_y,
        frequency_cyc_px=np.arange(1, TILE_PX // 2) / TILE_PX,
        ratio_x=(cross[about, columns].sum(axis=0) / power[about, columns].sum(axis=0))[1:],
        ratio_y=(cross[rows, : near + 1].sum(axis=1) / power[rows, : near + 1].sum(axis=1))[1:],
    )


def blurred(image: FloatArray, found: Transfer) -> FloatArray:
    """
    Pass an image through a fitted transfer, its mean left alone; near the rim it is not exact.

    Parameters
    ----------
    image : ndarray of shape (lines, columns); noise-free
    """
    mean = image.mean()
    padded = np.pad(image - mean, TILE_PX, mode="reflect")
    along, across = np.fft.fftfreq(padded.shape[0]), np.fft.rfftfreq(padded.shape[1])
    shape = np.exp(
        -found.blur_y.value * along[:, None] ** 2 - found.blur_x.value * across[None, :] ** 2
    )
    passed = np.fft.irfft2(np.fft.rfft2(padded) * shape, s=padded.shape)
    return np.asarray(mean + found.gain.value * passed[TILE_PX:-TILE_PX, TILE_PX:-TILE_PX])


def shifted(image: FloatArray, along_px: float, across_px: float) -> FloatArray:
    """Move an image by parts of a sample, by Fourier's theorem; its sides are mirrored."""
    padded = np.pad(image, TILE_PX, mode="reflect")
    along, across = np.fft.fftfreq(padded.shape[0]), np.fft.rfftfreq(padded.shape[1])
    turn = np.exp(-2j * np.pi * (along[:, None] * along_px + across[None, :] * across_px))
    moved = np.fft.irfft2(np.fft.rfft2(padded) * turn, s=padded.shape)
    return np.asarray(moved[TILE_PX:-TILE_PX, TILE_PX:-TILE_PX])
