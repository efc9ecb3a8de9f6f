"""Where the lamp stands, and how the target's face mirrors and leans: keys that may be left out."""

from dataclasses import dataclass
from math import atan, degrees, inf
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from linesim.setup.fields import Choice, Kind, Number, Quantity, Text
from linesim.setup.light.spectra import Spectrum
from linesim.setup.light.strip import Lamp, Strip
from linesim.setup.quantity import PERCENT
from linesim.setup.vocabulary import SHARE, Section

_WIDE = Quantity("an angle", '"10 deg"', unit="deg", low=0.1, high=178.0)
_LAMP = Quantity("a length", '"40 mm"', unit="mm", low=0.1, high=1e5)
_LUX = Quantity("an illuminance", '"40 klx"', unit="lx", low=0.0, high=1e9)
FACED = ("sheet", "film", "glaze")
"""Built-in targets with a finish, a relief, and a transmittance of their own."""
LIGHTS = ("light", "light_2", "light_3", "light_4")
"""Tables of a setup's lights; a file may have them as several [[light]]."""
PLACED = ("line", "back")
"""Arrangements of a lamp that stands somewhere."""
_LEAN = Quantity("an angle", '"2 deg"', unit="deg", low=-45.0, high=45.0)
_SLOPE = Number("an rms slope", "0.05", low=0.005, high=0.5)
HORIZON_DEG = 89.9
"""How far from the normal a lamp may reach; light from everywhere reaches there on both sides."""
VIEW = Quantity("an angle", '"20 deg"', unit="deg", low=-60.0, high=60.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareOrImage(Kind):
    """A number from 0 to 1, or the name of an image file with such numbers."""

    def read(self, value: object, folder: Path) -> float | str:
        """Take the number or the name."""
        if not isinstance(value, str) or value.rstrip().endswith(PERCENT):
            return Number(self.what, self.example, low=0.0, high=1.0).read(value, folder)
        if not Path(value).suffix or not (folder / value).is_file():
            msg = "this is neither a number nor an image file that there is"
            raise ValueError(msg)
        return value


_GLOSS = ShareOrImage("a mirror reflectance from 0 to 1, or an image of it", "0.04")
_RELIEF = Text("an image file of heights", '"relief.png"')
_RELIEF_RANGE = Quantity("a height", '"10 um"', unit="um", low=0.0, high=1e5)
_TRANSMITTANCE = ShareOrImage("a share of the light let through, or an image of it", "0.3")


class Face(Section):
    """The face of a target that is not just matt."""

    gloss: Annotated[float | str, _GLOSS] | None = None
    rms_slope: Annotated[float, _SLOPE] | None = None
    rms_slope_across: Annotated[float, _SLOPE] | None = None
    rms_slope_along: Annotated[float, _SLOPE] | None = None
    relief: Annotated[str, _RELIEF] | None = None
    relief_range_um: Annotated[float, _RELIEF_RANGE] | None = Field(
        alias="relief_range", default=None
    )
    slope_across_deg: Annotated[float, _LEAN] | None = Field(alias="slope_across", default=None)
    slope_along_deg: Annotated[float, _LEAN] | None = Field(alias="slope_along", default=None)
    transmittance: Annotated[float | str, _TRANSMITTANCE] | None = None
    haze: Annotated[float, SHARE] | None = None


FACE = tuple(field.alias or name for name, field in Face.model_fields.items())
"""Keys of a target that is not just matt and level."""
FACE_KEYS = ("gloss", "rms_slope", "rms_slope_across", "rms_slope_along", "relief", "relief_range")
"""Keys of a face that go together."""
LAMP_KEYS = (
    "arrangement",
    "angle",
    "angular_width",
    "lamp_width",
    "lamp_distance",
    "lamp_length",
    "lamp_illuminance",
    "lamp_stated_distance",
)
"""Keys that say where a lamp stands; all but the first are of one that stands somewhere."""


_ARRANGEMENT = Choice('"even", "line" or "back"', '"line"', allowed=("even", "line", "back"))
_ANGLE = Quantity("an angle", '"20 deg"', unit="deg", low=-89.0, high=89.0)
_IRRADIANCE = Quantity("an irradiance", '"120 W/m^2"', unit="W/m^2", high=1e7)


class PlacedLight(Section):
    """How much light there is, and where it comes from."""

    arrangement: Annotated[Literal["even", "line", "back"], _ARRANGEMENT] | None = None
    angle_deg: Annotated[float, _ANGLE] | None = Field(alias="angle", default=None)
    angular_width_deg: Annotated[float, _WIDE] | None = Field(alias="angular_width", default=None)
    lamp_width_mm: Annotated[float, _LAMP] | None = Field(alias="lamp_width", default=None)
    lamp_distance_mm: Annotated[float, _LAMP] | None = Field(alias="lamp_distance", default=None)
    lamp_length_mm: Annotated[float, _LAMP] | None = Field(alias="lamp_length", default=None)
    illuminance_lx: Annotated[float, _LUX] | None = Field(alias="illuminance", default=None)
    irradiance_w_m2: Annotated[float, _IRRADIANCE] | None = Field(alias="irradiance", default=None)
    lamp_illuminance_lx: Annotated[float, _LUX] | None = Field(
        alias="lamp_illuminance", default=None
    )
    lamp_stated_distance_mm: Annotated[float, _LAMP] | None = Field(
        alias="lamp_stated_distance", default=None
    )

    @property
    def seen_width_deg(self) -> float:
        """Angle that the lamp fills as the target sees it. [deg]."""
        if self.lamp_width_mm is not None and self.lamp_distance_mm is not None:
            return 2 * degrees(atan(self.lamp_width_mm / (2 * self.lamp_distance_mm)))
        return self.angular_width_deg or 0.0

    @property
    def strip(self) -> Strip:
        """As the middle of the line sees it; light from everywhere reaches to the horizon."""
        if self.arrangement not in PLACED:
            return Strip(low_deg=-HORIZON_DEG, high_deg=HORIZON_DEG)
        return self._strip(self.angle_deg or 0.0, self.lamp_distance_mm, self.seen_width_deg)

    def _strip(self, angle_deg: float, distance_mm: float | None, width_deg: float) -> Strip:
        end = inf
        if self.lamp_length_mm is not None and distance_mm is not None:
            end = self.lamp_length_mm / (2 * distance_mm)
        half_deg = width_deg / 2
        return Strip(
            low_deg=angle_deg - half_deg, high_deg=angle_deg + half_deg, left=-end, right=end
        )

    @property
    def mounted_share(self) -> float:
        """Illuminance where the lamp stands, over that straight below it as its sheet states."""
        stated_mm, width_mm = self.lamp_stated_distance_mm or 1.0, self.lamp_width_mm or 1.0
        width_deg = 2 * degrees(atan(width_mm / (2 * stated_mm)))
        return float(self.strip.level / self._strip(0.0, stated_mm, width_deg).level)

    def lamp_w_m2(self, spectrum: Spectrum) -> float:
        """Irradiance of the level target in the middle of the line. [W/m²]."""
        if self.irradiance_w_m2 is not None:
            return self.irradiance_w_m2
        if self.lamp_illuminance_lx is not None:
            return spectrum.irradiance_w_m2(self.lamp_illuminance_lx * self.mounted_share)
        return spectrum.irradiance_w_m2(self.illuminance_lx or 0.0)

    def lamp(self, spectrum: Spectrum) -> Lamp:
        """Give the lamp in numbers."""
        placed = self.arrangement in PLACED
        return Lamp(
            strip=self.strip,
            irradiance_w_m2=self.lamp_w_m2(spectrum),
            distance_mm=(self.lamp_distance_mm or inf) if placed else inf,
            behind=self.arrangement == "back",
        )
