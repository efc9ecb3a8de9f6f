"""How the face of a target meets its lamps and the camera, at each place along the line."""

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import cos, inf, isfinite, radians, sin, tan
from typing import TypeVar

import numpy as np

from linesim.forward.surface import Finish, clear_factors, radiance_factors
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.light.strip import Lamp
from linesim.setup.lights import refuse_multiplexed
from linesim.setup.setup import Setup
from linesim.setup.surface import FACED
from linesim.targets.catalogue import BuiltIn, built_in

Shares = TypeVar("Shares", float, ImageArray)
_INDEX_OF_CLEAR = 1.5
"""Of glass and most plastics, where no gloss says otherwise; common practice, no source."""
_CLEAR_GLOSS = 0.1
"""What mirrors more than a clear body of index 1.9 is a metal or coated."""
_FEWEST, _MOST = 2, 513
"""Places along the line at which a level face is worked out; between them it changes evenly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Through:
    """How a target lets light through."""

    # factor of the target's values that gives the share let through, over the white reflectance
    scale: float
    haze: float  # share of that which is scattered evenly; the rest goes straight on
    bend: float  # refractive index less 1


@dataclass(frozen=True, kw_only=True)
class Face:
    """How the face of a target meets its lamps and the camera."""

    lamps: tuple[Lamp, ...]
    view_deg: float  # of the camera from the normal of the target [deg]
    finish: Finish | None  # none: matt. An image of gloss counts from a gloss of 1
    slopes: tuple[float, float]  # tangents by which the whole face leans across and along
    white_reflectance: float  # what reflectances of the target are shares of
    # from the camera to the target; infinite for a view that is the same along the line [mm]
    view_mm: float = inf
    through: Through | None = None  # None where no lamp stands behind it

    @property
    def level(self) -> tuple[float, float]:
        """Radiance factors in the middle without relief: matt of white, and mirrored."""
        matt, gloss = self.level_at((0.0,))
        return float(matt[0]), float(gloss[0])

    def level_at(self, places_mm: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
        """Radiance factors without relief at places along the line."""
        return _level(self, places_mm)

    def lit(self, shares: Shares, place_mm: float = 0.0) -> Shares:
        """Give radiance factors where there is no relief, from and as shares of white."""
        matt, gloss = self.level_at((place_mm,))
        return float(matt[0]) * shares + float(gloss[0]) / self.white_reflectance

    @cached_property
    def varies(self) -> bool:
        """Whether it is another one along the line: the view, or lamps that end."""
        return isfinite(self.view_mm) or any(not each.strip.endless for each in self.lamps)

    def turn(self, half_mm: float) -> float:
        """Slope across that would do the same as going from the middle to some place."""
        nearest_mm = min((each.distance_mm for each in self.lamps), default=inf)
        return half_mm * (1 / self.view_mm + 1 / nearest_mm) / 2

    def places(self, half_mm: float, slope: float) -> FloatArray:
        """Lay places along the line, so closely that each turns light by less than a slope."""
        if not self.varies:
            return np.zeros(1)
        count = int(np.clip(np.ceil(2 * self.turn(half_mm) / slope) + 1, _FEWEST, _MOST))
        return np.linspace(-half_mm, half_mm, count)


@lru_cache(maxsize=64)
def _level(face: Face, places_mm: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    return factors(face, np.tile(face.slopes, (len(places_mm), 1)), np.array(places_mm))


def factors(
    face: Face, slopes: FloatArray, place_mm: float | FloatArray = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Give radiance factors of slopes."""
    angle, place = radians(face.view_deg), np.asarray(place_mm, dtype=np.float64)
    view = np.stack(np.broadcast_arrays(-place / face.view_mm, -sin(angle), cos(angle)), axis=-1)
    each_w_m2 = [np.asarray(lamp.irradiance_w_m2 * lamp.falls(place)) for lamp in face.lamps]
    all_w_m2 = np.sum(each_w_m2, axis=0)
    matt, gloss = np.zeros(len(slopes)), np.zeros(len(slopes))
    for lamp, own_w_m2 in zip(face.lamps, each_w_m2, strict=True):
        # in the dark all lamps count alike
        share = np.where(all_w_m2 > 0, own_w_m2 / np.maximum(all_w_m2, 1e-300), 1 / len(each_w_m2))
        seen = replace(lamp, strip=lamp.strip.seen_from(place / lamp.distance_mm))
        diffuse, mirrored = (_behind if lamp.behind else _before)(face, seen, view, slopes)
        matt += share * diffuse
        gloss += share * mirrored
    return matt, gloss


