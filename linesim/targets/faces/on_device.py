"""A face with relief lit on a device: the same tables, looked up by torch."""

from typing import TYPE_CHECKING

from linesim.targets.faces.relief import Mix, Relief, SlopeTable

if TYPE_CHECKING:
    import torch

_AT_ONCE = 1 << 24
"""Pixels that are worked on together: they and what is made of them take under 1 GB."""


def light_on(data: "torch.Tensor", relief: Relief) -> None:
    """Turn reflectances that lie on a device into radiance factors, in place."""
    import torch  # noqa: PLC0415 -- an extra

    rows, columns = data.shape[:2]
    count = max(1, _AT_ONCE // columns)
    mixes = [(mixed, _tables_on(mixed, data)) for mixed in relief.mixes(columns)]
    for first in range(0, rows, count):
        last = min(first + count, rows)
        window = torch.from_numpy(relief.heights[first : last + 2]).to(data.device)
        along = window[2:, 1:-1] - window[:-2, 1:-1]
        across = window[1:-1, 2:] - window[1:-1, :-2]
        for mixed, tables in mixes:
            part = data[first:last, mixed.columns]
            rises = along[:, mixed.columns], across[:, mixed.columns]
            seen = [
                _looked_up(table, held, rises)
                for table, held in zip(mixed.tables, tables, strict=True)
            ]
            matt, gloss = seen[0]
            if mixed.weight is not None:
                weight = torch.from_numpy(mixed.weight).to(data.device)
                matt, gloss = (a + weight * (b - a) for a, b in zip(*seen, strict=True))
            part.mul_(matt if part.ndim == matt.ndim else matt[..., None])
            part.add_(gloss if part.ndim == gloss.ndim else gloss[..., None])


def _tables_on(mixed: Mix, data: "torch.Tensor") -> list[tuple["torch.Tensor", "torch.Tensor"]]:
    import torch  # noqa: PLC0415 -- an extra

    return [
        (
            torch.from_numpy(table.matt).to(data.device).ravel(),
            torch.from_numpy(table.gloss).to(data.device).ravel(),
        )
        for table in mixed.tables
    ]


def _looked_up(
    table: SlopeTable,
    held: tuple["torch.Tensor", "torch.Tensor"],
    rises: tuple["torch.Tensor", "torch.Tensor"],
) -> tuple["torch.Tensor", "torch.Tensor"]:
    """Find the nearest faces; what is cut off rounds."""
    along, across = rises
    places = (along * table.steps[1] + (table.starts[1] + 0.5)).int() * table.matt.shape[1]
    places += (across * table.steps[0] + (table.starts[0] + 0.5)).int()
    return held[0][places], held[1][places]
