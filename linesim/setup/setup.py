"""The checked setup that travels through the package."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import cos, inf, radians
from pathlib import Path
from typing import Any

import numpy as np

from linesim.setup.camera import Acquisition
from linesim.setup.kinds import Turn
from linesim.setup.lens.lens import Lens
from linesim.setup.light.strip import Lamp
from linesim.setup.model import Light, Requirement, Sections, Target, Transport
from linesim.setup.rows import best_run
from linesim.setup.sheet.camera_sheet import SheetCamera
from linesim.setup.surface import LIGHTS, PlacedLight


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setup:
    """One station, checked; two are equal where their values are, in whatever units written."""

    sections: Sections  # the values, in fixed units
    # the same as the user wrote them, defaults filled in
    texts: Mapping[str, Any] = field(repr=False)
    folder: Path = field(repr=False)  # folder that the file names in it are relative to

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Setup) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)

    @property
    def _key(self) -> tuple[Sections, tuple[tuple[str, Path], ...]]:
        """Values, with image files themselves in place of their names as seen from one folder."""
        named = ("image", "relief", "gloss", "transmittance")
        values = {key: getattr(self.target, key) for key in named}
        names = {key: value for key, value in values.items() if isinstance(value, str)}
        files = {
            key: (self.folder / name).resolve() for key, name in names.items() if Path(name).suffix
        }
        target = self.target.model_copy(update=dict.fromkeys(files, ""))
        return self.sections.model_copy(update={"target": target}), tuple(files.items())

    @property
    def title(self) -> str:
        """Title of the job."""
        return self.sections.title

    @property
    def target(self) -> Target:
        """The thing under the camera."""
        return self.sections.target

    @property
    def transport(self) -> Transport:
        """Motion and trigger."""
        return self.sections.transport

    @property
    def lens(self) -> Lens:
        """Imaging optics."""
        return self.sections.lens

    @property
    def light(self) -> Light:
        """Light on the target."""
        return self.sections.light

    @property
    def camera(self) -> SheetCamera:
        """Sensor and electronics."""
        return self.sections.camera

    @property
    def acquisition(self) -> Acquisition:
        """How the camera is run."""
        return self.sections.acquisition

    @property
    def requirement(self) -> Requirement:
        """What must be met."""
        return self.sections.requirement

    @property
    def magnification(self) -> float:
        """Image over object size: given, from the field of view, or f/(working distance - f)."""
        if self.lens.magnification is not None:
            return self.lens.magnification
        field_mm, away_mm = self.lens.field_of_view_mm, self.lens.working_distance_mm
        if field_mm is not None:
            return self.camera.pixels * self.camera.pixel_width_um / (field_mm * 1000)
        focal_mm = self.lens.focal_length_mm
        if focal_mm is None or away_mm is None or not np.all(away_mm > focal_mm):
            return 1.0  # refused, and until then this stands in
        return focal_mm / (away_mm - focal_mm)

    @property
    def half_line_mm(self) -> float:
        """Image height of the end of the line, at the sensor. [mm]."""
        return self.camera.pixels * self.camera.pixel_width_um / 2000

    @property
    def encoder_count_um(self) -> float:
        """Travel from one count of the encoder to the next, interpolated ones too. [µm]."""
        return (self.transport.encoder_step_um or 0.0) / self.transport.encoder_multiplier

    @property
    def missed_counts(self) -> float:
        """Share of the encoder's counts that get lost."""
        return self.transport.encoder_missed_counts or 0.0

    @property
    def foreshortening(self) -> float:
        """Length along travel as the camera sees it over what it is, cos of the camera's angle."""
        return cos(radians(self.camera.angle_deg or 0.0))

    @property
    def row_heights_um(self) -> tuple[float, ...]:
        """Height of every row of the sensor; as many as the binning needs where left out. [µm]."""
        if self.camera.row_heights_um is not None:
            return self.camera.row_heights_um
        side_um = self.camera.pixel_height_um or self.camera.pixel_width_um
        return (side_um,) * (self.camera.rows or self.rows_read)

    @property
    def pixel_height_um(self) -> float:
        """Height at the sensor of the physical pixels that are read. [µm]."""
        return self.acquisition.row_height_um or self.row_heights_um[0]

    @property
    def rows_read(self) -> int:
        """Neighbouring rows joined into a delivered line."""
        by_rows = self.acquisition.binning_along == "rows"
        return self.acquisition.binning.along if by_rows else 1

    @property
    def first_row(self) -> int:
        """Row of the sensor at which the rows that are read start."""
        return best_run(self.row_heights_um, self.pixel_height_um)[0]

    @property
    def line_spacing_um(self) -> float:
        """Distance of neighbouring colour rows at the sensor. [µm]."""
        return self.camera.line_spacing_um or 0.0

    @property
    def working_distance_mm(self) -> float:
        """Lens to target, f(1+1/m); infinite without a focal length. [mm]."""
        focal_mm = self.lens.focal_length_mm
        return inf if focal_mm is None else focal_mm * (1 + 1 / self.magnification)

    @property
    def pupil_magnification(self) -> float:
        """Diameter of the exit pupil over that of the entrance pupil."""
        stated = self.lens.pupil_magnification
        return 1.0 if stated is None else stated

    @property
    def view_distance_mm(self) -> float:
        """Entrance pupil, from where the lens sees, to target: f(1/P+1/m). [mm]."""
        # the pupil lies f(1 − 1/P) from the principal plane, from which it is f(1+1/m)
        focal_mm = self.lens.focal_length_mm
        if focal_mm is None:
            return inf
        return focal_mm * (1 / self.pupil_magnification + 1 / self.magnification)

    @property
    def ambient_w_m2(self) -> float:
        """Irradiance of the ambient light at the target, of the lamp's spectrum. [W/m²]."""
        ambient = self.light.ambient
        if ambient.illuminance_lx > 0:
            return self.light.spectrum.irradiance_w_m2(ambient.illuminance_lx)
        return ambient.irradiance_w_m2

    @property
    def irradiance_w_m2(self) -> float:
        """Irradiance at the target from all lamps, in the middle of the line. [W/m²]."""
        first, *others = (each.lamp_w_m2(self.light.spectrum) for each in self.lights)
        return sum(others, first)

    @property
    def named_lights(self) -> dict[str, PlacedLight]:
        """All lights of the file, by the names of their tables."""
        found = {name: getattr(self.sections, name) for name in LIGHTS}
        return {name: light for name, light in found.items() if light is not None}

    @property
    def lights(self) -> tuple[PlacedLight, ...]:
        """All lights of the file."""
        return tuple(self.named_lights.values())

    @property
    def turn(self) -> Turn:
        """Which of the lights that shine in turn these are; the only ones where it is left out."""
        return self.light.turn or Turn(1, 1)

    @property
    def lamps(self) -> tuple[Lamp, ...]:
        """All lamps, in numbers."""
        return tuple(each.lamp(self.light.spectrum) for each in self.lights)

    @property
    def full_scale_dn(self) -> int:
        """Largest number the camera delivers. [DN]."""
        return (1 << self.camera.bit_depth) - 1

    @property
    def gain_dn_e(self) -> float:
        """System gain; full well at full scale where it is left out. [DN/e]."""
        if self.camera.gain_dn_e is not None:
            return self.camera.gain_dn_e
        return (self.full_scale_dn - self.camera.black_level_dn) / self.camera.full_well_e

    @property
    def binned_full_well_e(self) -> float:
        """Capacity of the place where binned charge is summed. [e]."""
        return self.camera.binned_full_well_e or self.camera.full_well_e

    @property
    def smallest_defect_um(self) -> float | None:
        """Width of what must be found, with relief or without. [µm]."""
        relief = self.requirement.defect_relief
        return self.requirement.smallest_defect_um if relief is None else relief.width_um

    @property
    def defect_sides_um(self) -> tuple[float, float] | None:
        """Across and along, of the smallest defect; a scratch is ten times as long. [µm]."""
        need = self.requirement
        if need.defect_relief is not None:
            return need.defect_relief.sides_um
        width_um = need.smallest_defect_um
        if width_um is None:
            return None
        if need.defect_shape == "disc":
            return width_um, width_um
        length_um = need.defect_length_um or 10 * width_um
        along = need.defect_shape == "scratch-along"
        return (width_um, length_um) if along else (length_um, width_um)

    @property
    def wanted_detection_rate(self) -> float:
        """Share of the smallest defects that must be found; 95 % where it is left out."""
        rate = self.requirement.detection_rate
        return 0.95 if rate is None else rate

    @property
    def allowed_false_alarms_per_m2(self) -> float:
        """On good product; one in a hundred square metres where it is left out. [1/m²]."""
        alarms = self.requirement.false_alarms_per_m2
        return 0.01 if alarms is None else alarms
