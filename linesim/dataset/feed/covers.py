"""
The share of each pixel that outlines cover, of many windows at once, on a device.

As `linesim.defects.edges.covered` has it, by Green's theorem; but an edge is cut in two turns, at
the borders of rows, then of columns, where each piece follows from the edge alone and nothing need
be sorted. What the pieces add is summed up in whole numbers of 2⁻⁴⁴, whose sum hangs on no order:
so a device with thousands of threads gives the same cover every time, and one sum that runs through
all windows gives each row's own, exactly.
"""

from typing import TYPE_CHECKING

import numpy as np

from linesim.dataset.feed.outlines import Outlines

if TYPE_CHECKING:
    import torch

_UNIT = 2.0**44
_ROUNDING = 1e-9  # as `covered` has it


def covers_on(outlines: Outlines, device: "torch.device") -> "list[torch.Tensor]":
    """
    Work out the covers of all windows.

    Parameters
    ----------
    outlines : Outlines; at least one
    device : torch.device

    Returns
    -------
    list of tensor; float32, of each window's rows and columns; share of each pixel, 0 to 1
    """
    import torch  # noqa: PLC0415 -- an extra

    rows, columns = outlines.shapes.T
    sizes = rows * (columns + 1)
    firsts = np.cumsum(sizes) - sizes
    table = np.stack([rows, columns, firsts, outlines.counts])
    on = torch.from_numpy(table).to(device, non_blocking=True)
    steps_px = torch.from_numpy(outlines.steps_px).to(device, non_blocking=True)
    owner = torch.repeat_interleave(on[3], output_size=len(outlines.starts))
    ends, weights = _edges(outlines, device)
    ends = ends * steps_px[owner, None]
    windows = on[0, owner], on[1, owner], on[2, owner]
    steps = torch.zeros(int(sizes.sum()) + 1, dtype=torch.int64, device=device)
    _add(steps, *_by_columns(*_by_rows(ends, weights, windows)))
    shares = _summed(steps[:-1], on, int(rows.sum()))
    # behind the last column of a window is one more place
    return [
        shares[first : first + size].view(high, wide + 1)[:, :wide]
        for first, size, high, wide in zip(
            *(each.tolist() for each in (firsts, sizes, rows, columns)), strict=True
        )
    ]


def _edges(outlines: Outlines, device: "torch.device") -> "tuple[torch.Tensor, torch.Tensor]":
    """Bring edges to the device: x and y of their starts, then of their ends; and their weights."""
    import torch  # noqa: PLC0415 -- an extra

    starts, breaks, stops, weights, runs = (
        torch.from_numpy(each).to(device, non_blocking=True)
        for each in (
            *(outlines.starts, outlines.breaks, outlines.stops),
            *(outlines.weights, outlines.runs),
        )
    )
    ends = starts.roll(-1, dims=0)
    ends[breaks] = stops
    each = torch.repeat_interleave(weights.double(), runs, output_size=len(starts))
    return torch.cat([starts, ends], dim=1), each


def _by_rows(
    ends: "torch.Tensor", weights: "torch.Tensor", windows: "tuple[torch.Tensor, ...]"
) -> "tuple[torch.Tensor, ...]":
    """Cut edges where they leave a row; give both places across, the climb, and the row's place."""
    import torch  # noqa: PLC0415 -- an extra

    rows, columns, firsts = windows
    x0, y0, x1, y1 = ends.unbind(1)
    low, high = torch.minimum(y0, y1), torch.maximum(y0, y1)
    begin = low.floor().clamp_(min=0)
    count = (torch.minimum(high.ceil(), rows.double()) - begin).clamp_(min=0).long()
    edge, turn = _repeated(count)
    row = begin[edge] + turn
    at = [torch.minimum(torch.maximum(y[edge], row), row + 1) for y in (y0, y1)]
    slope = ((x1 - x0) / (y1 - y0))[edge]
    x0e, y0e = x0[edge], y0[edge]
    across = [x0e + (y - y0e) * slope for y in at]
    climb = weights[edge] * (at[0] - at[1])
    width = columns[edge]
    return *across, climb, firsts[edge] + row.long() * (width + 1), width


def _by_columns(
    x0: "torch.Tensor",
    x1: "torch.Tensor",
    climb: "torch.Tensor",
    place: "torch.Tensor",
    width: "torch.Tensor",
) -> "tuple[torch.Tensor, ...]":
    """Cut pieces where they leave a column; all on the left of the window is one column more."""
    import torch  # noqa: PLC0415 -- an extra

    low, high = torch.minimum(x0, x1), torch.maximum(x0, x1)
    begin = low.floor().clamp_(min=-1)
    # one that stands upright lies in the column that it stands in
    last = torch.maximum(high.ceil().clamp_(min=0), begin + 1)
    count = (torch.minimum(last, width.double()) - begin).clamp_(min=0)
    piece, turn = _repeated(count.long())
    column, low, high = begin[piece] + turn, low[piece], high[piece]
    left = column < 0
    start = torch.where(left, low, torch.maximum(low, column))
    stop = torch.minimum(high, column + 1)
    span = high - low
    share = torch.where(span > 0, (stop - start) / span.clamp(min=1e-300), 1.0)
    own = climb[piece] * share
    late = torch.where(left, 0.0, own * ((start + stop) / 2 - column))
    return place[piece] + column.clamp(min=0).long(), own, late


def _repeated(count: "torch.Tensor") -> "tuple[torch.Tensor, torch.Tensor]":
    """Name the owner of each of so many, and count them within it."""
    import torch  # noqa: PLC0415 -- an extra

    past = count.cumsum(0)
    total = int(past[-1]) if len(past) else 0
    owner = torch.repeat_interleave(count, output_size=total)
    return owner, torch.arange(total, device=count.device) - (past - count)[owner]


def _add(
    steps: "torch.Tensor", place: "torch.Tensor", climb: "torch.Tensor", late: "torch.Tensor"
) -> None:
    """Add up by how much the share grows from one column to the next, and the one behind it."""
    first, second = ((part * _UNIT).round_().long() for part in (climb - late, late))
    steps.index_add_(0, place, first)
    steps.index_add_(0, place + 1, second)


def _summed(steps: "torch.Tensor", table: "torch.Tensor", lines: int) -> "torch.Tensor":
    """Sum up each row; whole numbers may run over, and their differences are right all the same."""
    import torch  # noqa: PLC0415 -- an extra

    rows, columns, firsts, _ = table.unbind(0)
    total = steps.cumsum(0)
    owner = torch.repeat_interleave(rows, output_size=lines)
    line = torch.arange(lines, device=steps.device) - (rows.cumsum(0) - rows)[owner]
    wide = (columns + 1)[owner]
    begin = firsts[owner] + line * wide
    before = torch.where(begin > 0, total[(begin - 1).clamp(min=0)], 0)
    at = torch.repeat_interleave(wide, output_size=len(steps))
    share = (total - before[at]).double() / _UNIT
    share[share < _ROUNDING] = 0
    share[share > 1 - _ROUNDING] = 1
    return share.float()
