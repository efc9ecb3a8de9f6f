"""Where the lamp stands, and how the target's face mirrors and leans: keys that may be left out."""

from typing import Annotated, Literal

from pydantic import Field

from linesim.setup.fields import Choice, Number, Quantity, Text
from linesim.setup.vocabulary import Section

_WIDE = Quantity(what="an angle", example='"10 deg"', unit="deg", low=0.1, high=178.0)
_LEAN = Quantity(what="an angle", example='"2 deg"', unit="deg", low=-45.0, high=45.0)
_SLOPE = Number(what="an rms slope", example="0.05", low=0.005, high=0.5)
HORIZON_DEG = 89.9
"""How far from the normal a lamp may reach; light from everywhere reaches there on both sides."""
VIEW = Quantity(what="an angle", example='"20 deg"', unit="deg", low=-60.0, high=60.0)


class Face(Section):
    """The face of a target that is not just matt."""

    gloss: (
        Annotated[
            float,
            Number(what="a mirror reflectance from 0 to 1", example="0.04", low=0.0, high=1.0),
        ]
        | None
    ) = None
    rms_slope: Annotated[float, _SLOPE] | None = None
    rms_slope_across: Annotated[float, _SLOPE] | None = None
    rms_slope_along: Annotated[float, _SLOPE] | None = None
    relief: Annotated[str, Text(what="an image file of heights", example='"relief.png"')] | None = (
        None
    )
    relief_range_um: (
        Annotated[float, Quantity(what="a height", example='"10 um"', unit="um", low=0.0, high=1e5)]
        | None
    ) = Field(alias="relief_range", default=None)
    slope_across_deg: Annotated[float, _LEAN] | None = Field(alias="slope_across", default=None)
    slope_along_deg: Annotated[float, _LEAN] | None = Field(alias="slope_along", default=None)


MATT = dict.fromkeys(f"target.{field.alias or name}" for name, field in Face.model_fields.items())
"""Changes that leave a target matt and level."""


class PlacedLight(Section):
    """Where the light comes from."""

    arrangement: (
        Annotated[
            Literal["even", "line"],
            Choice(what='"even" or "line"', example='"line"', allowed=("even", "line")),
        ]
        | None
    ) = None
    angle_deg: (
        Annotated[
            float,
            Quantity(what="an angle", example='"20 deg"', unit="deg", low=-89.0, high=89.0),
        ]
        | None
    ) = Field(alias="angle", default=None)
    angular_width_deg: Annotated[float, _WIDE] | None = Field(alias="angular_width", default=None)
