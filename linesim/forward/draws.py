"""
Random draws on float32 blocks, in place: shot noise, read noise, and their sum.

Every function walks through its block in pieces and draws from the generator it is given, so two
threads may work on two blocks with a generator each. What is drawn depends on the block's contents
and the generator only. The size of the pieces is part of the stream: another `CHUNK` gives other,
equally good, noise. numpy's log, sine and cosine may differ in the last bit between kinds of
processor, and so may the draws. ``numpy.random.SFC64`` is the quickest bit generator here.

The expansions below are Cornish-Fisher expansions: from the cumulants of a distribution they give
the value x(w) that leaves as much probability below it as a standard normal leaves below w. A
distribution with mean λ, variance V and higher cumulants κ3, κ4, κ5 has, with s = √V, one order of
1/s a line::

    x = λ + s w
          + κ3/V (w² − 1)/6
          + κ4/s³ (w³ − 3w)/24 − κ3²/s⁵ (2w³ − 5w)/36
          + κ5/s⁴ (w⁴ − 6w² + 3)/120 − κ3 κ4/s⁶ (w⁴ − 5w² + 2)/24 + κ3³/s⁸ (12w⁴ − 53w² + 17)/324

Every cumulant of a Poisson count is λ.

References
----------
E. A. Cornish, R. A. Fisher, "Moments and cumulants in the specification of distributions", 1937
(the expansion). M. B. Giles, "Algorithm 955", ACM Transactions on Mathematical Software 42, 2016
(expand for the normal, then round down). G. E. P. Box, M. E. Muller, "A note on the generation of
random normal deviates", 1958. All from memory: the coefficients are derived below and held against
scipy in tests/outside/test_poisson_chisquare.py.
"""

from collections.abc import Iterator

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from linesim.setup.arrays import ImageArray

CHUNK = 262_144
"""
Samples in one piece: 1 MiB of float32.

Smaller pieces fit a nearer cache but are slower: two threads meet at the interpreter's lock between
the thirty array operations of a piece. With pieces of 8192 they take five times as long.
"""

BRIGHT_E = 32.0
"""Mean count from which the expansion takes the place of numpy's exact Poisson draw. [e]."""

FUSED_SD_E = 4.0
"""Least standard deviation for which count and normal noise are drawn as one number. [e]."""


def poisson_in_place(mean: ImageArray, rng: Generator) -> None:
    """
    Replace mean counts by Poisson counts.

    Means below `BRIGHT_E` are drawn by ``rng.poisson``, about ten times as slow, the others by
    `poisson_quantile` of a standard normal. From there on the expansion is so close that 10⁸
    draws of one mean do not tell it from the true distribution by a chi-square test (worst at 32:
    the expected chi-square rises by 0.13 of its own standard deviation).
    """
    for piece, scratch in _pieces(mean, 3):
        _draw_counts(piece, scratch, rng)


def add_normal_in_place(block: ImageArray, sd: float, rng: Generator) -> None:
    """Add normal noise of mean 0."""
    for piece, scratch in _pieces(block, 1):
        _add_normal(piece, sd, scratch[0], rng)


def poisson_plus_normal_in_place(mean: ImageArray, sd: float, rng: Generator) -> None:
    """
    Replace mean counts by the sum of a Poisson count and normal noise.

    From `FUSED_SD_E` on one normal number a sample gives the sum, by `poisson_normal_quantile`:
    neither the count nor the noise alone exists, so use this only where nothing (a full well,
    say) happens between the two. 10⁸ draws of one mean do not tell the sum from the true
    distribution (worst at a standard deviation of 4 and a mean of 16: chi-square up by 0.09 of
    its own standard deviation). Below, count and noise are drawn one after the other.
    """
    for piece, scratch in _pieces(mean, 5):
        if sd >= FUSED_SD_E:
            fill_standard_normal(scratch[0], rng)
            poisson_normal_quantile(piece, sd, scratch)
        else:
            _draw_counts(piece, scratch, rng)
            _add_normal(piece, sd, scratch[0], rng)