def _before(
    face: Face, lamp: Lamp, view: FloatArray, slopes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    return radiance_factors(lamp.strip, face.finish, view, slopes)


def _behind(
    face: Face, lamp: Lamp, view: FloatArray, slopes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    through, rms = face.through, (0.0, 0.0)
    if through is None:
        return np.zeros(len(slopes)), np.zeros(len(slopes))
    if face.finish is not None:
        rms = face.finish.rms_across, face.finish.rms_along
    seen = np.full(len(slopes), through.haze)
    if through.haze < 1:
        clear = clear_factors(lamp.strip, (through.bend, *rms), view, slopes)
        seen = through.haze + (1 - through.haze) * clear
    return through.scale * seen, np.zeros(len(slopes))


def face_of(setup: Setup) -> Face | None:
    """Take the face of a target out of a setup; none of a matt and level one."""
    refuse_multiplexed(setup)
    target = setup.target
    leans = bool(target.slope_across_deg or target.slope_along_deg)
    relief = target.relief is not None or target.image in FACED
    behind = any(each.behind for each in setup.lamps)
    if _finish(setup) is None and not (relief or leans or behind):
        return None
    return face_under(setup)


def face_under(setup: Setup) -> Face:
    """Take the face of a target out of a setup, also a matt and level one."""
    refuse_multiplexed(setup)
    target, lamps = setup.target, setup.lamps
    leans = (target.slope_across_deg or 0.0, target.slope_along_deg or 0.0)
    if len(lamps) == 1:
        # of one lamp alone its light is no matter, and the same face serves any
        lamps = (replace(lamps[0], irradiance_w_m2=1.0),)
    return Face(
        lamps=lamps,
        view_deg=setup.camera.angle_deg or 0.0,
        view_mm=setup.view_distance_mm,
        finish=_finish(setup),
        slopes=(tan(radians(leans[0])), tan(radians(leans[1]))),
        white_reflectance=target.white_reflectance,
        through=_through(setup) if any(each.behind for each in lamps) else None,
    )


def _finish(setup: Setup) -> Finish | None:
    target = setup.target
    if target.gloss is None:
        return _own(setup).finish if target.image in FACED else None
    if not target.gloss:
        return None
    return Finish(
        gloss=1.0 if isinstance(target.gloss, str) else target.gloss,
        rms_across=float(target.rms_slope or target.rms_slope_across or 0.0),
        rms_along=float(target.rms_slope or target.rms_slope_along or 0.0),
    )


def _own(setup: Setup) -> BuiltIn:
    return built_in(setup.target.image)


def _through(setup: Setup) -> Through:
    target, index, finish = setup.target, _INDEX_OF_CLEAR, _finish(setup)
    if finish is not None and finish.gloss <= _CLEAR_GLOSS:
        # what a smooth face mirrors at normal incidence is ((n - 1)/(n + 1))² (Fresnel)
        root = finish.gloss**0.5
        index = (1 + root) / (1 - root)
    haze = target.haze
    if haze is None:
        haze = _own(setup).haze if passes_by_image(setup) and target.image in FACED else 1.0
    share = 1.0 if passes_by_image(setup) else float(target.transmittance or 0.0)
    return Through(scale=share / target.white_reflectance, haze=haze, bend=index - 1)


def is_imaged(setup: Setup) -> bool:
    """Tell whether images say how a face is, so that its levels are those of what is seen."""
    target = setup.target
    through = passes_by_image(setup) and any(each.behind for each in setup.lamps)
    faced = target.image in FACED
    return target.relief is not None or isinstance(target.gloss, str) or through or faced


def passes_by_image(setup: Setup) -> bool:
    """Tell whether an image, or a drawn target itself, says what each pixel lets through."""
    target = setup.target
    drawn = target.image in FACED and target.transmittance is None
    return drawn or isinstance(target.transmittance, str)
