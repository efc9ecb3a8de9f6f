"""
Stations worth a closer look: camera, binning, lens, by closed forms of geometry and time.

An object pixel is the field over the pixels, rounded up to a number that people would choose. Kept
are those that put enough object pixels on the smallest defect, and at most three times as many, and
that a sensor is fast enough for; of a camera and binning only with the fewest cameras that do.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product
from math import atan, degrees
from typing import Any

from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.design import catalogue
from linesim.studies.design.job import Job

MOST_PX = 3.0
"""Over the fewest object pixels on the smallest defect, how many at most."""
_BINNINGS = (1, 2, 3, 4)
_SPARE = 1.06
"""Of a link over what it must carry."""
_ROOM = 1.3
"""Over the rate of a camera that candidates may need: what misses by less is told of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """
    One station but for stop and light.

    Parameters
    ----------
    label : str
    cameras : int; side by side
    pixels : int; of one camera
    side_um : float; of its pixels [µm]
    binning : int; alike both ways
    stages : int; of time-delay integration
    object_um : float; side of a delivered pixel on the target [µm]
    field_mm : float; of one camera [mm]
    focal_mm : float; of the lens [mm]
    rate_hz : float; lines delivered a second at the highest speed [Hz]
    camera, lens, light : mapping; keys of the setup file
    """

    label: str
    cameras: int
    pixels: int
    side_um: float
    binning: int
    stages: int
    object_um: float
    field_mm: float
    focal_mm: float
    rate_hz: float
    camera: Mapping[str, Any]
    lens: Mapping[str, Any]
    light: Mapping[str, Any]

    @property
    def magnification(self) -> float:
        """Image over object."""
        return self.binning * self.side_um / self.object_um

    @property
    def sensor_mm(self) -> float:
        """Length of the line on the sensor. [mm]."""
        return self.pixels * self.side_um / 1000

    @property
    def working_mm(self) -> float:
        """Lens to target, f(1 + 1/m). [mm]."""
        return self.focal_mm * (1 + 1 / self.magnification)

    @property
    def changes(self) -> dict[str, Any]:
        """What it changes of the job's base, as `linesim.changed` takes it."""
        parts = {"camera": self.camera, "lens": self.lens, "light": self.light}
        return {
            "acquisition.binning": f"{self.binning}x{self.binning}",
            "lens.field_of_view": f"{self.field_mm:.8g} mm",
            "lens.focal_length": f"{self.focal_mm:g} mm",
            **{
                f"{part}.{key}": value
                for part, keys in parts.items()
                for key, value in keys.items()
            },
        }


def candidates(job: Job, stages: tuple[int, ...] = (1,)) -> tuple[Candidate, ...]:
    """Name the stations worth a closer look, with such stages of time-delay integration."""
    found: dict[tuple[object, ...], Candidate] = {}
    for each in _all(job, stages):
        key = (each.pixels, each.side_um, each.binning, each.stages, each.label)
        if key not in found or each.cameras < found[key].cameras:
            found[key] = each
    return tuple(found.values())


def _all(job: Job, stages: tuple[int, ...]) -> Iterator[Candidate]:
    for body, *how in product(_cameras(job), _BINNINGS, catalogue.CAMERAS, stages):
        binning, cameras, rows = how
        one = _placed(job, body, (binning, cameras, rows))
        if one is not None:
            yield from _with_lenses(job, one)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Body:
    """A camera to try: its keys, and what of them counts here."""

    name: str
    keys: Mapping[str, Any]
    pixels: int
    side_um: float
    rate_hz: float


def _cameras(job: Job) -> list[_Body]:
    if job.cameras:
        return [_owned(job, name, keys) for name, keys in job.cameras]
    return [
        _Body(
            name=f"{body.pixels} px of {body.side_um:g} um",
            keys={
                "pixels": body.pixels,
                "pixel_width": f"{body.side_um:g} um",
                "full_well": f"{body.full_well_e / 1000:g} ke",
                "read_noise": f"{body.read_noise_e:g} e",
                "max_line_rate": f"{body.rate_hz / 1000:g} kHz",
            },
            pixels=body.pixels,
            side_um=body.side_um,
            rate_hz=body.rate_hz,
        )
        for body in catalogue.bodies()
    ]


def _owned(job: Job, name: str, keys: Mapping[str, Any]) -> _Body:
    """Read a camera that is there as a setup file has it."""
    camera = changed(job.base, {f"camera.{key}": value for key, value in keys.items()}).camera
    return _Body(
        name=name,
        keys=keys,
        pixels=camera.pixels,
        side_um=camera.pixel_width_um,
        rate_hz=camera.max_line_rate_hz or catalogue.FASTEST_HZ,
    )


def _placed(job: Job, body: _Body, how: tuple[int, int, int]) -> Candidate | None:
    """Lay cameras over the field; nothing where the defect would get too few or too many pixels."""
    binning, cameras, stages = how
    pixels, keys = body.pixels, dict(body.keys)
    overlap_mm = max(catalogue.OVERLAP_SHARE * job.field_of_view_mm, catalogue.OVERLAP_MM)
    across_mm = job.field_of_view_mm + (cameras - 1) * overlap_mm
    object_um = catalogue.round_up(1000 * across_mm / (cameras * (pixels // binning)))
    defect_um = job.base.smallest_defect_um or job.pixels_on_defect * object_um
    on_defect = defect_um / object_um / job.pixels_on_defect
    if not 1 <= on_defect <= MOST_PX:
        return None
    rate_hz = 1000 * job.speeds_mm_s[1] / object_um
    if rate_hz > _ROOM * body.rate_hz:
        return None
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
        field_mm=pixels / binning * object_um / 1000,
        focal_mm=1.0,
        rate_hz=rate_hz,
        camera=keys,
        lens={},
        light={},
    )


def _with_lenses(job: Job, one: Candidate) -> Iterator[Candidate]:
    """Give it lenses and lamps: those that are there, or the focal length that fits best."""
    lamps = job.lamps or (("", {}),)
    for (lens_name, lens), (lamp_name, lamp) in product(_lenses(job, one), lamps):
        label = ", ".join(part for part in (one.label, lens_name, lamp_name) if part)
        focal_mm = _lens_mm(job, lens)
        rest = {key: value for key, value in lens.items() if key != "focal_length"}
        yield replace(one, label=label, focal_mm=focal_mm, lens=rest, light=lamp)


def _lenses(job: Job, one: Candidate) -> list[tuple[str, Mapping[str, Any]]]:
    if job.lenses:
        return list(job.lenses)
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
    if not fits:
        return []
    if most_mm is None:
        return [("", {"focal_length": f"{fits[min(1, len(fits) - 1)]:g} mm"})]
    # the longest that the room leaves: the narrower the view, the more even light and sharpness
    near = [focal_mm for focal_mm in fits if focal_mm * (1 + 1 / m) <= most_mm]
    return [("", {"focal_length": f"{(near or fits[:1])[-1]:g} mm"})]


def _lens_mm(job: Job, lens: Mapping[str, Any]) -> float:
    """Read the focal length of a lens that is there. [mm]."""
    text = lens.get("focal_length")
    if text is None:
        msg = "have.lenses: a lens has no focal_length, but where it stands follows from it"
        raise InputError(msg)
    return float(changed(job.base, {"lens.focal_length": text}).lens.focal_length_mm or 1.0)