def fill_standard_normal(out: ImageArray, rng: Generator) -> None:
    """Fill a row with standard normals, about three times as fast as ``rng.standard_normal``."""
    words = rng.integers(2**64, size=(out.size + 1) // 2, dtype=np.uint64)
    normals_from_words(words.view(np.uint32), out)


def normals_from_words(words: NDArray[np.uint32], out: ImageArray) -> None:
    """
    Turn random words into pairs of standard normals.

    Box and Muller: √(−2 ln u) cos θ and √(−2 ln u) sin θ, with u uniform on (0, 1] and θ on a full
    turn, are two independent standard normals. The least u is 2⁻³³, so no normal lies beyond
    ±6.77 (true share beyond: 10⁻¹¹).
    """
    pairs = words.size // 2
    radius = words[:pairs].astype(np.float32)
    radius += np.float32(0.5)
    radius *= np.float32(2.0**-32)
    np.log(radius, out=radius)
    radius *= np.float32(-2)
    np.sqrt(radius, out=radius)
    angle = words[pairs:].view(np.int32).astype(np.float32)
    angle *= np.float32(np.pi * 2.0**-31)
    cosine, sine = out[:pairs], out[pairs:]
    np.cos(angle, out=cosine)
    cosine *= radius
    np.sin(angle[: sine.size], out=sine)
    sine *= radius[: sine.size]


def poisson_quantile(mean: ImageArray, scratch: ImageArray) -> None:
    """
    Turn mean counts and standard normals into Poisson counts, by the expansion to order 1/λ.

    Let the count be a smooth variable rounded to the nearest whole number. The smooth variable
    plus a uniform one of width 1 then has the count's cumulants; the uniform's are 1/12 and, too
    small to matter, −1/120. So the smooth variable has V = λ − 1/12 and all else λ; adding ½, so
    that rounding is always down, makes its mean λ + ½.
    Put into the expansion of this module and ordered anew in powers of λ::

        x = λ + √λ w + (w² + 2)/6 − (w³ + 2w)/(72 √λ) + (3w⁴ + 7w² − 16)/(810 λ)

    and the count is x rounded down. The code has v = w/√λ, which leaves one division.
    """
    v, x, small = scratch[:3]
    np.sqrt(mean, out=x)
    v /= x
    # λ v (1 + v/6 − v²/72 + v³/270)
    _horner(v, (1 / 270, -1 / 72, 1 / 6, 1.0), out=x)
    x *= v
    x *= mean
    # 1/3 − v/36 + 7v²/810 − 8/(405 λ)
    _horner(v, (7 / 810, -1 / 36, 1 / 3), out=small)
    x += small
    np.divide(np.float32(-8 / 405), mean, out=small)
    x += small
    # λ comes last: one rounding to float32's grid at the full count instead of one a term
    mean += x
    np.floor(mean, out=mean)


def poisson_normal_quantile(mean: ImageArray, sd: float, scratch: ImageArray) -> None:
    """
    Turn mean counts and standard normals into count plus normal noise, to order 1/s.

    The sum has V = λ + sd² and all higher cumulants λ; with a = λ/V the expansion is::

        x = λ + s w + a (w² − 1)/6 + a/s ((w³ − 3w)/24 − a (2w³ − 5w)/36)

    What the whole numbers of the count leave in the sum is exp(−2π² sd²), nothing from 1 e on.
    """
    w, s, a, squared, x = scratch
    np.add(mean, np.float32(sd * sd), out=s)
    np.divide(mean, s, out=a)
    np.sqrt(s, out=s)
    np.multiply(w, w, out=squared)
    # w/s ((w² − 3)/24 − a (2w² − 5)/36)
    _horner(squared, (-1 / 18, 5 / 36), out=x)
    x *= a
    squared *= np.float32(1 / 24)
    x += squared
    x -= np.float32(1 / 8)
    x *= w
    x /= s
    # (w² − 1)/6
    squared *= np.float32(4)
    x += squared
    x -= np.float32(1 / 6)
    x *= a
    w *= s
    x += w
    mean += x


def _draw_counts(mean: ImageArray, scratch: ImageArray, rng: Generator) -> None:
    """Poisson counts of one piece: the dark ones first, so that the order of draws is fixed."""
    dark = np.flatnonzero(mean < BRIGHT_E)
    dark_counts = rng.poisson(mean[dark])
    if dark.size < mean.size:
        fill_standard_normal(scratch[0], rng)
        np.maximum(mean, np.float32(BRIGHT_E), out=mean)
        poisson_quantile(mean, scratch)
    mean[dark] = dark_counts


def _add_normal(piece: ImageArray, sd: float, scratch: ImageArray, rng: Generator) -> None:
    """Add normal noise to one piece."""
    if sd > 0:
        fill_standard_normal(scratch, rng)
        scratch *= np.float32(sd)
        piece += scratch


def _horner(v: ImageArray, coefficients: tuple[float, ...], *, out: ImageArray) -> None:
    """Polynomial in v, highest power first; two coefficients or more."""
    np.multiply(v, np.float32(coefficients[0]), out=out)
    for coefficient in coefficients[1:-1]:
        out += np.float32(coefficient)
        out *= v
    out += np.float32(coefficients[-1])


def _pieces(block: ImageArray, rows: int) -> Iterator[tuple[ImageArray, ImageArray]]:
    """Walk through a block in order: flat views of up to `CHUNK` samples, and scratch rows."""
    if not block.flags.c_contiguous:  # reshape would give a copy, and the draws would be lost
        msg = f"the block must be C-contiguous, got strides {block.strides} for {block.shape}"
        raise ValueError(msg)
    flat = block.reshape(-1)
    scratch = np.empty((rows, min(CHUNK, flat.size)), dtype=np.float32)
    for first in range(0, flat.size, CHUNK):
        piece = flat[first : first + CHUNK]
        yield piece, scratch[:, : piece.size]
