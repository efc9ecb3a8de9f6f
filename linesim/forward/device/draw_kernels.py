"""
The kernels that draw numpy's noise, in Triton: `_walked` its random words, `_drawn` its numbers.

`_walked` goes along the chain of numpy's generator SFC64: of a state a, b, c, n the word is
t = a + b + n, and next are b ^ (b >> 11), c + (c << 3), c rotated by 24 bits + t, n + 1. `_drawn`
takes a sample's two words from where ``draws`` does, and its formulas.
"""

# ruff: noqa: N803, PLR0913, PLR0915, PLR0917
# as in `kernels`: one function to the compiler, in capitals what is fixed at its compilation

from __future__ import annotations

from linesim.forward.device.kernels import _compiled

try:
    import triton.language as tl
except ImportError:  # torch for other systems comes without; nothing here is called then
    tl = None


@_compiled
def _walked(
    states: tl.tensor,
    words: tl.tensor,
    strips: tl.tensor,
    count: tl.tensor,
    LANES: tl.constexpr,
    STEPS: tl.constexpr,
) -> None:
    """Go along the streams of some strips, side by side, so many words at a time."""
    strip = tl.program_id(0).to(tl.int64) * LANES + tl.arange(0, LANES)
    kept = strip < strips
    a = tl.load(states + strip * 4, mask=kept, other=0).to(tl.uint64, bitcast=True)
    b = tl.load(states + strip * 4 + 1, mask=kept, other=0).to(tl.uint64, bitcast=True)
    c = tl.load(states + strip * 4 + 2, mask=kept, other=0).to(tl.uint64, bitcast=True)
    n = tl.load(states + strip * 4 + 3, mask=kept, other=0).to(tl.uint32)  # counts words: few
    to = words + strip * count
    for _ in range(0, count, STEPS):
        for step in tl.static_range(STEPS):
            word = a + b + (n + step).to(tl.uint64)
            a = b ^ (b >> 11)
            b = c * 9
            c = ((c << 24) | (c >> 40)) + word
            tl.store(to + step, word.to(tl.int64, bitcast=True), mask=kept)
        n += STEPS
        to += STEPS


@_compiled
def _drawn(
    expected: tl.tensor,
    words: tl.tensor,
    image: tl.tensor,
    response: tl.tensor,
    offset: tl.tensor,
    lines: tl.tensor,
    width: tl.tensor,
    stride: tl.tensor,
    dark_e: tl.tensor,
    read_e: tl.tensor,
    gain_dn_e: tl.tensor,
    black_dn: tl.tensor,
    full_dn: tl.tensor,
    STRIP: tl.constexpr,
    CHUNK: tl.constexpr,
    SIZE: tl.constexpr,
) -> None:
    """Draw the numbers of a piece of one line: count and read noise together."""
    line = tl.program_id(0)
    column = tl.program_id(1) * SIZE + tl.arange(0, SIZE)
    kept = column < width
    place = line.to(tl.int64) * width + column
    mean = tl.load(expected + place, mask=kept, other=64.0)
    mean *= tl.load(response + column, mask=kept, other=1.0)
    mean = tl.maximum(mean + dark_e, 0.0)
    # a strip is drawn in pieces: cosines of the first words, then sines of the same
    strip = line // STRIP
    flat = (line - strip * STRIP) * width + column
    total = tl.minimum(lines - strip * STRIP, STRIP) * width
    low = flat // CHUNK * CHUNK
    pairs = (tl.minimum(total - low, CHUNK) + 1) // 2
    inside = flat - low
    later = inside >= pairs
    at = words + strip.to(tl.int64) * stride + low + tl.where(later, inside - pairs, inside)
    first = tl.load(at, mask=kept, other=1).to(tl.uint32, bitcast=True)
    second = tl.load(at + pairs, mask=kept, other=1)
    radius = tl.sqrt(-2 * tl.log((first.to(tl.float32) + 0.5) * (2.0**-32)))
    angle = second.to(tl.float32) * (3.141592653589793 * 2.0**-31)
    w = radius * tl.where(later, tl.sin(angle), tl.cos(angle))
    s = mean + read_e * read_e
    a = mean / s
    s = tl.sqrt(s)
    squared = w * w
    x = ((squared * (-1 / 18) + 5 / 36) * a + squared * (1 / 24) - 1 / 8) * w / s
    x = (x + squared * (1 / 6) - 1 / 6) * a + w * s
    charge = mean + x + tl.load(offset + column, mask=kept, other=0.0)
    value = tl.minimum(tl.maximum(charge * gain_dn_e + black_dn + 0.5, 0.0), full_dn)
    tl.store(image + place, value.to(tl.int32).to(tl.uint16), mask=kept)
