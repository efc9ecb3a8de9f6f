"""The camera with the keys that its data sheet states in place of the setup's own."""

from typing import Annotated

from pydantic import Field

from linesim.setup.camera import Camera
from linesim.setup.channels import ByChannel
from linesim.setup.sheet.points import Point
from linesim.setup.sheet.responsivity import RESPONSIVITY
from linesim.setup.sheet.stated import FormatKind, PixelFormat, RangeKind

_RANGE = RangeKind("a dynamic range", '"66 dB"', unit="dB", low=0.0, high=180.0)


class SheetCamera(Camera):
    """What stands in the place of read noise and quantum efficiency, and how samples are sent."""

    dynamic_range_db: Annotated[float, _RANGE] | None = Field(alias="dynamic_range", default=None)
    dynamic_range_1288_db: Annotated[float, _RANGE] | None = Field(
        alias="dynamic_range_1288", default=None
    )
    responsivity: (
        Annotated[tuple[Point, ...] | ByChannel[tuple[Point, ...]], RESPONSIVITY] | None
    ) = None
    pixel_format: Annotated[PixelFormat, FormatKind("a pixel format", '"Mono12p"')] | None = None
