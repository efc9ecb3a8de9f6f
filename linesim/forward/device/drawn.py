"""
Numpy's noise drawn on a device: the same random words, one draw a sample, float32's rounding apart.

Carried is the usual camera, whose pixels are read alone with a read noise of `FUSED_SD_E` or more,
where no sample comes near its well; see ``capture`` and ``draws`` for what is drawn and why. Every
other strip is left to numpy.
"""

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING

from linesim.forward.capture import Capturer
from linesim.forward.collect import Shot
from linesim.forward.correct import Correct
from linesim.forward.device.launch import kernels_run_on
from linesim.forward.device.noise import Noise, applied
from linesim.forward.device.states import states_of
from linesim.forward.device.words import Words, words_from
from linesim.forward.draws import CHUNK, FUSED_SD_E
from linesim.forward.transport import STRIP_LINES

if TYPE_CHECKING:
    import torch

_PIECE = 1024


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Draw:
    """One channel of some strips, its random words on their way."""

    noise: Noise
    keep: Capturer
    words: Words  # of each strip; the last may need fewer

    def numbers(self, seen_e: "torch.Tensor") -> "torch.Tensor":
        """
        Turn expected electrons into numbers, as though no well were near.

        Parameters
        ----------
        seen_e : tensor of shape (lines, columns); of these strips [e]

        Returns
        -------
        tensor of uint16, of the same shape; on the device, which may still be at work [DN]
        """
        image = numbers(self.noise, seen_e, self.words.there())
        ends = (stage for stage in self.keep.stages if isinstance(stage, Correct))
        return applied(image, next(ends, None))


def draw_on(
    noise: Noise,
    keep: Capturer,
    lines: range,
    shape: tuple[int, int],
    device: "torch.device",
    *,
    queue: int = 0,
) -> Draw | None:
    """
    Begin to draw whole strips, or say that numpy must.

    Parameters
    ----------
    noise : Noise; tables of a channel, on the device
    keep : Capturer; the same channel's second half, with its streams
    lines : range; from the first line of a strip on
    shape : (int, int); exposures and columns that come
    device : torch.device
    queue : int; others go on beside it

    Returns
    -------
    Draw or None
    """
    figures = noise.for_kernel()
    if not figures or figures[2] < FUSED_SD_E or shape[0] > 1:
        return None
    streams = next(stage.streams for stage in keep.stages if isinstance(stage, Shot))
    strips = range(lines.start // STRIP_LINES, -(-lines.stop // STRIP_LINES))
    count = (min(len(lines), STRIP_LINES) * shape[1] + 1) // 2
    return Draw(
        noise=noise, keep=keep, words=words_from(states_of(streams, strips), count, device, queue)
    )


def numbers(noise: Noise, seen_e: "torch.Tensor", words: "torch.Tensor") -> "torch.Tensor":
    """
    Turn expected electrons that are far from any well into numbers, before any correction.

    Parameters
    ----------
    noise : Noise
    seen_e : tensor of shape (lines, columns); of whole strips, the last may be shorter [e]
    words : tensor of shape (strips, 2 words); as `Words` has them

    Returns
    -------
    tensor of uint16, of the same shape [DN]
    """
    by = _by_kernel if kernels_run_on(seen_e.device) else _by_products
    return by(noise, seen_e, words)


def _by_kernel(noise: Noise, seen_e: "torch.Tensor", words: "torch.Tensor") -> "torch.Tensor":
    """Draw by one kernel."""
    import torch  # noqa: PLC0415 -- an extra

    from linesim.forward.device import draw_kernels  # noqa: PLC0415 -- needs Triton

    dark_e, _, *others = noise.for_kernel()
    lines, columns = seen_e.shape
    image = torch.empty(seen_e.shape, dtype=torch.uint16, device=seen_e.device)
    draw_kernels._drawn[(lines, -(-columns // _PIECE))](  # noqa: SLF001 -- as in `launch`
        *(seen_e.contiguous(), words, image, noise.tables[0], noise.tables[5]),
        *(lines, columns, words.shape[1], dark_e, *others),
        STRIP=STRIP_LINES,
        CHUNK=CHUNK,
        SIZE=_PIECE,
    )
    return image


def _by_products(noise: Noise, seen_e: "torch.Tensor", words: "torch.Tensor") -> "torch.Tensor":
    """Draw in plain torch: whole strips at once, and the part of one, whose pieces are others."""
    import torch  # noqa: PLC0415 -- an extra

    dark_e, _, sd, gain_dn_e, black_dn, full_dn = noise.for_kernel()
    response, offset_e = noise.tables[0].flatten(), noise.tables[5].flatten()
    mean_e = seen_e.mul(response).add_(dark_e).clamp_(min=0)
    whole = len(mean_e) // STRIP_LINES
    parts = (
        (mean_e[: whole * STRIP_LINES], words[:whole]),
        (mean_e[whole * STRIP_LINES :], words[whole:]),
    )
    for part, own in parts:
        flat = part.view(len(own), part.numel() // max(len(own), 1))
        for low in range(0, flat.shape[1], CHUNK):
            piece = flat[:, low : low + CHUNK]
            size = piece.shape[1]
            drawn = normals(own[:, low : low + 2 * ((size + 1) // 2)])
            _counted_and_read(piece, sd, drawn[:, :size])
    value_dn = mean_e.add_(offset_e).mul_(gain_dn_e).add_(black_dn + 0.5)
    return value_dn.clamp_(0, full_dn).to(torch.uint16)


def normals(words: "torch.Tensor") -> "torch.Tensor":
    """Turn random words into standard normals, by rows, as `draws.normals_from_words` does."""
    import torch  # noqa: PLC0415 -- an extra

    pairs = words.shape[1] // 2
    radius = words[:, :pairs].view(torch.uint32).to(torch.float32)
    radius.add_(0.5).mul_(2.0**-32).log_().mul_(-2).sqrt_()
    angle = words[:, pairs:].to(torch.float32).mul_(pi * 2.0**-31)
    return torch.cat([angle.cos().mul_(radius), angle.sin_().mul_(radius)], dim=1)


def _counted_and_read(mean_e: "torch.Tensor", sd: float, w: "torch.Tensor") -> None:
    """Put count and read noise in the place of the mean; `draws.poisson_normal_quantile`."""
    s = mean_e + sd * sd
    a = mean_e / s
    s.sqrt_()
    squared = w * w
    x = squared.mul(-1 / 18).add_(5 / 36).mul_(a).add_(squared, alpha=1 / 24).sub_(1 / 8)
    x.mul_(w).div_(s).add_(squared.mul_(1 / 6).sub_(1 / 6)).mul_(a).addcmul_(w, s)
    mean_e.add_(x)
