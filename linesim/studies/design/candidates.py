"""
Stations worth a closer look: camera, binning, lens, by closed forms of geometry and time.

An object pixel is the field over the pixels, rounded up to a number that people would choose. Kept
are those that put enough object pixels on the smallest defect, and at most three times as many, and
that a sensor is fast enough for; where there is none of these, all with enough object pixels. Of a
camera and binning only those with the fewest cameras are kept.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product
from math import atan, degrees, inf
from typing import Any

from linesim.studies.design import catalogue
from linesim.studies.design.catalogue import Body, Owned
from linesim.studies.design.job import Job

MOST_PX = 3.0
"""Over the fewest object pixels on the smallest defect, how many at most."""
_BINNINGS = (1, 2, 3, 4)
_SPARE = 1.06
"""Of a link over what it must carry."""
_ROOM = 1.3
"""Over the rate of a camera that candidates may need: what misses by less is told of."""
_SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One station but for stop and light."""

    label: str
    cameras: int
    pixels: int
    side_um: float
    binning: int
    stages: int
    object_um: float  # side of a delivered pixel on the target [µm]
    field_mm: float
    focal_mm: float
    rate_hz: float  # lines delivered a second at the highest speed [Hz]
    camera: Mapping[str, Any]
    lens: Mapping[str, Any]
    light: Mapping[str, Any]
    open_f_number: float = 0.0  # of the lens wide open, 0 where all stops may be tried
    most_lx: float = inf  # what the lamp gives at most [lx]

    @property
    def magnification(self) -> float:
        """Image over object."""
        return self.binning * self.side_um / self.object_um

    @property
    def sensor_mm(self) -> float:
        """Length of the line on the sensor. [mm]."""
        return self.pixels * self.side_um / 1000

    @property
    def changes(self) -> dict[str, Any]:
        """What it changes of the job's base, as `linesim.changed` takes it."""
        parts = {"camera": self.camera, "lens": self.lens, "light": self.light}
        return {
            "acquisition.binning": f"{self.binning}x{self.binning}",
            "lens.field_of_view": f"{self.field_mm:.4g} mm",
            "lens.focal_length": f"{self.focal_mm:g} mm",
            **{
                f"{part}.{key}": value
                for part, keys in parts.items()
                for key, value in keys.items()
            },
        }


def candidates(job: Job, stages: tuple[int, ...] = (1,)) -> tuple[Candidate, ...]:
    """Name the stations worth a closer look, with such stages of time-delay integration."""
    return _fewest(_all(job, stages, near=True)) or _fewest(_all(job, stages, near=False))


def finest_um(job: Job) -> float:
    """Give the finest object pixel that cameras lay over the field. [µm]."""
    return min(
        _object_um(job, body, 1, cameras)
        for body, cameras in product(_cameras(job), catalogue.CAMERAS)
    )


def _fewest(stations: Iterator[Candidate]) -> tuple[Candidate, ...]:
    """Keep of a camera and binning what does it with the fewest cameras."""
    found: dict[tuple[object, ...], Candidate] = {}
    for each in stations:
        key = (each.pixels, each.side_um, each.binning, each.stages, each.label)
        if key not in found or each.cameras < found[key].cameras:
            found[key] = each
    return tuple(found.values())


def _all(job: Job, stages: tuple[int, ...], *, near: bool) -> Iterator[Candidate]:
    for body, *how in product(_cameras(job), _BINNINGS, catalogue.CAMERAS, stages):
        binning, cameras, rows = how
        one = _placed(job, body, (binning, cameras, rows))
        if one is not None and (not near or _is_near(job, one, body)):
            yield from _with_lenses(job, one)


def _cameras(job: Job) -> tuple[Body, ...]:
    """Give the cameras that are owned, or all of the trade."""
    owned = (
        Body(
            name=each.name,
            keys=each.keys,
            pixels=each.setup.camera.pixels,
            side_um=each.setup.camera.pixel_width_um,
            rate_hz=each.setup.camera.max_line_rate_hz or catalogue.FASTEST_HZ,
        )
        for each in job.cameras
    )
    return tuple(owned) or catalogue.bodies()


