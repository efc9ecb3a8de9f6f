"""
What a fault with relief sends to the camera more or less than the level face around it.

Heights give slopes, slopes give radiance factors under the lamp: matt M and mirrored G, M₀ and G₀
of the level face. Product of the matt share ρ of white ρ_w has the level P = ρM₀ + G₀/ρ_w; the
change as a share of it is

    c = (ρ (M - M₀) + (G - G₀)/ρ_w)/P,

a signed map: one flank of a groove is bright and the other dark, so that little is left of one
that is narrow against a sample. Faults of one form, all lengths in the same ratio to the width w,
have the same map over x/w and y/w. Its Fourier transform is tabulated once; that of a long fault is
put together from both ends and the even stretch between, exactly.

Errors: the map stands on a grid of at least 6 steps to the length over which a slope turns by the
rms slope of the facets, where the trapezoidal rule errs by exp(-2π²·0.95²) ≈ 2·10⁻⁸ of a Gaussian
lobe (derived; Poisson's sum); edges of heights of a continuous slope add 1/n². Transforms are read
by a cubic spline on 4 times as many places as the map fills, 5·10⁻⁴ of their size at most (derived;
2ζ(4)(1/8)⁴ for what lies at the map's rim). Faces of the finish are tabulated over slopes as for
reliefs of targets. Light that a fault throws on itself, and its shadow, are left out.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.defects.relief_faults import LONG_KINDS, ReliefFault, relief_fault
from linesim.forward.geometry import Figure
from linesim.metrics.detection.texture import Held
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import refuse
from linesim.targets.faces.face import Face
from linesim.targets.faces.slopes import factors_at

ComplexArray = NDArray[np.complexfloating]
_FEWEST, _PER_LOBE = 64, 6.0
"""Grid steps of the map over the width, at least and for a slope of one rms slope."""
_PADDED = 4
_MARGIN = 8
_MOST_RMS = 60.0
"""Steepest slope, in rms slopes: 300 faces of the table each way."""
_LEFT_OUT = 1e-7
"""Share of the power of a transform, at its highest frequencies."""
_NEAR = 1e-5
"""Of the width, over which heights are differenced."""
_ALIKE, _NOTHING = 1e-6, 1e-30
_STILL = 1e-7
"""Cycles a width that stand for none, where a stretch is a difference of two that go on."""
_SLOW = 1.0
DARKEST = 1e-6
"""Share of white under which a product has no level to change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A fault with relief but for its size."""

    kind: str  # "dent", "pit", "bump", "groove", "wrinkle" or "fibre"
    steepness: float
    turn_deg: float = 0.0  # 0 for an axis along travel, 90 across

    @property
    def shortest(self) -> ReliefFault:
        """Give the fault of width 1, without any stretch between its ends."""
        return relief_fault(self.kind, 1.0, self.steepness, turn_deg=self.turn_deg)

    @property
    def ends(self) -> int:
        """Length of both ends together, over the width."""
        return self.shortest.ends


class Flanks(Held):
    """The transform of a form under a lamp, for a width of 1."""

    __slots__ = ("key", "level", "mirrored", "parts")

    def __init__(
        self,
        *,
        key: tuple[Face, Form],
        level: tuple[float, float],
        parts: tuple[tuple[ComplexArray, ...], ...],
        mirrored: bool,
    ) -> None:
        self.key, self.level, self.parts, self.mirrored = key, level, parts, mirrored

    @property
    def frame(self) -> object:
        """Give what tells it from other tables."""
        return self.key

    @property
    def form(self) -> Form:
        """What is seen."""
        return self.key[1]

    @property
    def is_long(self) -> bool:
        """Whether its ends stand for themselves."""
        return len(self.parts[0]) > 1

    def ends_at(self, part: int, u: FloatArray, v: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """
        Give the transforms of both ends, of the matt part (0) or the mirrored (1).

        Of a long fault each end goes on without end towards the other, so that the even stretch
        between them is the difference of the two. Of a round one the first is all.
        """
        # of a real map the transform at the opposite frequency is the conjugate
        turned = np.where(u < 0, -1.0, 1.0)
        u, v = u * turned, v * turned
        tables, ends = self.parts[part], self.form.ends
        middle = tables[0].shape[1] // 2
        places = np.stack([u * _PADDED + _MARGIN, v * ends * _PADDED + middle])
        low = _read(tables[0], places)
        high = np.zeros_like(low)
        if self.is_long:
            going_on = _read(tables[2], places[:1]) / (2j * np.pi * v)
            low, high = low + going_on, _read(tables[1], places) - going_on
        low, high = (np.where(turned < 0, np.conj(each), each) for each in (low, high))
        return low, high


def _read(table: ComplexArray, places: FloatArray) -> ComplexArray:
    flat = scipy.ndimage.map_coordinates(
        table, places.reshape(len(places), -1), order=3, prefilter=False
    )
    return np.asarray(flat.reshape(places.shape[1:]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """A fault with relief as the lamp shows it on a product."""

    flanks: Flanks  # the transforms of its form
    width_um: Figure
    length_um: Figure
    # weights of both parts in the change of the product's level, ρ/P and 1/(ρ_w P)
    matt: Figure
    gloss: Figure

    @property
    def side_um(self) -> tuple[Figure, Figure]:
        """Its size across and along. [µm]."""
        shortest_um = self.width_um * self.flanks.form.ends
        if not self.flanks.is_long:
            return shortest_um, shortest_um
        sides = self.width_um, np.maximum(self.length_um, shortest_um)
        return sides if self._lies_along else sides[::-1]

    @property
    def _lies_along(self) -> bool:
        return self.flanks.form.turn_deg == 0

    def transform(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> FloatArray:
        """
        Give the size of its Fourier transform, on the root mean square of both signs. [µm²].

        Ends that lie far apart beat against each other so fast that no few nodes follow; what lies
        that far apart does not meet behind the blur, and is left out.
        """
        power: FloatArray = np.zeros(())
        signs = (1,) if self.flanks.mirrored else (1, -1)
        for sign in signs:
            (low, high), turns = self._ends(across_lp_mm, sign * along_lp_mm)
            beat = 2 * np.real(low * np.conj(high) * np.exp(2j * np.pi * turns))
            power = power + np.square(np.abs(low)) + np.square(np.abs(high)) + _slow(turns) * beat
        return np.asarray(np.square(self.width_um) * np.sqrt(np.maximum(power, 0.0) / len(signs)))

    def signed(self, across_lp_mm: FloatArray, along_lp_mm: FloatArray) -> ComplexArray:
        """Give its Fourier transform about its own middle. [µm²]."""
        (low, high), turns = self._ends(across_lp_mm, along_lp_mm)
        apart = np.exp(1j * np.pi * turns)
        return np.asarray(np.square(self.width_um) * (low * apart + high / apart))

    def _ends(
        self, across_lp_mm: FloatArray, along_lp_mm: FloatArray
    ) -> tuple[tuple[ComplexArray, ComplexArray], FloatArray]:
        """Give the transforms of both ends, and cycles from one to the other."""
        cycles = self.width_um / 1000 * across_lp_mm, self.width_um / 1000 * along_lp_mm
        u, v = cycles if self._lies_along else (-cycles[1], cycles[0])
        u, v = np.broadcast_arrays(u, v)
        if self.flanks.is_long:
            v = np.where(np.abs(v) < _STILL, _STILL, v)
        apart = np.maximum(self.length_um / np.asarray(self.width_um) - self.flanks.form.ends, 0)
        low, high = self.flanks.ends_at(0, u, v)
        low, high = self.matt * low, self.matt * high
        if len(self.flanks.parts) > 1:
            more = self.flanks.ends_at(1, u, v)
            low, high = low + self.gloss * more[0], high + self.gloss * more[1]
        return (low, high), np.asarray(v * apart)


def _slow(turns: FloatArray) -> FloatArray:
    """Give 1 for slow beats and 0 for fast ones, over some cycles."""
    fast = np.clip((np.abs(turns) - _SLOW) / _SLOW, 0.0, 1.0)
    return np.cos(np.pi / 2 * fast) ** 2


def weights(flanks: Flanks, product: Figure, white: Figure) -> tuple[FloatArray, FloatArray]:
    """
    Give ρ/P and 1/(ρ_w P), by which matt and mirrored light count in a change of the level P.

    ``product`` is P under the lamp as a share of white; next to black counts as a millionth of
    white.
    """
    matt, gloss = flanks.level
    level = np.maximum(product, DARKEST)
    mirrored = gloss / np.maximum(white, _NOTHING) if gloss else 0.0
    share = np.maximum(level - mirrored, 0.0) / matt if matt > 0 else np.zeros(())
    return np.asarray(share / level), np.asarray(1 / (np.maximum(white, _NOTHING) * level))


@lru_cache(maxsize=128)
def flanks_of(face: Face, form: Form) -> Flanks:
    """Light a form by a lamp, seen by a camera on a finish."""
    fault = form.shortest
    rms = min(face.finish.rms_across, face.finish.rms_along) if face.finish else np.inf
    if fault.steepest > _MOST_RMS * rms:
        refuse(
            f"requirement.defect_relief: its slopes reach {fault.steepest:.2g}, which is over "
            f"{_MOST_RMS:g} times the rms slope of the face, {rms:g}; expected a shallower or "
            "wider fault, or a larger target.rms_slope"
        )
    half = max(_FEWEST // 2, ceil(_PER_LOBE * fault.steepest / rms / 2))
    u, v = (np.arange(-half * ends, half * ends + 1) / (2 * half) for ends in (1, form.ends))
    changes = _changes(face, fault, _places(form, u, v))
    left_to_right = int(form.turn_deg != 0)
    return Flanks(
        key=(face, form),
        level=face.level,
        parts=tuple(_part(form, v, each) for each in changes),
        mirrored=all(
            np.allclose(each, np.flip(each, left_to_right), atol=_ALIKE * np.abs(each).max())
            for each in changes
        ),
    )


def _part(form: Form, v: FloatArray, change: FloatArray) -> tuple[ComplexArray, ...]:
    """Transform a map, a long one by its ends; keep what of the frequencies has power."""
    whole = _spectrum(change, form.ends)
    power = np.square(np.abs(whole))
    cycles = [np.abs(np.arange(size) - size // 2) / _PADDED for size in whole.shape]
    far = np.maximum(cycles[0][:, None], cycles[1][None, :] / form.ends).ravel()
    order = np.argsort(far)
    held = np.cumsum(power.ravel()[order])
    most = far[order][np.searchsorted(held, (1 - _LEFT_OUT) * held[-1])]
    if form.kind not in LONG_KINDS:
        return (_kept(whole, most, form.ends),)
    above = np.where(v > 0, 1.0, np.where(v < 0, 0.0, 0.5))
    high, cut = _spectrum(change * above, form.ends), _spectrum(change[:, len(v) // 2], 1)
    return tuple(_kept(each, most, form.ends) for each in (whole - high, high, cut))


def _kept(spectrum: ComplexArray, most: float, ends: int) -> ComplexArray:
    """Give spline coefficients of the frequencies up to some cycles a width."""
    middles = [size // 2 for size in spectrum.shape]
    counts = [
        min(ceil(most * _PADDED * each) + _MARGIN, middle - 1)
        for each, middle in zip((1, ends), middles, strict=False)
    ]
    # the other half are conjugates
    before = (_MARGIN, *counts[1:])
    part = tuple(
        slice(middle - less, middle + count + 1)
        for middle, less, count in zip(middles, before, counts, strict=True)
    )
    found = scipy.ndimage.spline_filter(spectrum[part], order=3, output=np.complex128)
    return np.asarray(found, dtype=np.complex64)


def _places(form: Form, u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lay a grid over a form: x and y of places across its axis and along it."""
    across, along = np.meshgrid(u, v, indexing="ij")
    return (along, -across) if form.turn_deg else (across, along)


def _changes(
    face: Face, fault: ReliefFault, places: tuple[FloatArray, FloatArray]
) -> list[FloatArray]:
    """Give M - M₀ over places, and where the face mirrors G - G₀."""
    x, y = places
    p, q = (
        (fault.height_um(x - dx, y - dy) - fault.height_um(x + dx, y + dy)) / (2 * _NEAR) + lean
        for (dx, dy), lean in zip(((_NEAR, 0.0), (0.0, _NEAR)), face.slopes, strict=True)
    )
    lit = factors_at(face, p, q)
    found = [each - level for each, level in zip(lit, face.level, strict=True)]
    return found if face.finish else found[:1]


def _spectrum(values: FloatArray, ends: int) -> ComplexArray:
    """Transform a map about its middle, over cycles a width; no cycles lie in the middle."""
    count = values.shape[0] - 1
    padded = np.zeros([_PADDED * count * each for each in (1, ends)[: values.ndim]])
    padded[tuple(slice(0, size) for size in values.shape)] = values
    rolled = np.roll(padded, [-(size // 2) for size in values.shape], tuple(range(values.ndim)))
    return np.asarray(np.fft.fftshift(np.fft.fftn(rolled)) / count**values.ndim)
