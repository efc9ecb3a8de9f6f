"""
What of a defect reaches the samples, on the mean of all places of it on the pixel grid.

Integrals over frequencies by Gauss and Legendre's rule, on nodes that gather where a defect of some
size behind a pixel has its power, up to the lens's cut-off. S is the transform of the defect behind
lens, pixel and motion; W the share of white noise in all noise at a frequency, 1 on even product.
In the mean over places the aliases of S cancel, so that an integral over the plane stands for the
sum over the sampled frequencies (Parseval).

How much Σs² swings with the place follows from the transform of s² at one cycle a sample. It is
taken along the axes only, as if s were a product: right to 0.004 for discs of 0.3 to 10 pixels.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.lens import box_mtf, disc_mtf
from linesim.forward.pixel import longest_side_um, pixel_mtf_across, pixel_mtf_along
from linesim.forward.station import Station
from linesim.metrics.detection.flanks import Relief
from linesim.metrics.detection.pictured import pictured
from linesim.metrics.detection.texture import Texture, sampled_power, widened
from linesim.setup.arrays import FloatArray

NODES, FEW_NODES = 32, 8
"""Of the rule, each way; and where a first guess of a size will do: right to some percent."""
_NOTHING = 1e-200
_NO_CYCLES = np.zeros((1, 1))
_REACH = 2.0
"""Of the nodes: the frequency about which they gather, times the side of what blurs."""


class Shape(Protocol):
    """A defect's outline on the target."""

    @property
    def side_um(self) -> tuple[Figure, Figure]:
        """Its size across and along. [µm]."""

    def transform(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give the size of its Fourier transform. [µm²]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A round defect."""

    diameter_um: Figure

    @property
    def side_um(self) -> tuple[Figure, Figure]:
        """Its size across and along. [µm]."""
        return self.diameter_um, self.diameter_um

    def transform(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give the size of its Fourier transform, (πd²/4)·2J₁(πdf)/(πdf). [µm²]."""
        cycles = np.hypot(across_lp_mm, along_lp_mm) * self.diameter_um / 1000
        return np.asarray(np.pi / 4 * np.square(self.diameter_um) * disc_mtf(cycles))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scratch:
    """A straight defect that lies along one of the axes."""

    # its sides [µm]
    across_um: Figure
    along_um: Figure

    @property
    def side_um(self) -> tuple[Figure, Figure]:
        """Its size across and along. [µm]."""
        return self.across_um, self.along_um

    def transform(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """Give the size of its Fourier transform, a product of two sinc. [µm²]."""
        across = self.across_um * box_mtf(across_lp_mm * self.across_um / 1000)
        return np.asarray(across * self.along_um * box_mtf(along_lp_mm * self.along_um / 1000))


@lru_cache(maxsize=2)
def _nodes(count: int) -> tuple[FloatArray, FloatArray]:
    """Places from 0 to 1 and weights of Gauss and Legendre's rule."""
    place, weight = np.polynomial.legendre.leggauss(count)
    return (place + 1) / 2, weight / 2


def _frequencies(
    side_um: Figure, cutoff_lp_mm: Figure, nodes: int
) -> tuple[FloatArray, FloatArray]:
    """
    Spread nodes from 0 to the lens's cut-off, half of them below 2 over the side. [lp/mm].

    With 32 each way d' is right to 0.002 for discs of 0.1 to 400 pixels, for oblongs to 0.005 (to
    0.01 for 100 x 100), all at cut-offs of 0.7 to 60 per pixel. For faults with relief of 0.2 to 40
    pixels it is right to 0.005, but for wrinkles and steep pits of over 10 pixels to 0.03.
    """
    place, weight = _nodes(nodes)
    near = np.minimum(1000 * _REACH / np.asarray(side_um), 0.999 * np.asarray(cutoff_lp_mm))
    bend = 1 - near / cutoff_lp_mm
    near, bend = near[..., None], bend[..., None]
    return near * place / (1 - bend * place), near * weight / (1 - bend * place) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Backdrop:
    """What a defect must stand out of, besides white noise: the product's own texture."""

    texture: Texture  # of the product, as a share of its level
    # signal of the product and its temporal noise, of a delivered pixel [e]
    level_e: Figure
    noise_e: Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Energies:
    """What of a defect of contrast 1 reaches the samples, on the mean of all places on the grid."""

    # mean of Σs², the product's level counted as 1; in texture, what the best filter makes of it
    samples: Figure
    columns: Figure  # mean of Σ_columns(Σ_lines s)² of what the filter weighs with
    lines: Figure  # mean of Σ_lines(Σ_columns s)² of the same
    covered: Figure  # mean of Σs: samples that the defect would cover in full
    # independent looks at a sample, by which false alarms multiply: √(λ_x λ_y) of the filter's
    # output, λ its mean squared slope a sample
    looks: Figure
    slopes: Figure  # their sum, λ_x + λ_y
    # by which share Σs² swings to either side with the place across, and along
    wave_x: Figure
    wave_y: Figure
    # share of white noise in the variance of the filter's output; the rest is texture
    noise_share: Figure
    # mean of Σs³ over that of Σs², of what is bright and dark; None leaves it to Σs and Σs²
    third: Figure | None = None


def energies(numbers: Station, shape: Shape, backdrop: Backdrop | None = None) -> Energies:
    """Work out what of a defect reaches the samples; its sides broadcast with the station."""
    return energies_of(numbers, backdrop)(shape)


def energies_of(
    numbers: Station, backdrop: Backdrop | None = None, nodes: int = NODES
) -> Callable[[Shape], Energies]:
    """Prepare a station for the energies of many shapes, by so many frequencies each way."""
    wide, behind = widened(numbers), widened(backdrop)
    spread = _Spread(
        pixel_um=numbers.geometry.object_pixel_x_um,
        advance_um=numbers.timing.line_advance_um,
        longest_um=longest_side_um(numbers),
        cutoff_lp_mm=np.asarray(numbers.optics.last_lp_mm * numbers.optics.magnification),
        nodes=nodes,
        still=(pixel_mtf_across(wide, _NO_CYCLES), pixel_mtf_along(wide, _NO_CYCLES)),
    )

    def of_shape(shape: Shape) -> Energies:
        found = _energies(spread, (wide, behind), shape)
        return _with_signs(found, wide, shape) if isinstance(shape, Relief) else found

    return of_shape


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spread:
    """What of a station tells which frequencies matter; the same for all shapes."""

    pixel_um: Figure
    advance_um: Figure
    longest_um: FloatArray  # widest of what blurs along travel [µm]
    cutoff_lp_mm: FloatArray
    nodes: int
    still: tuple[FloatArray, FloatArray]  # transfer of a pixel across and along for no cycles


def _energies(spread: _Spread, behind: tuple[Station, Backdrop | None], shape: Shape) -> Energies:
    wide, backdrop = behind
    pixel_um, advance_um = spread.pixel_um, spread.advance_um
    size_x_um, size_y_um = shape.side_um
    fx, wx = _frequencies(np.hypot(pixel_um, size_x_um), spread.cutoff_lp_mm, spread.nodes)
    fy, wy = _frequencies(np.hypot(spread.longest_um, size_y_um), spread.cutoff_lp_mm, spread.nodes)
    seen = _Seen(wide=wide, shape=widened(shape), spread=spread)
    across, along = fx[..., :, None], fy[..., None, :]
    plane, axes = seen.transforms(fx, fy)
    (wave_x, flat), (wave_y, even) = _swing(axes[0], wx), _swing(axes[1], wy)
    weight = _white_share(wide, backdrop, across, along)
    cell_um2 = pixel_um * advance_um
    weighed = np.square(plane) * weight
    # a lens that lets nothing pass leaves nothing to divide by
    total = np.maximum(_plane(wx, weighed, wy), _NOTHING)
    on_axes = zip((wx, wy), (flat, even), _axis_shares(wide, backdrop, across, along), strict=True)
    columns, lines = (
        np.einsum("...i,...i->...", w, np.square(s * white)) for w, s, white in on_axes
    )
    turns = tuple(2e-3 * np.pi * each for each in (pixel_um, advance_um))
    lambda_x = turns[0] ** 2 * _plane(wx * np.square(fx), weighed, wy) / total
    lambda_y = turns[1] ** 2 * _plane(wx, weighed, wy * np.square(fy)) / total
    # the plane has four such quarters, a line two such halves; 10⁻³ turns lp/mm into 1/µm
    return Energies(
        samples=4e-6 * total / cell_um2,
        columns=2e-3 * columns / (cell_um2 * advance_um),
        lines=2e-3 * lines / (cell_um2 * pixel_um),
        covered=seen.area_um2 / cell_um2,
        looks=np.sqrt(lambda_x * lambda_y),
        slopes=lambda_x + lambda_y,
        wave_x=wave_x,
        wave_y=wave_y,
        noise_share=_plane(wx, weighed * weight, wy) / total if weight.ndim else np.ones(()),
    )


def _with_signs(found: Energies, wide: Station, fault: Relief) -> Energies:
    """Take what hangs on bright and dark from the picture of a fault: it is no product."""
    picture = pictured(wide, widened(fault))
    waves = picture.waves(wide.geometry.object_pixel_x_um, wide.timing.line_advance_um)
    return replace(found, third=picture.third, wave_x=waves[0], wave_y=waves[1])


def _plane(wx: FloatArray, values: FloatArray, wy: FloatArray) -> FloatArray:
    """Sum values over the nodes of a quarter of the plane."""
    return np.asarray(np.einsum("...i,...ij,...j->...", wx, values, wy))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """A defect behind lens, pixel and motion; its numbers have two more axes."""

    wide: Station
    shape: Shape
    spread: _Spread

    @property
    def area_um2(self) -> FloatArray:
        """Of the defect. [µm²]."""
        return np.asarray(self.shape.transform(_NO_CYCLES, _NO_CYCLES))[..., 0, 0]

    def transforms(
        self, fx: FloatArray, fy: FloatArray
    ) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
        """For all pairs of the nodes, and about half a cycle a sample on both axes. [µm²]."""
        across, along = (
            _about_half(fx, self.spread.pixel_um),
            _about_half(fy, self.spread.advance_um),
        )
        columns = pixel_mtf_across(self.wide, across[..., None])
        rows = pixel_mtf_along(self.wide, along[..., None])
        # the pixel's transfer at the nodes themselves comes last
        count = self.spread.nodes
        pixel = columns[..., -count:, :], np.swapaxes(rows[..., -count:, :], -2, -1)
        fx, fy = fx[..., :, None], fy[..., None, :]
        lens = self.wide.optics.mtf_on_target(fx, fy)
        plane = lens * pixel[0] * pixel[1] * self.shape.transform(fx, fy)
        return plane, self._on_axes((across, columns), (along, rows))

    def _on_axes(
        self, x: tuple[FloatArray, FloatArray], y: tuple[FloatArray, FloatArray]
    ) -> tuple[FloatArray, FloatArray]:
        """Go across alone and along alone: at once, for a call costs more than its sums."""
        (across, columns), (along, rows) = x, y
        if across.shape != along.shape:
            across, along = np.broadcast_arrays(across, along)
        nothing, half = np.zeros_like(across), across.shape[-1]
        fx = np.concatenate([across, nothing], axis=-1)[..., None]
        fy = np.concatenate([nothing, along], axis=-1)[..., None]
        lens, shape = self.wide.optics.mtf_on_target(fx, fy), self.shape.transform(fx, fy)
        first = lens[..., :half, :] * columns * self.spread.still[1] * shape[..., :half, :]
        second = lens[..., half:, :] * self.spread.still[0] * rows * shape[..., half:, :]
        # transfer functions are sizes; beyond a box's first zero its transform is negative
        ax, ay, place = fx[..., :half, :], fy[..., half:, :], self.wide.geometry
        first = first * _box_sign(ax * place.object_pixel_x_um / 1000)
        second = second * _box_sign(ay * place.row_side_um / 1000)
        second = second * _box_sign(ay * self.wide.motion_um / 1000)
        return first[..., 0], second[..., 0]


def _box_sign(cycles: FloatArray) -> FloatArray:
    """Sign of sinc at frequencies that are not negative."""
    return np.asarray(np.copysign(1.0, np.sin(np.pi * cycles)))


def _about_half(over: FloatArray, step_um: Figure) -> FloatArray:
    """Frequencies above and below half a cycle a sample by so much, and these themselves."""
    half = 500 / np.asarray(step_um)[..., None]
    return np.concatenate([half + over, np.abs(half - over), over + 0 * half], axis=-1)


def _swing(values: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Transform of s² at one cycle a sample over that at 0, along an axis; s's own there."""
    third = values.shape[-1] // 3
    above, below, own = values[..., :third], values[..., third:-third], values[..., -third:]
    whole = np.maximum((np.square(own) * weight).sum(-1), _NOTHING)
    swing = (above * below * weight).sum(-1) / whole
    return np.asarray(swing), np.asarray(own)


def _white_share(
    wide: Station, backdrop: Backdrop | None, fx: FloatArray, fy: FloatArray
) -> FloatArray:
    """Share of white noise in all noise of the samples, at a frequency on the target."""
    if backdrop is None:
        return np.ones(())
    power = sampled_power(wide, backdrop.texture, fx, fy)
    return np.asarray(1 / (1 + np.square(backdrop.level_e / backdrop.noise_e) * power))


def _axis_shares(
    wide: Station, backdrop: Backdrop | None, across: FloatArray, along: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give that share at frequencies across alone, and along alone."""
    nothing = np.zeros((1, 1))
    flat = _white_share(wide, backdrop, across, nothing)
    even = _white_share(wide, backdrop, nothing, along)
    return (flat[..., 0], even[..., 0, :]) if flat.ndim else (flat, even)
