"""
Windows of a scan on a device: equal numbers of lines from any places of it, rendered together.

The tables of where lines look are made once; with other seeds for the noise they serve again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from linesim.forward.device.launch import Kernels, image_by_kernel
from linesim.forward.device.noise import Noise, applied, key_of
from linesim.forward.device.products import Products
from linesim.forward.device.tables import along_band, joined_windows
from linesim.forward.expose import Exposer, Look
from linesim.forward.flat_field import correction
from linesim.forward.streams import SHOT_STREAM
from linesim.forward.transport import LineTable

if TYPE_CHECKING:
    import torch


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceRendered:
    """What the camera delivers, and what it would deliver without noise, on the device."""

    image: "torch.Tensor"
    expected_e: "torch.Tensor"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceChannel:
    """One channel on a device."""

    see: Exposer
    sampler: Products | Kernels
    noise: Noise

    @property
    def plain(self) -> bool:
        """Whether one kernel can do the second half."""
        alone = len(self.see.looks) == 1 and bool(self.noise.for_kernel())
        return alone and isinstance(self.sampler, Kernels)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Windows:
    """Equal numbers of lines from some places of the scan, their tables on the device."""

    channels: tuple[DeviceChannel, ...]
    firsts: tuple[int, ...]
    lines: int
    seeds: tuple[int, ...]
    tables: tuple[tuple[tuple[Any, int, "torch.Tensor | None"], ...], ...]

    def pixels_e(self, channel: int) -> "torch.Tensor":
        """Give expected electrons of shape (looks, windows, lines, columns), as they come. [e]."""
        import torch  # noqa: PLC0415 -- an extra

        seen = [self._look(channel, look) for look in range(len(self.tables[channel]))]
        return torch.stack(seen) if len(seen) > 1 else seen[0][None]

    def _look(self, channel: int, look: int) -> "torch.Tensor":
        half = self.channels[channel]
        along, count, swing = self.tables[channel][look]
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

    def render(self, seeds: Sequence[int] | None = None) -> DeviceRendered:
        """Render all windows."""
        import torch  # noqa: PLC0415 -- an extra

        images, expected = [], []
        for index, half in enumerate(self.channels):
            pixel_e = self.pixels_e(index)
            images.append(self._image(half, pixel_e, tuple(seeds or self.seeds)))
            across = half.noise.across
            if len(pixel_e) > 1 or across > 1:
                pixel_e = pixel_e.view(*pixel_e.shape[:3], -1, across).sum(dim=(0, 4))[None]
            expected.append(pixel_e[0])
        if len(images) == 1:
            return DeviceRendered(image=images[0], expected_e=expected[0])
        return DeviceRendered(image=torch.stack(images, -1), expected_e=torch.stack(expected, -1))

    def _image(
        self, half: DeviceChannel, pixel_e: "torch.Tensor", seeds: tuple[int, ...]
    ) -> "torch.Tensor":
        import torch  # noqa: PLC0415 -- an extra

        see, channel = half.see, half.see.channel.index
        if half.plain:
            keys = [key_of(seed, SHOT_STREAM, channel) for seed in seeds]
            signed = np.array(keys, dtype=np.uint64).view(np.int64)
            where = (np.array(self.firsts, dtype=np.int64), signed)
            # no wait for the device: what came before may still run
            on = [torch.as_tensor(each).to(pixel_e.device, non_blocking=True) for each in where]
            image = image_by_kernel(half.noise, pixel_e[0].contiguous(), *on)
        else:
            image = torch.stack(
                [
                    half.noise.image(pixel_e[:, index], seed, first)
                    for index, (seed, first) in enumerate(zip(seeds, self.firsts, strict=True))
                ]
            )
        if half.noise.corrected is None:
            return image
        tables = [correction(see.setup, see.numbers, seed, channel) for seed in seeds]
        return torch.stack([applied(*pair) for pair in zip(image, tables, strict=True)])


def windows_of(
    channels: tuple[DeviceChannel, ...], firsts: Sequence[int], lines: int, seeds: Sequence[int]
) -> Windows:
    """Place lines on the target."""
    places = list(zip(firsts, seeds, strict=True))
    return Windows(
        channels=channels,
        firsts=tuple(firsts),
        lines=lines,
        seeds=tuple(seeds),
        tables=tuple(
            tuple(_table(half, look, places, lines) for look in half.see.looks) for half in channels
        ),
    )


def _table(
    half: DeviceChannel, look: Look, places: list[tuple[int, int]], lines: int
) -> tuple[Any, int, "torch.Tensor | None"]:
    see, sampler = half.see, half.sampler
    # what lines before the window leave is delivered in it
    lines, before = lines + len(see.trail) - 1, len(see.trail) - 1
    placed = [see.lines(look, seed, low - before, low - before + lines) for low, seed in places]
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
    import torch  # noqa: PLC0415 -- an extra

    if see.setup.light.flicker == 0:
        return None
    light = np.stack([each.light for each in placed])
    swing = 1 + (light[:, :, None] - 1) * (1 - see.ambient)
    return torch.as_tensor(swing.astype(np.float32)).to(device)
