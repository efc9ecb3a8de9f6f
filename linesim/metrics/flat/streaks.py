"""Columns that differ from their neighbours: streaks along travel, and the worst of them."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.setup.arrays import FloatArray

BOX = 5
"""Columns of the running mean that is taken off (EMVA 1288 R4.0 RC, (84), line scan)."""
WHITE = float(np.sqrt(1 - 1 / BOX))
"""
What taking it off leaves of the standard deviation of columns that do not know of one another.

y less the mean of five of which it is one has the variance 1 - 1/5. The release candidate of the
standard divides by 0.80, which is the variance; its square root, 0.894, gives white noise back.
"""
WORST = 5
"""Columns that are always named."""
_MOST = 100
_CHANCE = 0.01
_MAD_TO_SD = 1.4826
# Sum of the squared autocorrelation of what is left of white noise: neighbours share a box.
_ALIKE = 1.45


@dataclass(frozen=True, slots=True, kw_only=True)
class Streak:
    """A column that differs from its neighbours."""

    column: int
    excess_dn: float
    strength: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Streaks:
    """How columns differ from their neighbours."""

    # shape (columns - 4,); means of the columns less the running mean of five, divided by √0.8,
    # from column 2 on [DN]
    high_pass_dn: FloatArray
    variance_dn2: Estimate  # of it, noise taken off [DN²]
    spread_dn: float  # robust standard deviation of it, noise and all [DN]
    # strength beyond which even one column is there by chance in only 1 % of lines like this
    limit: float
    count: int  # columns beyond it, up to 100
    worst: tuple[Streak, ...]  # the strongest, beyond the limit or not


def high_pass(by_column_dn: FloatArray) -> FloatArray:
    """Take the running mean of five columns off; white noise keeps its standard deviation."""
    box = np.convolve(by_column_dn, np.full(BOX, 1 / BOX), mode="valid")
    return (by_column_dn[BOX // 2 : -(BOX // 2)] - box) / WHITE


def streaks(by_column_dn: FloatArray, noise_dn2: Estimate) -> Streaks:
    """
    Find columns that stand out.

    Streaks wider than about three columns are partly taken for shading. The strongest column is
    taken out before the next is looked for, so that a strong one does not make its neighbours
    count. EMVA 1288 R4.0 RC (March 2021), (84) to (87) and C.5, with the factor as derived at
    `WHITE`.
    """
    left = high_pass(by_column_dn)
    spread_dn = _MAD_TO_SD * float(np.median(np.abs(left)))
    limit = NormalDist().inv_cdf(1 - _CHANCE / 2 / left.size)
    found = _strongest(by_column_dn, spread_dn, limit)
    seen, noise = float((left**2).mean()), noise_dn2.value
    fixed = max(seen - noise, 0.0)
    scatter = np.sqrt(_ALIKE * (4 * fixed * noise + 2 * noise**2) / left.size)
    return Streaks(
        high_pass_dn=left,
        variance_dn2=Estimate(value=seen - noise, sd=float(np.hypot(scatter, noise_dn2.sd))),
        spread_dn=spread_dn,
        limit=limit,
        count=sum(abs(each.strength) > limit for each in found),
        worst=tuple(found[:WORST]),
    )


def _strongest(by_column_dn: FloatArray, spread_dn: float, limit: float) -> list[Streak]:
    """Take columns out one by one, the strongest first, as long as they count."""
    rest, found = by_column_dn.copy(), list[Streak]()
    while spread_dn > 0 and len(found) < _MOST:
        left = high_pass(rest)
        at = int(np.argmax(np.abs(left)))
        strength = float(left[at]) / spread_dn
        if abs(strength) <= limit and len(found) >= min(WORST, left.size):
            break
        # a column that is h above its neighbours keeps 4/5 of that beside its box
        excess_dn = float(left[at]) * WHITE / (1 - 1 / BOX)
        rest[at + BOX // 2] -= excess_dn
        found.append(Streak(column=at + BOX // 2, excess_dn=excess_dn, strength=strength))
    return found
