"""
Which keys captures tell apart: what is left of a key's information once others may vary.

In the order of the list, each key's information is split into what the keys before it take and the
rest. Where next to nothing is left, the key moves captures as those before it do together, and no
capture of this kind tells it: it is left as the setup has it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray

LEAST_LEFT = 1e-4
"""Share of a key's information that must be left: errors then grow a hundredfold; our choice."""
_PARTNER = 0.2
"""Part of the largest partner's from which on another is named; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """A key that moves captures as others do."""

    index: int
    # of the keys before it that do the same together; empty: it does nothing
    partners: tuple[int, ...] = ()
    correlation: float = 0.0  # of what it does with what those do


def without_places(information: FloatArray, keys: int, held: FloatArray) -> FloatArray:
    """
    Give the information on keys that is left when places may vary.

    Parameters
    ----------
    information : ndarray of shape (n, n); keys first
    held : ndarray of shape (n - keys,); what holds places that captures do not tell
    """
    own, mixed = information[:keys, :keys], information[:keys, keys:]
    places = information[keys:, keys:] + np.diag(held)
    return np.asarray(own - mixed @ np.linalg.solve(places, mixed.T))


def alike(information: FloatArray, effective: NDArray[np.bool_]) -> tuple[Alike, ...]:
    """
    Find the keys that captures do not tell apart.

    Parameters
    ----------
    information : ndarray of shape (keys, keys); places taken out
    effective : ndarray of bool, shape (keys,); whether a key does anything at all

    Returns
    -------
    tuple of Alike; in the order of the keys
    """
    kept: list[int] = []
    found: list[Alike] = []
    for index in range(len(information)):
        whole = float(information[index, index])
        if not effective[index] or whole <= 0:
            found.append(Alike(index=index))
            continue
        at = np.array(kept, dtype=int)
        part = np.linalg.pinv(information[np.ix_(at, at)], hermitian=True) @ information[at, index]
        left = 1 - float(part @ information[at, index]) / whole
        if left >= LEAST_LEFT:
            kept.append(index)
            continue
        weight = np.abs(part) * np.sqrt(np.diag(information)[at])
        named = at[weight >= _PARTNER * weight.max()]
        sign = float(np.sign(information[named[0], index])) if len(named) == 1 else 1.0
        found.append(
            Alike(
                index=index,
                partners=tuple(int(each) for each in named),
                correlation=sign * float(np.sqrt(np.clip(1 - left, 0.0, 1.0))),
            )
        )
    return tuple(found)


def correlations(covariance: FloatArray) -> FloatArray:
    """
    Give the correlations of a covariance.

    Parameters
    ----------
    covariance : ndarray of shape (n, n)
    """
    size = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    return np.asarray(np.clip(covariance / np.outer(size, size), -1, 1))


def shares(covariance: FloatArray, parts: Sequence[FloatArray], index: int) -> tuple[float, ...]:
    """
    Say what part of the information tells a key, all others free to vary.

    Parameters
    ----------
    covariance : ndarray of shape (n, n); the inverse of the sum of the parts
    parts : sequence of ndarray of shape (n, n)
    """
    alone = covariance[index]
    each = np.array([max(float(alone @ part @ alone), 0.0) for part in parts])
    return tuple((each / max(each.sum(), 1e-300)).tolist())
