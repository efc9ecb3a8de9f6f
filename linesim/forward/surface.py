"""
The light that a face sends to the camera under a line light: its radiance factor, by its slopes.

The radiance factor β (CIE) is the radiance over that of a perfect diffuser under the same light.
Light falls on a level face with the irradiance E; a facet of the face has slopes (p, q) across and
along, so that its normal is (p, q, 1). The lamp is a strip of even radiance L along the line, seen
between two angles a and b from the normal in the plane of travel; E = (π/2) L (sin b - sin a) if it
is endless, less if it ends. Then β has two parts:

matt    ρ ∫ max(n·i, 0) dω / ∫ max(z·i, 0) dω, light on the tilted face over that on a level one;
gloss   π L_r / E with L_r = ∫ f (n·i) L dω and f = D G F / (4 (n·i)(n·o)).

D is Beckmann's distribution of facets of the stated rms slopes (its α is √2 of them), G the
shadowing of Smith for light and camera apart, F Schlick's law for the mirror reflectance at normal
incidence. Light that a face throws on itself is lost: under light from everywhere a level mirror of
rms slope 0.3 sends back 98 %, one of 0.5 74 %. What lies beside a slope casts no shadow on it.

Sources: F. E. Nicodemus et al., NBS Monograph 160 (1977), for β and f; P. Beckmann and
A. Spizzichino, The Scattering of Electromagnetic Waves from Rough Surfaces (1963); B. Walter et
al., Microfacet models for refraction through rough surfaces, EGSR 2007; C. Schlick, An inexpensive
BRDF model, Computer Graphics Forum 13 (1994). All from memory.
"""

from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray
from linesim.setup.light.strip import Strip

_NODES, _OF_LOBE = 16, 14
"""Of Gauss and Legendre each way, over the lamp; and over what of it lies within the lobe."""
_REACH = 5.0
"""Standard deviations of the lobe to each side: 6e-7 of it lies beyond."""
_CHUNK = 4096
_SHARP = 1e-4
"""Spread of what a smooth clear face lets through, so that the lamp has edges of some width."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """How a face mirrors."""

    gloss: float  # mirror reflectance at normal incidence
    # rms slopes of the facets across the web and along travel
    rms_across: float
    rms_along: float


def facet_reflectance(gloss: float, cosine: FloatArray) -> FloatArray:
    """Mirror reflectance at an angle of incidence, by Schlick's law."""
    return gloss + (1 - gloss) * (1 - cosine) ** 5


def reflection(finish: Finish, light: FloatArray, view: FloatArray) -> FloatArray:
    """Give the glossy part of the reflection, f, times what the light's incidence takes of it."""
    half = light + view
    half /= np.linalg.norm(half, axis=-1, keepdims=True)
    wide, tall = np.sqrt(2) * finish.rms_across, np.sqrt(2) * finish.rms_along
    lit, seen = light[..., 2], view[..., 2]
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        steep2 = ((half[..., 0] / wide) ** 2 + (half[..., 1] / tall) ** 2) / half[..., 2] ** 2
        facets = np.exp(-steep2) / (np.pi * wide * tall * half[..., 2] ** 4)
        free = 1 / ((1 + _hidden(light, wide, tall)) * (1 + _hidden(view, wide, tall)))
        mirrored = facet_reflectance(finish.gloss, np.sum(light * half, axis=-1))
        found = facets * free * mirrored / (4 * seen)
    return np.where((lit > 0) & (seen > 0), found, 0.0)


def _hidden(direction: FloatArray, wide: float, tall: float) -> FloatArray:
    """Smith's Λ of Beckmann facets: how much of a face hides behind its own facets."""
    across = np.hypot(direction[..., 0] * wide, direction[..., 1] * tall)
    a = direction[..., 2] / np.maximum(across, 1e-12)
    return np.asarray((scipy.special.erf(a) - 1) / 2 + np.exp(-(a**2)) / (2 * a * np.sqrt(np.pi)))


