"""
The product's texture behind a fault, and what the best linear filter makes of a signal before it.

Samples have white noise of variance σ² and, all colours alike, texture: the share t of the level g
of each colour, of power P(f) a sample. The filter weighs with

    w = (σ² I + P g g')⁻¹ σ² s = s - P g (g's) / (σ² + P g'g)

at each frequency (Sherman and Morrison), the fault's own signal s where there is no texture. Its
index is d' = Σws / √(Σσ²w² + Σ|g'w|²P + streaks and lines as without), σ² of each sample by itself.

Limits: texture lies still under the fault, and goes on beyond the image's edges; it is as strong
wherever the product is as bright, and none where the product clips. Requirement and measure of the
texture: `linesim.metrics.detection.texture`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.fft import irfft2, next_fast_len, rfft2
from scipy.ndimage import map_coordinates

from linesim.dataset.plan.plan import Plan
from linesim.figures.product import wanted_texture
from linesim.forward.reference import ArrayReference
from linesim.forward.station import Station
from linesim.metrics.detection.texture import Texture, sampled_power, texture_of, widened
from linesim.setup.arrays import FloatArray
from linesim.setup.product import GrainTexts, ImageTexture
from linesim.setup.setup import Setup
from linesim.targets.faces.face import face_of
from linesim.targets.levels import TILE, levels_of, tiles_of
from linesim.targets.load import TargetSize

_NODES = 65
"""Of the table each way, at squares of even steps: most power lies at low frequencies."""
_AROUND_PX = 64
"""At least, around a signal, for the filter to look at the product beside it."""
_SCENES = 4
_COARSE = 4
"""Pixels of a scene, each way, to one of the coarse measure."""
_CYCLES = 3
"""In a tile of the fine measure, from which it is believed; our choice."""


def texture_for(plan: Plan, setup: Setup, scene: int) -> Texture | None:
    """
    Give the texture that faults must stand out of: as required, else the scene's own.

    Nothing where the scene is too small to measure one on, or is a real scan: its noise would count
    twice.
    """
    required = required_texture(setup)
    if required is not None:
        return required
    own, face = None if plan.scenes.real else own_texture(plan, scene), face_of(setup)
    if own is None or face is None:
        return own
    # what the face mirrors lies evenly on top, so that the same texture is a smaller share of all
    matt = face.level[0] * _product(plan, scene)
    return Diluted(texture=own, share=matt / (matt + face.level[1] / face.white_reflectance))


def required_texture(setup: Setup) -> Texture | None:
    """Give the texture that is required, which stands in for any scene's own."""
    if isinstance(setup.requirement.texture, GrainTexts | ImageTexture):
        return wanted_texture(setup, TargetSize(rows=1, columns=1))
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Diluted:
    """The texture of a matt part that is a share of all that is seen."""

    texture: Texture
    share: float

    def power(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give its power over frequencies of both signs. [µm²]."""
        return self.share**2 * self.texture.power(across_lp_mm, along_lp_mm)


@lru_cache(maxsize=_SCENES)
def _product(plan: Plan, scene: int) -> float:
    """Give the median of a scene, the mean of its colours, as a share of white."""
    return float(np.mean(levels_of(plan.scene(scene)).product))


@lru_cache(maxsize=_SCENES)
def own_texture(plan: Plan, scene: int) -> Texture | None:
    """Measure the texture of a scene; None where it is too small."""
    whole = plan.scene(scene)
    fine, coarse = (texture_of(tiles_of(each)) for each in (whole, _averaged(whole)))
    if fine is None or coarse is None:
        return fine
    pitch_mm = whole.pixel_size_um / 1000
    return TwoScales(
        fine=fine,
        coarse=coarse,
        split_lp_mm=_CYCLES / (TILE * pitch_mm),
        side_mm=_COARSE * pitch_mm,
    )


def _averaged(whole: ArrayReference) -> ArrayReference:
    """Average a scene over squares of pixels; what is left over is dropped."""
    rows, columns = (size // _COARSE for size in whole.shape[:2])
    cut = whole.data[: rows * _COARSE, : columns * _COARSE]
    blocks = cut.reshape(rows, _COARSE, columns, _COARSE, *cut.shape[2:])
    return ArrayReference(
        data=blocks.mean(axis=(1, 3), dtype=np.float32),
        pixel_size_um=whole.pixel_size_um * _COARSE,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoScales:
    """
    A texture measured in tiles of two sizes: slow waves in the large ones, which hold some of them.

    In tiles of one size alone, what is slower than a tile goes for a level that is known.
    """

    fine: Texture
    coarse: Texture
    split_lp_mm: float
    side_mm: float  # of the squares that the coarse one is averaged over

    def power(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give its power over frequencies of both signs. [µm²]."""
        slow = np.maximum(np.abs(across_lp_mm), np.abs(along_lp_mm)) < self.split_lp_mm
        kept = np.sinc(across_lp_mm * self.side_mm) * np.sinc(along_lp_mm * self.side_mm)
        waves = self.coarse.power(across_lp_mm, along_lp_mm)
        # the mean over squares dampens waves by so much; further on it is not looked at
        return np.where(
            slow, waves / np.where(slow, kept, 1.0) ** 2, self.fine.power(across_lp_mm, along_lp_mm)
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Backdrop:
    """Power of the texture a sample over frequencies, up to half a cycle a sample."""

    power: FloatArray  # shape (nodes, nodes), along and across; share of the level, squared

    def at(self, lines: int, columns: int) -> FloatArray:
        """Give the power at the frequencies of a transform of real numbers."""
        along = np.abs(np.fft.fftfreq(lines))
        across = np.fft.rfftfreq(columns)
        rows, places = (np.sqrt(2 * each) * (_NODES - 1) for each in (along, across))
        grid = np.stack(np.meshgrid(rows, places, indexing="ij"))
        return np.maximum(map_coordinates(self.power, grid, order=1), 0.0)


def backdrop(numbers: Station, texture: Texture | None) -> Backdrop | None:
    """Work out what of a texture reaches the samples of a station."""
    if texture is None:
        return None
    halves = np.square(np.linspace(0, 1, _NODES)) * 500
    across = halves[None, :] / np.max(numbers.geometry.object_pixel_x_um)
    along = halves[:, None] / np.max(numbers.timing.line_advance_um)
    power = sampled_power(widened(numbers), texture, across, along)
    table = power.reshape(-1, *power.shape[-2:]).mean(axis=0)
    return Backdrop(power=table) if table.any() else None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seen:
    """A fault's signal in its surroundings, all of shape (lines, columns, colours)."""

    signal_e: FloatArray
    white_e2: FloatArray  # variance of each sample by itself
    level_e: FloatArray  # shape (colours,); of the product as far as it does not clip


def weights_in(behind: Backdrop, seen: Seen) -> tuple[FloatArray, FloatArray]:
    """Give the weights, the signal in their first corner, and what texture makes of them."""
    lines, columns, _ = seen.signal_e.shape
    sides = ((lines, max(_AROUND_PX, lines)), (columns, max(_AROUND_PX, columns)))
    shape = tuple(next_fast_len(own + beside, real=True) for own, beside in sides)
    power, white_e2 = behind.at(*shape)[:, :, None], float(seen.white_e2.mean())
    whole = rfft2(seen.signal_e, s=shape, axes=(0, 1))
    heard = (whole * seen.level_e).sum(axis=2, keepdims=True)
    less = power * seen.level_e / (white_e2 + power * float((seen.level_e**2).sum()))
    turned = whole - less * heard
    rough = np.sqrt(power) * (turned * seen.level_e).sum(axis=2, keepdims=True)
    return irfft2(turned, s=shape, axes=(0, 1)), irfft2(rough, s=shape, axes=(0, 1))


def index_in(behind: Backdrop, seen: Seen, spread_e2: Callable[[FloatArray], float]) -> float:
    """
    Work out d' in front of a texture.

    Parameters
    ----------
    behind : Backdrop
    seen : Seen
    spread_e2 : callable; variance that streaks and lines add to a filter of given weights
    """
    lines, columns, _ = seen.signal_e.shape
    (weights, grain), white_e2 = weights_in(behind, seen), float(seen.white_e2.mean())
    inside = weights[:lines, :columns]
    around_e2 = white_e2 * float((weights**2).sum() - (inside**2).sum())
    found_e2 = float((seen.white_e2 * inside**2).sum()) + around_e2 + float((grain**2).sum())
    found_e2 += spread_e2(weights)
    gain = float((inside * seen.signal_e).sum())
    return max(gain, 0.0) / float(np.sqrt(found_e2)) if found_e2 > 0 else 0.0
