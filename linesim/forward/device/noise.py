"""What a device must know of the second half of the forward model to draw as numpy does."""

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Any

from linesim.forward.binning import JoinCharge, Wells
from linesim.forward.capture import WELL_MARGIN, Capturer
from linesim.forward.collect import Response, Shot
from linesim.forward.correct import Correct
from linesim.forward.device.fetch import sent
from linesim.forward.digitise import Digitise
from linesim.forward.read import Offset, Read
from linesim.forward.stage import Stage
from linesim.setup.arrays import ImageArray

if TYPE_CHECKING:
    import torch


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Noise:
    """The second half for one channel, its tables on a device."""

    stages: tuple[Stage, ...]  # those of numpy's second half, but for the correction
    tables: tuple[Any, ...]  # what each of them has for the columns, on the device
    corrected: Correct | None  # the correction of one seed
    response: float  # the largest of a column

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

    def is_far(self, peak_e: float) -> bool:
        """Tell whether samples of so many expected electrons at most stay below their wells."""
        dark_e, well_e, *_ = self.for_kernel()
        peak_e = max(peak_e * self.response + dark_e, 0.0)
        return peak_e + WELL_MARGIN * sqrt(peak_e) < well_e


def noise_on(keep: Capturer, device: "torch.device") -> Noise:
    """Bring the second half of one channel to a device."""
    import torch  # noqa: PLC0415 -- an extra

    stages = tuple(stage for stage in keep.stages if not isinstance(stage, Correct))
    tables = [_table(stage) for stage in stages]
    responses = (each.response for each in stages if isinstance(each, Response))
    return Noise(
        stages=stages,
        tables=tuple(None if each is None else torch.as_tensor(each).to(device) for each in tables),
        corrected=next((stage for stage in keep.stages if isinstance(stage, Correct)), None),
        response=max(float(each.max()) for each in responses),
    )


def _table(stage: Stage) -> ImageArray | None:
    """Give what a stage has for each column."""
    if isinstance(stage, Response):
        return stage.response
    return stage.offset_e if isinstance(stage, Offset) else None


def applied(image: "torch.Tensor", correct: Correct | None) -> "torch.Tensor":
    """Apply flat field and white balance."""
    import torch  # noqa: PLC0415 -- an extra

    if correct is None:
        return image
    gain, offset_dn = (sent(each, image.device) for each in correct.line)
    value_dn = (image.to(torch.float32) * gain + offset_dn).add_(0.5)
    return value_dn.clamp_(0, int(correct.full_scale_dn)).to(torch.uint16)