def radiance_factors(
    strip: Strip, finish: Finish | None, view: FloatArray, slopes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """
    Give what faces of some slopes send to the camera.

    Parameters
    ----------
    finish : Finish or None; of the face; None: matt
    view : ndarray of shape (3,) or (faces, 3); direction to the camera: across, along, up
    slopes : ndarray of shape (faces, 2); tangents by which the normal leans across and along

    Returns
    -------
    matt : ndarray of shape (faces,); radiance factor of a perfect diffuser
    gloss : ndarray of shape (faces,); of the mirroring part
    """
    matt, gloss = np.zeros(len(slopes)), np.zeros(len(slopes))
    toward = np.broadcast_to(view / np.linalg.norm(view, axis=-1, keepdims=True), (len(slopes), 3))
    for first in range(0, len(slopes), _CHUNK):
        part = slice(first, first + _CHUNK)
        frames, lamp = _frames(slopes[part]), _part(strip, part)
        matt[part] = _matt(lamp, frames[:, 2])
        if finish is not None:
            gloss[part] = _gloss(lamp, finish, toward[part], frames)
    return matt / strip.level, gloss * np.pi / strip.level


def clear_factors(
    strip: Strip, turns: tuple[float, float, float], view: FloatArray, slopes: FloatArray
) -> FloatArray:
    """
    Give what a clear target lets the camera see of a lamp behind it.

    A face of slope q turns light by (n - 1) q, as a thin prism does, and its facets spread it by
    (n - 1) of their rms slope. Where the line of sight then meets the lamp, its radiance is seen:
    β = π L/E (derived; paraxial, so for slopes up to some 0.2).

    Parameters
    ----------
    strip : Strip; the lamp; its angles count from the normal behind the target
    turns : tuple of float
        By how much faces turn light: n - 1; and the rms slopes of the facets across and along.
    view : ndarray of shape (3,) or (faces, 3); direction to the camera: across, along, up
    slopes : ndarray of shape (faces, 2); tangents by which the normal leans across and along

    Returns
    -------
    ndarray of shape (faces,); radiance factor of a target that lets all light through
    """
    bend, wide, tall = turns
    across, along = (-view[..., axis] / view[..., 2] - bend * slopes[:, axis] for axis in (0, 1))
    angle = np.arctan(along)
    there = np.cos(angle) / np.cos(angle - np.radians(strip.middle_deg))
    edges = (np.radians(strip.low_deg), np.radians(strip.high_deg))
    tall_rad = np.maximum(bend * tall * np.cos(angle) ** 2, _SHARP)
    hit = _between(angle, edges, tall_rad)
    hit *= _between(across * there, (strip.left, strip.right), max(bend * wide, _SHARP))
    return np.asarray(hit * np.pi / strip.level)


def _between(
    place: FloatArray, edges: tuple[float | FloatArray, float | FloatArray], sd: float | FloatArray
) -> FloatArray:
    """Share of a normal spread about a place that lies between two edges."""
    low, high = (scipy.special.ndtr((edge - place) / sd) for edge in edges)
    return np.asarray(high - low)


def _part(strip: Strip, part: slice | NDArray[np.intp]) -> Strip:
    """Give the lamp to some of its points, where they see it differently."""
    ends = (strip.left, strip.right)
    left, right = (end[part] if isinstance(end, np.ndarray) and end.ndim else end for end in ends)
    return replace(strip, left=left, right=right)


def _frames(slopes: FloatArray) -> FloatArray:
    """Rows of a face's own frame: across, along, normal. Shape (faces, 3, 3)."""
    p, q = slopes.T
    one, none = np.ones_like(p), np.zeros_like(p)
    normal = np.stack([p, q, one], -1) / np.sqrt(1 + p**2 + q**2)[:, None]
    across = np.stack([one, none, -p], -1) / np.sqrt(1 + p**2)[:, None]
    return np.stack([across, np.cross(normal, across), normal], axis=1)


def _between_edges(
    low: FloatArray, high: FloatArray, count: int = _NODES
) -> tuple[FloatArray, FloatArray]:
    """Angles of nodes from the normal, and their weights; shape (faces, nodes)."""
    node, weight = np.polynomial.legendre.leggauss(count)
    angle = (low + high)[:, None] / 2 + (high - low)[:, None] / 2 * node
    return angle, ((high - low) / 2)[:, None] * weight


def _directions(
    nodes: tuple[FloatArray, FloatArray], left: FloatArray, right: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Directions and solid angles of nodes between ends; shape (faces, nodes, nodes)."""
    angle, share = nodes
    node, weight = np.polynomial.legendre.leggauss(angle.shape[1])
    turn = ((left + right) / 2)[..., None] + ((right - left) / 2)[..., None] * node
    u, v, cos = np.sin(angle)[..., None], np.cos(angle)[..., None], np.cos(turn)
    share = (share * (right - left) / 2)[..., None] * weight * cos
    return np.stack([np.sin(turn), u * cos, v * cos], -1), share


def _matt(strip: Strip, normals: FloatArray) -> FloatArray:
    """Irradiance of tilted faces over the lamp's radiance; points that see it alike share nodes."""
    nodes = _between_edges(*np.radians([[strip.low_deg], [strip.high_deg]]))
    directions, share = _directions(nodes, *strip.ends_at(nodes[0]))
    if len(directions) == 1:
        return np.asarray(np.maximum(normals @ directions.reshape(-1, 3).T, 0) @ share.ravel())
    falls = np.maximum(np.einsum("fabk,fk->fab", directions, normals), 0)
    return np.asarray(np.sum(falls * share, axis=(1, 2)))


def _gloss(strip: Strip, finish: Finish, view: FloatArray, frames: FloatArray) -> FloatArray:
    """Integrate the lobe over what of the lamp lies within its reach."""
    normal = frames[:, 2]
    facing = np.sum(normal * view, axis=-1)
    mirrored = 2 * facing[:, None] * normal - view
    angle, turn = np.arctan2(mirrored[:, 1], mirrored[:, 2]), np.arcsin(mirrored[:, 0])
    tall, wide = (2 * _REACH * each for each in (finish.rms_along, finish.rms_across))
    # far to the side a step along turns the light by more
    tall_at = tall / np.maximum(np.cos(turn), 0.1)
    low = np.maximum(np.radians(strip.low_deg), angle - tall_at)
    high = np.minimum(np.radians(strip.high_deg), angle + tall_at)
    found = np.zeros(len(frames))
    (some,) = np.nonzero((low < high) & (facing > 0))
    nodes = _between_edges(low[some], high[some], _OF_LOBE)
    ends = _part(strip, some).ends_at(nodes[0])
    left = np.maximum(ends[0], (turn[some] - wide)[:, None])
    right = np.maximum(np.minimum(ends[1], (turn[some] + wide)[:, None]), left)
    directions, share = _directions(nodes, left, right)
    own = np.einsum("fabk,fjk->fabj", directions, frames[some])
    seen = np.einsum("fjk,fk->fj", frames[some], view[some])[:, None, None, :]
    found[some] = np.sum(reflection(finish, own, seen) * share, axis=(1, 2))
    return found
