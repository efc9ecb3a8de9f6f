"""
The light that a face sends to the camera under a line light: its radiance factor, by its slopes.

The radiance factor β (CIE) is the radiance over that of a perfect diffuser under the same light.
Light falls on a level face with the irradiance E; a facet of the face has slopes (p, q) across and
along, so that its normal is (p, q, 1). The lamp is a strip of even radiance L along the line, seen
between two angles a and b from the normal in the plane of travel; E = (π/2) L (sin b - sin a) if it
is endless. Then β has two parts:

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

from dataclasses import dataclass

import numpy as np
from scipy.special import erf

from linesim.setup.arrays import FloatArray

_NODES = 16
"""Of Gauss and Legendre each way, over at most 6 standard deviations of the lobe to each side."""
_REACH = 6.0
_CHUNK = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """
    How a face mirrors.

    Parameters
    ----------
    gloss : float
        Mirror reflectance at normal incidence.
    rms_across, rms_along : float
        Rms slopes of the facets across the web and along travel.
    """

    gloss: float
    rms_across: float
    rms_along: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """
    A line light as a point of the target sees it.

    Parameters
    ----------
    low_deg, high_deg : float
        Its edges from the normal in the plane of travel, positive away from the camera. [deg]
    left, right : float
        Tangents of the angles at which its ends are seen along the line; infinite: endless.
    """

    low_deg: float
    high_deg: float
    left: float = -np.inf
    right: float = np.inf

    @property
    def level(self) -> float:
        """Irradiance of a level face over the radiance of the lamp."""
        low, high = np.sin(np.radians([self.low_deg, self.high_deg]))
        return float((high - low) * (_squares(self.right) - _squares(self.left)))


def _squares(tangent: float) -> float:
    """Integrate cos² from 0 to the angle of a tangent."""
    angle = np.arctan(tangent)
    return float(angle / 2 + np.sin(2 * angle) / 4)


def facet_reflectance(gloss: float, cosine: FloatArray) -> FloatArray:
    """Mirror reflectance at an angle of incidence, by Schlick's law."""
    return gloss + (1 - gloss) * (1 - cosine) ** 5


def reflection(finish: Finish, light: FloatArray, view: FloatArray) -> FloatArray:
    """
    Give the glossy part of the reflection, f, times what the light's incidence takes of it.

    Parameters
    ----------
    finish : Finish
        Of the face.
    light, view : ndarray of shape (..., 3)
        Directions to lamp and camera in the face's own frame, of length 1.

    Returns
    -------
    ndarray
        f (n·i), [1/sr]; 0 where either lies below the face.
    """
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


def _hidden(way: FloatArray, wide: float, tall: float) -> FloatArray:
    """Smith's Λ of Beckmann facets: how much of a face hides behind its own facets."""
    across = np.hypot(way[..., 0] * wide, way[..., 1] * tall)
    a = way[..., 2] / np.maximum(across, 1e-12)
    return np.asarray((erf(a) - 1) / 2 + np.exp(-(a**2)) / (2 * a * np.sqrt(np.pi)))


def radiance_factors(
    strip: Strip, finish: Finish | None, view: FloatArray, slopes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """
    Give what faces of some slopes send to the camera.

    Parameters
    ----------
    strip : Strip
        The lamp.
    finish : Finish or None
        Of the face; None: matt.
    view : ndarray of shape (3,)
        Direction to the camera: across, along, up.
    slopes : ndarray of shape (faces, 2)
        Tangents by which the normal leans across and along.

    Returns
    -------
    matt : ndarray of shape (faces,)
        Radiance factor of a perfect diffuser.
    gloss : ndarray of shape (faces,)
        Of the mirroring part.
    """
    matt, gloss = np.zeros(len(slopes)), np.zeros(len(slopes))
    for first in range(0, len(slopes), _CHUNK):
        part = slice(first, first + _CHUNK)
        frames = _frames(slopes[part])
        matt[part] = _matt(strip, frames[:, 2])
        if finish is not None:
            gloss[part] = _gloss(strip, finish, view / np.linalg.norm(view), frames)
    return matt / strip.level, gloss * np.pi / strip.level


def _frames(slopes: FloatArray) -> FloatArray:
    """Rows of a face's own frame: across, along, normal. Shape (faces, 3, 3)."""
    p, q = slopes.T
    one, none = np.ones_like(p), np.zeros_like(p)
    normal = np.stack([p, q, one], -1) / np.sqrt(1 + p**2 + q**2)[:, None]
    across = np.stack([one, none, -p], -1) / np.sqrt(1 + p**2)[:, None]
    return np.stack([across, np.cross(normal, across), normal], axis=1)


def _directions(
    low: FloatArray, high: FloatArray, left: FloatArray, right: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Directions and solid angles of nodes between angles; shape (faces, nodes, nodes)."""
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    angle = (low + high)[:, None] / 2 + (high - low)[:, None] / 2 * node
    turn = (left + right)[:, None] / 2 + (right - left)[:, None] / 2 * node
    u, v = np.sin(angle)[:, :, None], np.cos(angle)[:, :, None]
    cos = np.cos(turn)[:, None, :]
    side = np.broadcast_to(np.sin(turn)[:, None, :], (len(low), _NODES, _NODES))
    share = ((high - low) * (right - left) / 4)[:, None, None] * weight[:, None] * weight * cos
    return np.stack([side, u * cos, v * cos], -1), share


def _matt(strip: Strip, normals: FloatArray) -> FloatArray:
    """Irradiance of tilted faces over the lamp's radiance, by one set of nodes for all of them."""
    low, high = np.radians([[strip.low_deg], [strip.high_deg]])
    left, right = np.arctan([[strip.left], [strip.right]])
    way, share = _directions(low, high, left, right)
    falls = np.maximum(normals @ way.reshape(-1, 3).T, 0)
    return np.asarray(falls @ share.ravel())


def _gloss(strip: Strip, finish: Finish, view: FloatArray, frames: FloatArray) -> FloatArray:
    """Integrate the lobe over what of the lamp lies within its reach."""
    normal = frames[:, 2]
    mirrored = 2 * (normal @ view)[:, None] * normal - view
    angle, turn = np.arctan2(mirrored[:, 1], mirrored[:, 2]), np.arcsin(mirrored[:, 0])
    tall, wide = (2 * _REACH * each for each in (finish.rms_along, finish.rms_across))
    # far to the side a step along turns the light by more
    tall_at = tall / np.maximum(np.cos(turn), 0.1)
    low = np.maximum(np.radians(strip.low_deg), angle - tall_at)
    high = np.minimum(np.radians(strip.high_deg), angle + tall_at)
    left = np.maximum(np.arctan(strip.left), turn - wide)
    right = np.minimum(np.arctan(strip.right), turn + wide)
    found = np.zeros(len(frames))
    (some,) = np.nonzero((low < high) & (left < right) & (normal @ view > 0))
    way, share = _directions(low[some], high[some], left[some], right[some])
    own = np.einsum("fabk,fjk->fabj", way, frames[some])
    seen = (frames[some] @ view)[:, None, None, :]
    found[some] = np.sum(reflection(finish, own, seen) * share, axis=(1, 2))
    return found