def _object_um(job: Job, body: Body, binning: int, cameras: int) -> float:
    """Give the object pixel of cameras side by side, whose views overlap. [µm]."""
    overlap_mm = max(catalogue.OVERLAP_SHARE * job.field_of_view_mm, catalogue.OVERLAP_MM)
    across_mm = job.field_of_view_mm + (cameras - 1) * overlap_mm
    return catalogue.round_up(1000 * across_mm / (cameras * (body.pixels // binning)))


def _is_near(job: Job, one: Candidate, body: Body) -> bool:
    """Whether the defect gets not far too many pixels, and the camera is nearly fast enough."""
    defect_um = job.base.smallest_defect_um or 0.0
    fine = defect_um / one.object_um <= MOST_PX * job.pixels_on_defect
    return fine and one.rate_hz <= _ROOM * body.rate_hz


def _placed(job: Job, body: Body, how: tuple[int, int, int]) -> Candidate | None:
    """Lay cameras over the field; nothing where the defect would get too few pixels."""
    binning, cameras, stages = how
    pixels, keys = body.pixels, dict(body.keys)
    object_um = _object_um(job, body, binning, cameras)
    defect_um = job.base.smallest_defect_um
    if defect_um is not None and defect_um / object_um < job.pixels_on_defect * (1 - _SLACK):
        return None
    rate_hz = 1000 * job.speeds_mm_s[1] / object_um
    data_mb_s = (pixels // binning) * rate_hz * 2e-6 * (3 if job.colour else 1)
    keys.setdefault("link", f"{catalogue.link_mb_s(_SPARE * data_mb_s):g} MB/s")
    if binning > 1:
        keys.setdefault("rows", binning)
    if stages > 1:
        keys["tdi_stages"] = stages
    return Candidate(
        label=body.name,
        cameras=cameras,
        pixels=pixels,
        side_um=body.side_um,
        binning=binning,
        stages=stages,
        object_um=object_um,
        field_mm=catalogue.rounded(pixels / binning * object_um / 1000, 4, up=True),
        focal_mm=1.0,
        rate_hz=rate_hz,
        camera=keys,
        lens={},
        light={},
    )


def _with_lenses(job: Job, one: Candidate) -> Iterator[Candidate]:
    """Give it lenses and lamps: those that are there, or the focal length that fits best."""
    for each in _lenses(job, one):
        yield from (_lit(each, lamp) for lamp in job.lamps) if job.lamps else (each,)


def _lenses(job: Job, one: Candidate) -> Iterator[Candidate]:
    """Give it each lens that is there."""
    if not job.lenses:
        yield from (replace(one, focal_mm=focal_mm) for focal_mm in _focal_mm(job, one))
    for each in job.lenses:
        lens = each.setup.lens
        yield replace(
            one,
            label=f"{one.label}, {each.name}",
            focal_mm=float(lens.focal_length_mm or 1.0),
            lens=_without(each, "focal_length", "f_number"),
            open_f_number=float(lens.f_number) if "f_number" in each.keys else 0.0,
        )


def _lit(one: Candidate, lamp: Owned) -> Candidate:
    return replace(
        one,
        label=f"{one.label}, {lamp.name}",
        light=_without(lamp, "illuminance"),
        most_lx=float(lamp.setup.light.illuminance_lx or inf),
    )


def _without(each: Owned, *names: str) -> dict[str, Any]:
    """Leave out the keys that are varied."""
    return {key: value for key, value in each.keys.items() if key not in names}


def _focal_mm(job: Job, one: Candidate) -> list[float]:
    """Choose a usual focal length. [mm]."""
    m = one.magnification
    most_mm = min(
        (each.wanted for each in job.limits if each.requirement == "most_working_distance"),
        default=None,
    )
    fits = [
        focal_mm
        for focal_mm in catalogue.FOCAL_LENGTHS_MM
        if degrees(atan(one.sensor_mm / 2 / (focal_mm * (1 + m)))) <= catalogue.WIDEST_DEG
    ]
    if most_mm is None:
        return fits[:2][-1:]
    # the longest that the room leaves: the narrower the view, the more even light and sharpness
    near = [focal_mm for focal_mm in fits if focal_mm * (1 + 1 / m) <= most_mm]
    return (near or fits[:1])[-1:]
