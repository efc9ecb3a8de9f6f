"""
The kernel that samples on graphics processors, in Triton.

`_sampled` takes both products of a tile of lines and columns while it is on the chip: the reference
is read once, and nothing between the products is written. Tensor cores multiply numbers of 16 bits,
11 of them significant. So each factor is split into two, high and low, and the three larger of the
four products are added up in 32 bits: 22 significant bits stay. The reference lies split already:
splitting it here, number by number, took longer than its products.

The functions with a `_compiled` over them are handed to Triton's compiler as they stand: they are
written in its dialect and cannot be called from Python.

References
----------
S. Markidis et al., IEEE International Parallel and Distributed Processing Symposium Workshops, 2018
(a factor split in two). From memory.
"""

# ruff: noqa: C901, N803, PLR0912, PLR0913, PLR0915, PLR0917
# A kernel is one function to the compiler, knows no constants of this module, and has what is fixed
# at its compilation in capitals.

from __future__ import annotations

from collections.abc import Callable
from typing import Any

try:
    import triton
    import triton.language as tl
except ImportError:  # torch for other systems comes without; nothing here is called then
    triton = None


def _compiled(function: Callable[..., Any]) -> Any:  # noqa: ANN401 -- Triton has no type for it
    """Hand a function to Triton, where there is one."""
    return function if triton is None else triton.jit(function)


@_compiled
def _inside(index: tl.tensor, size: tl.tensor, repeat: tl.constexpr) -> tl.tensor:
    """Bring rows into the reference: around again, or to its border."""
    if repeat:
        return ((index % size) + size) % size
    return tl.minimum(tl.maximum(index, 0), size - 1)


@_compiled
def _split(value: tl.tensor) -> tl.tensor:
    """Part numbers into a high and a low half."""
    high = value.to(tl.float16)
    return high, (value - high.to(tl.float32)).to(tl.float16)


@_compiled
def _exact(
    a_high: tl.tensor,
    a_low: tl.tensor,
    b_high: tl.tensor,
    b_low: tl.tensor,
    total: tl.tensor,
) -> tl.tensor:
    """Add the product of two split matrices to a total."""
    total = tl.dot(a_low, b_high, total)
    total = tl.dot(a_high, b_low, total)
    return tl.dot(a_high, b_high, total)


@_compiled
def _sampled(
    seen: tl.tensor,
    low_y: tl.tensor,
    which_y: tl.tensor,
    weights_y: tl.tensor,
    low_x: tl.tensor,
    which_x: tl.tensor,
    weights_x: tl.tensor,
    out: tl.tensor,
    rows: tl.tensor,
    stride: tl.tensor,
    lines: tl.tensor,
    width: tl.tensor,
    tiles_y: tl.tensor,
    tiles_x: tl.tensor,
    between: tl.tensor,
    down: tl.tensor,
    INSIDE: tl.constexpr,
    ALIGN: tl.constexpr,
    REPEAT: tl.constexpr,
    MORE: tl.constexpr,
    USED_Y: tl.constexpr,
    USED_X: tl.constexpr,
    SIZE_Y: tl.constexpr,
    SIZE_X: tl.constexpr,
    SEEN_Y: tl.constexpr,
    SEEN_X: tl.constexpr,
    STEP_Y: tl.constexpr,
    STEP_X: tl.constexpr,
    GROUP: tl.constexpr,
) -> None:
    """Take Σ_k W_k · R · X_k for one tile, all of them split and scaled before."""
    # some columns of tiles at a time, so that what neighbours share stays in the cache
    place = tl.program_id(0)
    first_x = place // (GROUP * tiles_y) * GROUP
    inside = place % (GROUP * tiles_y)
    tile_y, tile_x = inside // GROUP, first_x + inside % GROUP
    if tile_x >= tiles_x:
        return
    in_y, in_x = tl.arange(0, SIZE_Y), tl.arange(0, SIZE_X)
    step_y, step_x = tl.arange(0, STEP_Y), tl.arange(0, STEP_X)
    part_seen = rows.to(tl.int64) * stride
    row0, column0 = tl.load(low_y + tile_y), tl.multiple_of(tl.load(low_x + tile_x), ALIGN)
    # matrices lie as [kind, term, high or low, ...]
    part_y: tl.constexpr = SIZE_Y * SEEN_Y
    part_x: tl.constexpr = SIZE_X * SEEN_X
    w = weights_y + tl.load(which_y + tile_y).to(tl.int64) * ((1 + MORE) * 2 * part_y)
    x = weights_x + tl.load(which_x + tile_x).to(tl.int64) * ((1 + MORE) * 2 * part_x)
    total = tl.zeros((SIZE_Y, SIZE_X), dtype=tl.float32)
    for from_x in range(0, SEEN_X, STEP_X):
        column = column0 + from_x + step_x
        blur0 = tl.zeros((SIZE_Y, STEP_X), dtype=tl.float32)
        blur1 = tl.zeros((SIZE_Y, STEP_X), dtype=tl.float32)
        blur2 = tl.zeros((SIZE_Y, STEP_X), dtype=tl.float32)
        for from_y in range(0, SEEN_Y, STEP_Y):
            row = row0 + from_y + step_y
            if not INSIDE:
                row = _inside(row, rows, REPEAT)
            at_seen = seen + row.to(tl.int64)[:, None] * stride + column[None, :]
            high, low = tl.load(at_seen), tl.load(at_seen + part_seen)
            at = w + in_y[:, None] * SEEN_Y + (from_y + step_y)[None, :]
            blur0 = _exact(tl.load(at), tl.load(at + part_y), high, low, blur0)
            if MORE > 0:
                at1 = at + 2 * part_y
                blur1 = _exact(tl.load(at1), tl.load(at1 + part_y), high, low, blur1)
            if MORE > 1:
                at2 = at + 4 * part_y
                blur2 = _exact(tl.load(at2), tl.load(at2 + part_y), high, low, blur2)
        to = x + (from_x + step_x)[:, None] * SIZE_X + in_x[None, :]
        high0, low0 = _split(blur0 * between)
        total = _exact(high0, low0, tl.load(to), tl.load(to + part_x), total)
        if MORE > 0:
            to1 = to + 2 * part_x
            high1, low1 = _split(blur1 * between)
            total = _exact(high1, low1, tl.load(to1), tl.load(to1 + part_x), total)
        if MORE > 1:
            to2 = to + 4 * part_x
            high2, low2 = _split(blur2 * between)
            total = _exact(high2, low2, tl.load(to2), tl.load(to2 + part_x), total)
    line, place_x = tile_y * USED_Y + in_y, tile_x * USED_X + in_x
    kept = ((in_y < USED_Y) & (line < lines))[:, None] & ((in_x < USED_X) & (place_x < width))
    to = out + line.to(tl.int64)[:, None] * width + place_x[None, :]
    tl.store(to, total * down, mask=kept)
