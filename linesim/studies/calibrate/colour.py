"""
From patches to the curves of all channels, and to a 3x3 matrix where colours tell one.

The channels of a camera overlap: its red sees some green. A matrix M takes that off after the
curves, ρ = M·ρ', with rows that sum to 1, so that greys stay as the curves have them (common
practice, no source). It is fitted where at least four colour patches span two directions away from
grey, in turn with the curves, which then aim at M⁻¹·ρ.
"""

from dataclasses import dataclass

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.studies.calibrate.curve import Curve, fit_curve, fitted_numbers

FEWEST_COLOURS = 4
_COLOURS = 3
_TURNS = 12
_STILL = 1e-3
_FLOOR = 0.02
_SPAN = 0.03
"""Spread of chroma, in reflectance, that the weaker of two directions needs; our choice."""
_MOST_CONDITION = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What the photograph shows of the patches."""

    values: FloatArray  # shape (patches, channels); decoded, from 0 to 1
    reflectance: FloatArray  # shape (patches, channels); as told
    blank: FloatArray | None  # shape (patches, channels); the blank there
    blank_level: FloatArray  # shape (channels,); where its light counts as whole
    coloured: np.ndarray  # shape (patches,); told in three numbers

    def without(self, index: int) -> "Seen":
        """Leave one patch out."""
        kept = np.arange(len(self.values)) != index
        return Seen(
            values=self.values[kept],
            reflectance=self.reflectance[kept],
            blank=None if self.blank is None else self.blank[kept],
            blank_level=self.blank_level,
            coloured=self.coloured[kept],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tone:
    """How values of a photograph become reflectance."""

    curves: tuple[Curve, ...]
    matrix: FloatArray | None = None  # shape (3, 3)

    def reflectance(self, values: FloatArray, blank: FloatArray | None = None) -> FloatArray:
        """Convert values of shape (..., channels), with the blank at the same places."""
        channels = [
            curve.reflectance(values[..., index], None if blank is None else blank[..., index])
            for index, curve in enumerate(self.curves)
        ]
        found = np.stack(channels, axis=-1)
        return found if self.matrix is None else np.asarray(found @ self.matrix.T)

    def residual(self, seen: Seen) -> FloatArray:
        """Give what it makes of the patches, less what they are; shape (patches, channels)."""
        return self.reflectance(seen.values, seen.blank) - seen.reflectance


def fit_tone(seen: Seen, near: Tone | None = None) -> Tone:
    """Fit curves, and a matrix where the patches tell one; the search may begin near."""
    plain = Tone(curves=_curves(seen, seen.reflectance, near))
    if not spans_colours(seen):
        return plain
    found = near if near is not None and near.matrix is not None else plain
    for _ in range(_TURNS):
        before = np.eye(_COLOURS) if found.matrix is None else found.matrix
        aims = np.maximum(seen.reflectance @ np.linalg.inv(before).T, 0)
        curves = _curves(seen, aims, found)
        linear = Tone(curves=curves).reflectance(seen.values, seen.blank)
        matrix = _matrix(linear, seen.reflectance)
        if np.linalg.cond(matrix) > _MOST_CONDITION:
            return plain
        found = Tone(curves=curves, matrix=matrix)
        if np.abs(matrix - before).max() < _STILL:
            break
    return found


def _curves(seen: Seen, aims: FloatArray, near: Tone | None) -> tuple[Curve, ...]:
    return tuple(
        fit_curve(
            seen.values[:, index],
            aims[:, index],
            None if seen.blank is None else seen.blank[:, index],
            float(seen.blank_level[index]),
            None if near is None else near.curves[index],
        )
        for index in range(seen.values.shape[1])
    )


def spans_colours(seen: Seen) -> bool:
    """Tell whether there are enough patches, and off grey in two directions."""
    if seen.values.shape[1] != _COLOURS or np.sum(seen.coloured) < FEWEST_COLOURS:
        return False
    chroma = seen.reflectance[:, [0, 2]] - seen.reflectance[:, [1]]
    return bool(np.linalg.svd(chroma, compute_uv=False)[-1] / np.sqrt(len(chroma)) > _SPAN)


def _matrix(linear: FloatArray, aims: FloatArray) -> FloatArray:
    """Fit rows that sum to 1: what a channel takes of the other two, for their difference to it."""
    matrix = np.eye(_COLOURS)
    for own in range(_COLOURS):
        others = [index for index in range(_COLOURS) if index != own]
        weights = 1 / (aims[:, own] + _FLOOR)
        unlike = (linear[:, others] - linear[:, [own]]) * weights[:, np.newaxis]
        shares = np.linalg.lstsq(unlike, weights * (aims[:, own] - linear[:, own]), rcond=None)[0]
        matrix[own, others], matrix[own, own] = shares, 1 - np.sum(shares)
    return matrix


def left_out(seen: Seen, tone: Tone) -> FloatArray | None:
    """Predict each patch from the others, from where all of them led; none of one patch alone."""
    count = len(seen.values)
    if count <= 1:
        return None
    found = np.empty_like(seen.reflectance)
    for index in range(count):
        blank = None if seen.blank is None else seen.blank[[index]]
        found[index] = fit_tone(seen.without(index), tone).reflectance(seen.values[[index]], blank)[
            0
        ]
    return found - seen.reflectance


def spare_patches(seen: Seen) -> int:
    """Count the patches beyond those that the curve itself takes."""
    return len(seen.values) - fitted_numbers(len(seen.values))
