"""Windows of a scan on a device: equal numbers of lines from any places, exposed together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.forward.device.fetch import sent
from linesim.forward.device.launch import Kernels
from linesim.forward.device.noise import Noise
from linesim.forward.device.products import Products
from linesim.forward.device.tables import along_band, joined_windows
from linesim.forward.expose import Exposer, Exposure
from linesim.forward.transport import LineTable

if TYPE_CHECKING:
    import torch


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceChannel:
    """One channel on a device."""

    see: Exposer
    sampler: Products | Kernels
    noise: Noise


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Windows:
    """Equal numbers of lines from some places of the scan, their tables on the device."""

    channels: tuple[DeviceChannel, ...]
    firsts: tuple[int, ...]
    lines: int
    tables: tuple[tuple[tuple[Any, int, "torch.Tensor | None"], ...], ...]

    def pixels_e(self, channel: int) -> "torch.Tensor":
        """Give expected electrons (exposures, windows, lines, columns), as they come. [e]."""
        import torch  # noqa: PLC0415 -- an extra

        seen = [self._exposure(channel, number) for number in range(len(self.tables[channel]))]
        return torch.stack(seen) if len(seen) > 1 else seen[0][None]

    def _exposure(self, channel: int, number: int) -> "torch.Tensor":
        half = self.channels[channel]
        along, count, swing = self.tables[channel][number]
        windows, shares = len(self.firsts), half.see.trail
        before = len(shares) - 1
        # one window alone needs none of the lines that fill its last tile
        needed = self.lines + before if windows == 1 else windows * count
        seen_e = half.sampler.sampled(along, needed).view(windows, -1, half.sampler.width)[
            :, : self.lines + before
        ]
        seen_e = seen_e if swing is None else seen_e * swing
        if before == 0:
            return seen_e
        parts = [
            seen_e[:, before - late : before - late + self.lines] for late in range(before + 1)
        ]
        return sum(share * part for share, part in zip(shares[1:], parts[1:], strict=True)) + (
            shares[0] * parts[0]
        )


def windows_of(
    channels: tuple[DeviceChannel, ...], firsts: Sequence[int], lines: int, seeds: Sequence[int]
) -> Windows:
    """Place lines on the target."""
    places = list(zip(firsts, seeds, strict=True))
    return Windows(
        channels=channels,
        firsts=tuple(firsts),
        lines=lines,
        tables=tuple(
            tuple(_table(half, exposure, places, lines) for exposure in half.see.exposures)
            for half in channels
        ),
    )


def _table(
    half: DeviceChannel, exposure: Exposure, places: list[tuple[int, int]], lines: int
) -> tuple[Any, int, "torch.Tensor | None"]:
    see, sampler = half.see, half.sampler
    # what lines before the window leave is delivered in it
    lines, before = lines + len(see.trail) - 1, len(see.trail) - 1
    placed = [see.lines(exposure, seed, low - before, low - before + lines) for low, seed in places]
    bands = [along_band(see.samplers[0], each) for each in placed]
    used = sampler.lines_per_tile(bands[0])
    band = joined_windows(bands, used)
    return (
        sampler.prepared(band, used),
        -(-lines // used) * used,
        _swing(see, placed, sampler.plane.device),
    )


def _swing(see: Exposer, placed: list[LineTable], device: "torch.device") -> "torch.Tensor | None":
    """Give the factor by which the lamp's light, not the ambient, swings from line to line."""
    if see.setup.light.flicker == 0:
        return None
    light = np.stack([each.light for each in placed])
    swing = 1 + (light[:, :, None] - 1) * (1 - see.ambient)
    return sent(swing.astype(np.float32), device)
