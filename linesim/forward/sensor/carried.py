"""
Charge that stays behind, and is delivered with the lines that follow.

Lag: of all charge in a pixel a share l stays when its line is read, left_i = l (x_i + left_{i-1}),
and (1 - l)(x_i + left_{i-1}) is delivered. So a line has (1 - l) l^k of the charge of the line k
before it; transfer (1 - l)/|1 - l exp(-2πifd)| with d the advance of a line.

Stages of time-delay integration move charge on, once a line, and each transfer leaves a share ε of
it in its well for the packet behind, which is lag once a transfer. After m transfers the share
C(m+k-1, k) ε^k (1 - ε)^m is k lines late, the negative binomial distribution; transfer that of lag
to the power of m, near exp(-mε(1 - cos 2πfd)) (textbooks on charge-coupled devices, from memory).
Of n stages, charge of the first makes n transfers, of the last a single one: the mean over m = 1 to
n is taken.

Which electron stays is chance, so that parts of a Poisson count are independent Poisson counts:
expected electrons say all of it, and shot noise stays white (derived).
"""

from functools import lru_cache

import numpy as np
import scipy

from linesim.forward.geometry import Figure
from linesim.setup.arrays import FloatArray

_LEAST = 1e-5
"""Share of the charge that is later still, and left out."""
_LATEST = 64
"""Lines by which transfers make charge late at most: 1024 that leave 0.01 each, make it 10 late."""


@lru_cache(maxsize=32)
def trail(lag: float, inefficiency: float, stages: int) -> tuple[float, ...]:
    """
    Give the shares of a line's charge that are delivered with it, with the next line, and so on.

    Returns
    -------
    tuple of float; their sum is 1; a single one where nothing stays
    """
    shares = np.ones(1)
    if lag > 0:
        shares = (1 - lag) * lag ** np.arange(np.ceil(np.log(_LEAST) / np.log(lag)) + 1)
    if inefficiency > 0:
        shares = np.convolve(shares, _transferred(inefficiency, stages))
    kept = shares[: np.searchsorted(shares.cumsum(), 1 - _LEAST) + 1]
    return tuple((kept / kept.sum()).tolist())


def _transferred(inefficiency: float, stages: int) -> FloatArray:
    """Give the shares that are so many lines late, on the mean of 1 to n transfers."""
    late, transfers = np.arange(_LATEST)[:, None], np.arange(1, stages + 1)
    moved = (1 - inefficiency) ** transfers
    shares = scipy.special.binom(transfers + late - 1, late) * inefficiency**late * moved
    return np.asarray(shares.mean(axis=1))


def lag_mtf(lag: Figure, cycles: Figure) -> FloatArray:
    """
    Transfer of lag.

    Parameters
    ----------
    lag : float or ndarray; share that stays when a line is read
    cycles : float or ndarray; advance of a line times frequency

    Returns
    -------
    ndarray; 1 for no lag, or no cycles
    """
    turn = np.exp(-2j * np.pi * np.asarray(cycles))
    return np.asarray((1 - lag) / np.abs(1 - lag * turn))


def charge_transfer_mtf(inefficiency: Figure, stages: Figure, cycles: Figure) -> FloatArray:
    """
    Transfer of charge that its transfers leave behind.

    Parameters
    ----------
    inefficiency : float or ndarray; share that each transfer leaves behind
    stages : float or ndarray; of time-delay integration
    cycles : float or ndarray; advance of a line times frequency

    Returns
    -------
    ndarray; 1 for none, or no cycles
    """
    turn = np.exp(-2j * np.pi * np.asarray(cycles))
    lost = -inefficiency * (1 - turn) / (1 - inefficiency * turn)
    # mean of (1 + lost)^m over m = 1 to n, as a geometric sum
    nothing = np.abs(lost) < 1e-12  # noqa: PLR2004 -- far below any share that shows
    part = np.where(nothing, 1.0, lost)
    whole = (1 + part) * np.expm1(stages * np.log1p(part)) / (stages * part)
    return np.where(nothing, 1.0, np.abs(whole))
