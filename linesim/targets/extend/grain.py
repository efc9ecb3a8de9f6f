"""
More of a grainy surface: random phase noise with the spectrum and the histogram of a photograph.

The photograph's values are turned into normal scores g = Φ⁻¹(F(v)), F their own distribution. Their
periodic part, times a window that falls to 0 at the borders and scaled to a sum of squares of 1, is
the kernel k; white normal noise, convolved with it, is a normal field with the spectrum |FT k|², of
any size, in which nothing comes twice: its autocorrelation ends where the photograph does. Values
F⁻¹(Φ(field)) have the photograph's distribution exactly. All colours take the same noise, which
keeps the phases between them.

Limits: edges, seams, cells and whatever else hangs together by phase is gone; such a surface is for
`quilt`. The bend F⁻¹ is undone by Φ⁻¹(F) where the surface is a bent normal field itself; where it
is not, the spectrum is kept nearly: of the gravel of scikit-image to 12 % an octave.

References
----------
Galerne, Gousseau, Morel: Random phase textures, IEEE Trans. Image Process. 20 (2011) 257: the
asymptotic discrete spot noise, the window, the same noise for all colours (from memory).
Moisan: Periodic plus smooth image decomposition, J. Math. Imaging Vis. 39 (2011) 161 (from memory).
Grigoriu: Crossings of non-Gaussian translation processes, J. Eng. Mech. 110 (1984) 610: normal
fields bent to another distribution (from memory).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy
from scipy import fft

from linesim.setup.arrays import FloatArray, ImageArray

STRIP_ROWS = 512
"""Drawn at a time, whatever is asked for."""
_NOISE_ROWS = 64
_STREAM = 15
_WINDOW = 0.1
"""Of each side, over which the kernel falls off at either end; our choice."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Grain:
    """A grainy surface, ready to be drawn at any size."""

    kernels: FloatArray  # shape (channels, rows, columns); sum of squares 1 each
    sorted_values: FloatArray  # shape (channels, n); the photograph's own, in order

    def strips(self, rows: int, columns: int, seed: int) -> Iterator[ImageArray]:
        """Draw it from the top, some rows at a time, of float32."""
        high, wide = self.kernels.shape[1:]
        shape = fft.next_fast_len(STRIP_ROWS + high - 1), fft.next_fast_len(columns + wide - 1)
        spectra = [fft.rfft2(kernel.astype(np.float32), shape) for kernel in self.kernels]
        for top in range(0, rows, STRIP_ROWS):
            noise = _noise(seed, (top, top + STRIP_ROWS + high - 1), columns + wide - 1)
            seen = fft.rfft2(noise, shape)
            kept = slice(high - 1, high - 1 + min(STRIP_ROWS, rows - top))
            fields = [
                fft.irfft2(seen * spectrum, shape)[kept, wide - 1 : wide - 1 + columns]
                for spectrum in spectra
            ]
            bent = [
                _bent(field, own) for field, own in zip(fields, self.sorted_values, strict=True)
            ]
            yield bent[0] if len(bent) == 1 else np.stack(bent, axis=2)


def grain(photograph: ImageArray) -> Grain:
    """Take a linear, evenly lit photograph of a grainy surface apart."""
    planes = np.moveaxis(np.atleast_3d(photograph).astype(np.float64), 2, 0)
    kernels = []
    for plane in planes:
        whole = _periodic(normal_scores(plane)) * _window(plane.shape)
        whole -= _window(plane.shape) * (whole.sum() / _window(plane.shape).sum())
        kernels.append(whole / max(float(np.sqrt((whole**2).sum())), 1e-30))
    flat = planes.reshape(len(planes), -1)
    return Grain(kernels=np.stack(kernels), sorted_values=np.sort(flat, axis=1))


def normal_scores(values: FloatArray) -> FloatArray:
    """Bend values so that they are normal: Φ⁻¹ of the share below, equal ones by half."""
    own = np.sort(values, axis=None)
    below = np.searchsorted(own, values, "left") + np.searchsorted(own, values, "right")
    return np.asarray(scipy.special.ndtri(below / (2 * own.size)))


def _periodic(plane: FloatArray) -> FloatArray:
    """Take off the smooth part that makes up for steps between opposite borders."""
    steps = np.zeros_like(plane)
    steps[0] += plane[0] - plane[-1]
    steps[-1] -= plane[0] - plane[-1]
    steps[:, 0] += plane[:, 0] - plane[:, -1]
    steps[:, -1] -= plane[:, 0] - plane[:, -1]
    rows, columns = (2 * np.cos(2 * np.pi * np.arange(n) / n) for n in plane.shape)
    pull = rows[:, None] + columns[None] - 4
    pull[0, 0] = 1.0
    spectrum = np.fft.fft2(steps) / pull
    spectrum[0, 0] = 0.0
    return np.asarray(plane - np.fft.ifft2(spectrum).real)


def _window(shape: tuple[int, int]) -> FloatArray:
    """Fall to 0 at all borders as a raised cosine."""
    down, across = (_raised(n) for n in shape)
    return np.asarray(down[:, None] * across[None])


def _raised(count: int) -> FloatArray:
    place = (np.arange(count) + 0.5) / count
    to_end = np.minimum(place, 1 - place) / _WINDOW
    return np.asarray(np.sin(np.pi / 2 * np.minimum(to_end, 1)) ** 2)


def _noise(seed: int, rows: tuple[int, int], columns: int) -> ImageArray:
    """Draw white noise; a row is the same whatever it is drawn with."""
    first, last = rows[0] // _NOISE_ROWS, -(-rows[1] // _NOISE_ROWS)
    blocks = [
        np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(_STREAM, k))).standard_normal(
            (_NOISE_ROWS, columns), dtype=np.float32
        )
        for k in range(first, last)
    ]
    start = rows[0] - first * _NOISE_ROWS
    return np.concatenate(blocks)[start : start + rows[1] - rows[0]]


def _bent(field: ImageArray, sorted_values: FloatArray) -> ImageArray:
    """Give a normal field the distribution of the photograph."""
    count = sorted_values.size
    place = np.clip(scipy.special.ndtr(field) * count - 0.5, 0, count - 1)
    return np.asarray(np.interp(place, np.arange(count), sorted_values), dtype=np.float32)
