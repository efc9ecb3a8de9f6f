"""
The second half of the forward model in plain torch: collect, binning, read, digitise.

The formulas are those of ``sampler``, ``binning`` and ``digitise``, the pattern, the wells and the
corrections those of ``capture``. Random numbers come from torch's own generator, one for each block
of lines, seeded by the same keys as numpy's streams. So a draw depends on seed, channel, line and
column and on the kind of device, not on what else is rendered; it is another one than numpy's.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, sqrt
from typing import TYPE_CHECKING

import numpy as np

from linesim.forward.capture import Capturer
from linesim.forward.correct import Correction
from linesim.forward.draws import BRIGHT_E
from linesim.forward.streams import READ_STREAM, SHOT_STREAM

if TYPE_CHECKING:
    import torch

BLOCK_LINES = 512
"""Lines of one generator, counted from line 0."""
MOST_DARK = 96
"""Counts of a mean below 32 stay below: one in 10¹⁹ does not."""
_LEAST_SHARE = 1e-9


def key_of(seed: int, *numbers: int) -> int:
    """Give 64 random bits for a generator."""
    return int(np.random.SeedSequence(seed, spawn_key=numbers).generate_state(1, np.uint64)[0])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Noise:
    """The second half for one channel on a device."""

    keep: Capturer
    response: "torch.Tensor"
    offset_e: "torch.Tensor"
    joined_e: "torch.Tensor"

    @property
    def digital(self) -> bool:
        """Whether numbers are joined, not charge."""
        by_numbers = self.keep.setup.acquisition.binning_domain == "digital"
        return by_numbers and (self.keep.across > 1 or len(self.response) > 1)

    def image(self, expected_e: "torch.Tensor", seed: int, first: int) -> "torch.Tensor":
        """Turn expected electrons of shape (looks, lines, columns) into DN of (lines, columns)."""
        import torch  # noqa: PLC0415 -- an extra

        last = first + expected_e.shape[1]
        blocks = [
            self._block(expected_e[:, low - first : high - first], seed, low, high)
            for low, high in _blocks(first, last)
        ]
        return torch.cat(blocks) if len(blocks) > 1 else blocks[0]

    def _block(
        self, expected_e: "torch.Tensor", seed: int, first: int, last: int
    ) -> "torch.Tensor":
        """Do the same for lines of one block."""
        mean_e = (expected_e * self.response + self.keep.dark_e).clamp_(min=0)
        shot = self._normals(mean_e.shape, (seed, SHOT_STREAM, first, last), mean_e.device)
        drawn_e = counts(mean_e, shot).clamp_(max=self.keep.wells_e[0])
        if self.digital:
            drawn_e += self.offset_e
            return self._joined_numbers(self._read(drawn_e, seed, first, last))
        charge_e = self._groups(drawn_e).clamp_(max=self.keep.wells_e[1])
        charge_e = self._read(charge_e[None], seed, first, last)[0] + self.joined_e
        return self._whole(self._converted(charge_e))

    def _read(self, charge_e: "torch.Tensor", seed: int, first: int, last: int) -> "torch.Tensor":
        """Add the noise of one reading."""
        key = (seed, READ_STREAM, first, last)
        normals = self._normals(charge_e.shape, key, charge_e.device)
        return charge_e.add_(normals, alpha=float(self.keep.sensor.read_noise_e))

    def _normals(
        self, shape: "torch.Size", key: tuple[int, int, int, int], device: "torch.device"
    ) -> "torch.Tensor":
        """Draw the normals of a whole block, and take those of the lines asked for."""
        import torch  # noqa: PLC0415 -- an extra

        seed, stage, first, last = key
        block = first // BLOCK_LINES
        generator = torch.Generator(device=device)
        generator.manual_seed(key_of(seed, stage, self.keep.channel, block))
        whole = (shape[0], BLOCK_LINES, shape[2])
        drawn = torch.randn(whole, generator=generator, device=device)
        return drawn[:, first - block * BLOCK_LINES : last - block * BLOCK_LINES]

    def _groups(self, pixel: "torch.Tensor") -> "torch.Tensor":
        """Sum the physical pixels of each delivered one."""
        if len(pixel) == self.keep.across == 1:
            return pixel[0]
        groups = pixel.view(*pixel.shape[:2], -1, self.keep.across)
        return groups.sum(dim=(0, 3))

    def _converted(self, read_e: "torch.Tensor") -> "torch.Tensor":
        sensor = self.keep.sensor
        value_dn = read_e * float(sensor.gain_dn_e) + float(sensor.black_level_dn)
        return self._rounded(value_dn)

    def _rounded(self, value_dn: "torch.Tensor") -> "torch.Tensor":
        return value_dn.add_(0.5).clamp_(0, int(self.keep.sensor.full_scale_dn)).floor_()

    def _joined_numbers(self, read_e: "torch.Tensor") -> "torch.Tensor":
        black_dn = float(self.keep.sensor.black_level_dn)
        pixel_dn = self._converted(read_e)
        count = len(pixel_dn) * self.keep.across
        joined_dn = self._groups(pixel_dn) - count * black_dn
        if self.keep.setup.acquisition.binning_mode == "average":
            joined_dn /= count
        return self._whole(self._rounded(joined_dn + black_dn))

    def _whole(self, value_dn: "torch.Tensor") -> "torch.Tensor":
        import torch  # noqa: PLC0415 -- an extra

        return value_dn.to(torch.uint16)

    def corrected(self, image: "torch.Tensor", table: Correction | None) -> "torch.Tensor":
        """Apply flat field and white balance."""
        import torch  # noqa: PLC0415 -- an extra

        if table is None:
            return image
        gain = torch.as_tensor(table.gain.astype(np.float32), device=image.device)
        offset = (table.black_level_dn - table.dark_dn * table.gain).astype(np.float32)
        value_dn = image.to(torch.float32) * gain
        return self._whole(self._rounded(value_dn + torch.as_tensor(offset, device=image.device)))


def _blocks(first: int, last: int) -> Iterator[tuple[int, int]]:
    """Part lines where a new generator begins."""
    for block in range(first // BLOCK_LINES, -(-last // BLOCK_LINES)):
        yield max(first, block * BLOCK_LINES), min(last, (block + 1) * BLOCK_LINES)


def counts(mean: "torch.Tensor", normal: "torch.Tensor") -> "torch.Tensor":
    """
    Turn mean counts and standard normals into Poisson counts.

    Above `BRIGHT_E` by the expansion of ``sampler.poisson_quantile``, below by the distribution
    itself: the count is the number of its steps that lie under Φ(normal).
    """
    bright = mean.clamp(min=BRIGHT_E)
    v = normal / bright.sqrt()
    x = ((v / 270 - 1 / 72) * v + 1 / 6) * v + 1.0
    x = x * v * bright
    x += (v * (7 / 810) - 1 / 36) * v + 1 / 3 - (8 / 405) / bright
    drawn = (bright + x).floor_()
    dark = mean < BRIGHT_E
    if bool(dark.any()):
        drawn[dark] = _dark_counts(mean[dark], normal[dark])
    return drawn


def _dark_counts(mean: "torch.Tensor", normal: "torch.Tensor") -> "torch.Tensor":
    """Count the steps of the distribution below a quantile, one after the other."""
    import torch  # noqa: PLC0415 -- an extra

    below = torch.special.ndtr(normal)
    share = (-mean).exp()
    reached = share.clone()
    count: torch.Tensor = (below > reached).to(mean.dtype)
    most = float(mean.max())
    # ten standard deviations up the share is long below the least that counts
    for k in range(1, min(MOST_DARK, ceil(most + 10 * sqrt(most) + 12))):
        share = share * mean / k
        reached += share
        # rounding may keep the sum under the largest quantiles for ever
        count += (below > reached) & ((share > _LEAST_SHARE) | (k < mean))
    return count


def noise_on(keep: Capturer, looks: int, device: "torch.device") -> Noise:
    """Bring the second half of one channel to a device."""
    import torch  # noqa: PLC0415 -- an extra

    columns = len(keep.offset_e) * keep.across
    tables = [
        np.resize(each, (looks, each.shape[1]))[:, None, :columns].astype(np.float32)
        for each in (keep.fixed.response, keep.fixed.offset_e)
    ]
    response, offset_e = (torch.as_tensor(each).to(device) for each in tables)
    joined_e = torch.as_tensor(keep.offset_e).to(device)
    return Noise(keep=keep, response=response, offset_e=offset_e, joined_e=joined_e)
