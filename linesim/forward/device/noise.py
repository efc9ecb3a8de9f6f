"""
The second half of the forward model in plain torch: collect, binning, read, digitise.

Each stage of the second half has its twin here, with the same numbers. Random numbers come from
torch's own generator, one for each block of lines, seeded by the same keys as numpy's streams. So a
draw depends on seed, channel, line and column and on the kind of device, not on what else is
rendered; it is another one than numpy's.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import ceil, sqrt
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from linesim.forward.binning import JoinCharge, JoinNumbers, Wells
from linesim.forward.capture import Capturer
from linesim.forward.collect import Response, Shot
from linesim.forward.correct import Correct
from linesim.forward.digitise import Digitise
from linesim.forward.draws import BRIGHT_E
from linesim.forward.geometry import Figure
from linesim.forward.read import LineNoise, Offset, Read
from linesim.forward.sensor.bend import Bend
from linesim.forward.sensor.taps import Amplify
from linesim.forward.stage import Stage
from linesim.forward.streams import Streams
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError

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


class Part(NamedTuple):
    """Some lines of one block."""

    seed: int
    first: int
    last: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Noise:
    """The second half for one channel on a device."""

    stages: tuple[Stage, ...]  # those of numpy's second half, but for the correction
    tables: tuple[Any, ...]  # what each of them has for the columns, on the device
    corrected: Correct | None  # the correction of one seed
    across: int  # columns that the stages join

    def image(self, expected_e: "torch.Tensor", seed: int, first: int) -> "torch.Tensor":
        """Turn expected electrons of shape (looks, lines, columns) into DN of (lines, columns)."""
        import torch  # noqa: PLC0415 -- an extra

        last = first + expected_e.shape[1]
        blocks = [
            self._block(expected_e[:, low - first : high - first], Part(seed, low, high))
            for low, high in _blocks(first, last)
        ]
        return torch.cat(blocks) if len(blocks) > 1 else blocks[0]

    def for_kernel(self) -> tuple[float, ...]:
        """Give what one kernel needs for all stages; nothing where they are others or join."""
        match self.stages:
            case (
                Response(dark_e=dark_e),
                Shot(),
                Wells(full_well_e=well_e),
                JoinCharge(across=1, place_e=place_e),
                Read(read_noise_e=read_noise_e),
                Offset(),
                Digitise(conversion=line),
            ):
                ends_dn = float(line.black_level_dn), float(line.full_scale_dn)
                return dark_e, min(well_e, place_e), read_noise_e, float(line.gain_dn_e), *ends_dn
        return ()

    def _block(self, samples: "torch.Tensor", part: Part) -> "torch.Tensor":
        """Take lines of one block through all stages."""
        for stage, table in zip(self.stages, self.tables, strict=True):
            samples = _TWINS[type(stage)](stage, samples, table, part)
        return _whole(samples)


def applied(image: "torch.Tensor", correct: Correct | None) -> "torch.Tensor":
    """Apply flat field and white balance."""
    import torch  # noqa: PLC0415 -- an extra

    if correct is None:
        return image
    gain, offset_dn = (torch.as_tensor(each, device=image.device) for each in correct.line)
    value_dn = image.to(torch.float32) * gain + offset_dn
    return _whole(_rounded(value_dn, correct.full_scale_dn))


def _normals(samples: "torch.Tensor", streams: Streams, part: Part) -> "torch.Tensor":
    """Draw the normals of a whole block, and take those of the lines asked for."""
    import torch  # noqa: PLC0415 -- an extra

    block = part.first // BLOCK_LINES
    generator = torch.Generator(device=samples.device)
    generator.manual_seed(key_of(part.seed, streams.stage, streams.channel, block))
    whole = (*samples.shape[:-2], BLOCK_LINES, samples.shape[-1])
    drawn = torch.randn(whole, generator=generator, device=samples.device)
    before = block * BLOCK_LINES
    return drawn[..., part.first - before : part.last - before, :]


def _summed(samples: "torch.Tensor", across: int) -> "torch.Tensor":
    """Sum the physical pixels of each delivered one."""
    if len(samples) == across == 1:
        return samples[0]
    return samples.view(*samples.shape[:2], -1, across).sum(dim=(0, 3))


def _rounded(value_dn: "torch.Tensor", full_scale_dn: Figure) -> "torch.Tensor":
    return value_dn.add_(0.5).clamp_(0, int(full_scale_dn)).floor_()


def _whole(value_dn: "torch.Tensor") -> "torch.Tensor":
    import torch  # noqa: PLC0415 -- an extra

    return value_dn.to(torch.uint16)


def _response(
    stage: Response, samples: "torch.Tensor", table: "torch.Tensor", _: Part
) -> "torch.Tensor":
    return (samples * table + stage.dark_e).clamp_(min=0)


def _shot(stage: Shot, samples: "torch.Tensor", _: object, part: Part) -> "torch.Tensor":
    return counts(samples, _normals(samples, stage.streams, part))


def _wells(stage: Wells, samples: "torch.Tensor", *_: object) -> "torch.Tensor":
    return samples.clamp_(max=stage.full_well_e)


def _join_charge(stage: JoinCharge, samples: "torch.Tensor", *_: object) -> "torch.Tensor":
    return _summed(samples, stage.across).clamp_(max=stage.place_e)


def _read(stage: Read, samples: "torch.Tensor", _: object, part: Part) -> "torch.Tensor":
    return samples.add_(_normals(samples, stage.streams, part), alpha=stage.read_noise_e)


def _line_noise(stage: LineNoise, samples: "torch.Tensor", _: object, part: Part) -> "torch.Tensor":
    drawn = _normals(samples[..., :1], stage.streams, part)
    return samples.add_(drawn, alpha=stage.line_noise_e)


def _offset(
    _stage: Offset, samples: "torch.Tensor", table: "torch.Tensor", _: Part
) -> "torch.Tensor":
    return samples.add_(table)


def _amplify(
    _stage: Amplify, samples: "torch.Tensor", table: "torch.Tensor", _: Part
) -> "torch.Tensor":
    return samples.mul_(table[0]).add_(table[1])


def _bend(stage: Bend, samples: "torch.Tensor", *_: object) -> "torch.Tensor":
    inside = samples.clamp(max=stage.full_e)
    return samples.add_(inside * (1 - inside.clamp(min=0) / stage.full_e), alpha=stage.bend)


def _digitise(stage: Digitise, samples: "torch.Tensor", *_: object) -> "torch.Tensor":
    line = stage.conversion
    value_dn = samples * float(line.gain_dn_e) + float(line.black_level_dn)
    return _rounded(value_dn, line.full_scale_dn)


def _join_numbers(stage: JoinNumbers, samples: "torch.Tensor", *_: object) -> "torch.Tensor":
    black_dn, count = float(stage.conversion.black_level_dn), len(samples) * stage.across
    joined_dn = _summed(samples, stage.across) - count * black_dn
    if stage.average:
        joined_dn /= count
    return _rounded(joined_dn + black_dn, stage.conversion.full_scale_dn)


_TWINS: dict[type[Stage], Callable[..., Any]] = {
    Response: _response,
    Shot: _shot,
    Wells: _wells,
    JoinCharge: _join_charge,
    Read: _read,
    LineNoise: _line_noise,
    Offset: _offset,
    Amplify: _amplify,
    Bend: _bend,
    Digitise: _digitise,
    JoinNumbers: _join_numbers,
}
"""Every stage that torch has too."""


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


def noise_on(keep: Capturer, device: "torch.device") -> Noise:
    """Bring the second half of one channel to a device, or refuse a stage that torch has not."""
    import torch  # noqa: PLC0415 -- an extra

    stages = tuple(stage for stage in keep.stages if not isinstance(stage, Correct))
    unknown = [type(stage).__name__ for stage in stages if type(stage) not in _TWINS]
    if unknown:
        msg = (
            f"the torch path has no stage {', '.join(unknown)}; expected the numpy path, which "
            "carries it"
        )
        raise InputError(msg)
    tables = [_table(stage) for stage in stages]
    return Noise(
        stages=stages,
        tables=tuple(None if each is None else torch.as_tensor(each).to(device) for each in tables),
        corrected=next((stage for stage in keep.stages if isinstance(stage, Correct)), None),
        across=keep.across,
    )


def _table(stage: Stage) -> ImageArray | None:
    """Give what a stage has for each column."""
    if isinstance(stage, Response):
        return stage.response
    if isinstance(stage, Amplify):
        return np.stack([stage.gain, stage.offset_e])
    return stage.offset_e if isinstance(stage, Offset) else None
