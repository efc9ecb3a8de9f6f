"""The lens, in its maker's own figures: in the middle of the field, over it, and by colour."""

from typing import Annotated

from pydantic import Field

from linesim.setup.channels import ByChannel, ByChannelKind
from linesim.setup.fields import Number, Quantity
from linesim.setup.lens.over_field import OverField, OverFieldKind
from linesim.setup.sheet.stated import TransmissionKind
from linesim.setup.vocabulary import LENGTH, Section

OVER_FIELD_KEYS = (
    "blur",
    "blur_across",
    "blur_along",
    "defocus",
    "relative_illumination",
    "distortion",
)
"""Keys that take values over the field."""
_OVER = "or 3 values (middle, 0.7, end), 5 (from end to end) or a CSV file"
BLUR = OverFieldKind(
    f"a Gaussian blur at the sensor, {_OVER}",
    '"2 um"',
    each=Quantity("a Gaussian blur at the sensor", '"2 um"', unit="um", low=0.0, high=1e4),
)
DEFOCUS = OverFieldKind(
    f"a distance from best focus, {_OVER}",
    '"0.5 mm"',
    each=Quantity("a distance from best focus", '"0.5 mm"', unit="mm", low=-1e4, high=1e4),
)
ILLUMINATION = OverFieldKind(
    f"a share of the light in the middle, at the end of the field, {_OVER}",
    "0.6",
    each=Number("a share of the light in the middle", "0.6", low=0.01, high=1.0),
    of_middle=True,
)
DISTORTION = OverFieldKind(
    f"a fraction of the image height, at the end of the field, {_OVER}",
    "-0.005",
    each=Number("a fraction of the image height", "-0.005", low=-0.2, high=0.2),
)
_AXIAL = Quantity("a length at the sensor", '"40 um"', unit="um", low=-1e4, high=1e4)
AXIAL = ByChannelKind(
    "how far red's focus lies behind blue's at the sensor, or a length a colour",
    '"40 um"',
    each=_AXIAL,
)
_LATERAL = Quantity("a length at the sensor", '"2 um"', unit="um", low=-1e3, high=1e3)
LATERAL = ByChannelKind(
    "how much further out red lies than blue at the end of the field, or a length a colour",
    '"2 um"',
    each=_LATERAL,
)


_MAGNIFICATION = Number("a ratio of image to object size", "0.1", low=1e-4, high=100.0)
_PUPIL_MAGNIFICATION = Number("a ratio of exit to entrance pupil", "1.2", low=0.05, high=20.0)
_TRANSMISSION = TransmissionKind("a fraction from 0 to 1", "0.8", low=0.0, high=1.0)
_FOCAL_LENGTH = Quantity("a focal length", '"50 mm"', unit="mm", low=0.1, high=1e4)


class Lens(Section):
    """What brings the light of the target to the sensor."""

    magnification: Annotated[float, _MAGNIFICATION] | None = None
    field_of_view_mm: Annotated[float, LENGTH] | None = Field(alias="field_of_view", default=None)
    working_distance_mm: Annotated[float, LENGTH] | None = Field(
        alias="working_distance", default=None
    )
    f_number: Annotated[float, Number("an f-number", "4.0", low=0.5, high=256.0)]
    pupil_magnification: Annotated[float, _PUPIL_MAGNIFICATION] | None = None
    transmission: Annotated[float, _TRANSMISSION]
    blur_um: Annotated[float | OverField, BLUR] = Field(alias="blur")
    blur_across_um: Annotated[float | OverField, BLUR] | None = Field(
        alias="blur_across", default=None
    )
    blur_along_um: Annotated[float | OverField, BLUR] | None = Field(
        alias="blur_along", default=None
    )
    defocus_mm: Annotated[float | OverField, DEFOCUS] = Field(alias="defocus")
    relative_illumination: Annotated[float | OverField, ILLUMINATION] | None = None
    distortion: Annotated[float | OverField, DISTORTION] | None = None
    axial_colour_um: Annotated[float | ByChannel[float], AXIAL] | None = Field(
        alias="axial_colour", default=None
    )
    lateral_colour_um: Annotated[float | ByChannel[float], LATERAL] | None = Field(
        alias="lateral_colour", default=None
    )
    focal_length_mm: Annotated[float, _FOCAL_LENGTH] | None = Field(
        alias="focal_length", default=None
    )
