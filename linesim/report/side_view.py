"""
Where camera and lamps of a station stand, in the plane of travel: numbers, sentences, places.

Angles are from the normal of the web's plane. The camera's grow towards where the web goes, those
of lamps the other way, so that a level face mirrors a camera at 20 deg into a lamp at 20 deg, and
the same camera sees straight through the web into a lamp behind it at 20 deg.
"""

from dataclasses import dataclass
from math import cos, hypot, isfinite, radians, sin, tan

from linesim.report.label_places import Point
from linesim.setup.setup import Setup
from linesim.setup.surface import PLACED

EVEN = "The light comes from everywhere: neither bright nor dark field."
ROOM_PX = (160.0, 210.0)
"""Room of a drawing to each side of the point that the camera sees, and above it."""
BEYOND_PX = 26.0
"""How much further a dashed view reaches than what stands in it."""
_NOMINAL_MM, _NOMINAL_IN_LAMPS = 1000.0, 2.5
_EDGE = 0.1
"""Of half a lamp's width, to each side of its end: so close its edge is seen; our choice."""
_FAN_SHARE = 0.7
"""How far the fan of a lamp without a distance reaches, of the camera's distance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LampView:
    """One lamp."""

    angle_deg: float  # of its middle; of one behind the web, from the normal on that side [deg]
    angular_width_deg: float  # as the target sees it [deg]
    distance_mm: float | None = None  # from the target; None: only its direction is known [mm]
    behind: bool = False  # whether it shines through the web


@dataclass(frozen=True, slots=True, kw_only=True)
class SideView:
    """A station seen along its line."""

    camera_deg: float  # of the camera [deg]
    working_distance_mm: float | None  # lens to target; None without a focal length [mm]
    lamps: tuple[LampView, ...]  # None of them: light from everywhere
    # by which the face leans out of the web's plane, growing as lamps' angles do [deg]
    lean_deg: float = 0.0

    @property
    def mirror_deg(self) -> float:
        """Angle at which the face mirrors the camera's view, by the law of reflection. [deg]."""
        return self.camera_deg + 2 * self.lean_deg

    def off_deg(self, lamp: LampView) -> float:
        """Say how far a lamp's middle is from where the camera sees it at its brightest. [deg]."""
        return abs(lamp.angle_deg - (self.camera_deg if lamp.behind else self.mirror_deg))

    def is_bright(self, lamp: LampView) -> bool:
        """Say whether the camera sees the lamp, mirrored or through the web."""
        return self.off_deg(lamp) <= lamp.angular_width_deg / 2

    def is_at_edge(self, lamp: LampView) -> bool:
        """Say whether the camera sees the lamp's edge, so that half of its light is there."""
        half_deg = lamp.angular_width_deg / 2
        return abs(self.off_deg(lamp) - half_deg) <= _EDGE * half_deg


def side_view_of(setup: Setup) -> SideView:
    """Take a side view out of a setup; without lamps where light comes from everywhere."""
    distance_mm = setup.working_distance_mm
    lamps = tuple(
        LampView(
            angle_deg=light.angle_deg or 0.0,
            angular_width_deg=light.seen_width_deg,
            distance_mm=light.lamp_distance_mm,
            behind=light.arrangement == "back",
        )
        for light in setup.lights
        if light.arrangement in PLACED
    )
    return SideView(
        camera_deg=setup.camera.angle_deg or 0.0,
        working_distance_mm=distance_mm if isfinite(distance_mm) else None,
        lamps=lamps,
        lean_deg=setup.target.slope_along_deg or 0.0,
    )


def lamp_names(view: SideView) -> tuple[str, ...]:
    """Name the lamps: by number where there are several."""
    if len(view.lamps) == 1:
        return ("lamp",)
    return tuple(f"lamp {number}" for number in range(1, len(view.lamps) + 1))


def field_words(view: SideView) -> str:
    """Say for each lamp what field it makes."""
    if not view.lamps:
        return EVEN
    named = zip(lamp_names(view), view.lamps, strict=True)
    return " ".join(_sentence(view, lamp, name) for name, lamp in named)


def _sentence(view: SideView, lamp: LampView, name: str) -> str:
    who = "The lamp" if name == "lamp" else name.capitalize()
    if lamp.behind:
        return f"{who} stands behind the web, {_through(view, lamp)}."
    if view.is_at_edge(lamp):
        return (
            f"{who} has its edge in the camera's mirror direction: between bright and dark field, "
            "where what leans is brighter or darker."
        )
    if view.is_bright(lamp):
        return f"{who} stands in the camera's mirror direction: bright field."
    off = f"{view.off_deg(lamp):.4g} deg"
    return f"{who} stands {off} away from the camera's mirror direction: dark field."


def _through(view: SideView, lamp: LampView) -> str:
    sight = "the camera's line of sight"
    if view.is_at_edge(lamp):
        return f"its edge in {sight}: half bright, where what bends light is brighter or darker"
    if view.is_bright(lamp):
        return f"in {sight}: bright back light"
    return (
        f"{view.off_deg(lamp):.4g} deg away from {sight}: dark back light, where only what "
        "scatters or bends light is bright"
    )


def _seen_at(angle_deg: float) -> Point:
    """Point towards a camera; right is where the web goes, down is behind it."""
    return sin(radians(angle_deg)), -cos(radians(angle_deg))


def _lit_from(angle_deg: float, *, behind: bool = False) -> Point:
    """Point towards a lamp."""
    return -sin(radians(angle_deg)), cos(radians(angle_deg)) * (1 if behind else -1)


def _scaled(toward: Point, length: float) -> Point:
    return toward[0] * length, toward[1] * length


def _fitted(toward: Point) -> float:
    """Say how often a step fits into the room of the drawing."""
    pairs = zip(ROOM_PX, toward, strict=True)
    return min(room / max(abs(step), 1e-9) for room, step in pairs)


def _bar_ends(lamp: LampView, distance: float) -> tuple[Point, Point]:
    """Give both ends of the face of a lamp that is turned to the target."""
    half = distance * tan(radians(lamp.angular_width_deg / 2))
    x, y = _lit_from(lamp.angle_deg, behind=lamp.behind)
    return (
        (x * distance - y * half, y * distance + x * half),
        (x * distance + y * half, y * distance - x * half),
    )


def _camera_mm(view: SideView) -> float:
    """Distance of the lens, or one to draw it at."""
    if view.working_distance_mm is not None:
        return view.working_distance_mm
    known = [lamp.distance_mm for lamp in view.lamps if lamp.distance_mm is not None]
    return _NOMINAL_IN_LAMPS * max(known) if known else _NOMINAL_MM


def _px_per_mm(view: SideView) -> float:
    """Choose the scale at which everything of known distance fits."""
    ends = [
        end
        for lamp in view.lamps
        if lamp.distance_mm is not None
        for end in _bar_ends(lamp, lamp.distance_mm)
    ]
    return min(map(_fitted, [_scaled(_seen_at(view.camera_deg), _camera_mm(view)), *ends]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """Places in a side view, in pixels from the point that the camera sees."""

    lens: Point
    toward_camera: Point
    lamps: tuple[tuple[Point, Point], ...]
    mirrored: Point | None
    through: Point | None
    px_per_mm: float

    def on_axis(self, further_px: float, beside_px: float = 0.0) -> Point:
        """Give a point beyond the lens, on the camera's axis or beside it."""
        x, y = self.toward_camera
        return (
            self.lens[0] + further_px * x - beside_px * y,
            self.lens[1] + further_px * y + beside_px * x,
        )

    def body(self, sides_px: tuple[float, float, float]) -> tuple[Point, Point, Point, Point]:
        """Give the corners of a part of the camera: from, to, and half its width."""
        near, far, half = sides_px
        corners = ((near, half), (far, half), (far, -half), (near, -half))
        one, two, three, four = (self.on_axis(*corner) for corner in corners)
        return one, two, three, four


def sketch(view: SideView) -> Sketch:
    """Place camera, ends of lamps, and the ends of the camera's view in front and behind."""
    scale, toward = _px_per_mm(view), _seen_at(view.camera_deg)
    far_px = scale * _camera_mm(view)
    lamps = tuple(_lamp_ends(lamp, far_px, scale) for lamp in view.lamps)
    reach = [max(hypot(*end) for end in ends) for ends in lamps]
    pairs = list(zip(view.lamps, reach, strict=True))
    front = [px for lamp, px in pairs if not lamp.behind]
    behind = [px for lamp, px in pairs if lamp.behind]
    back = _lit_from(view.mirror_deg)
    beyond_px = min(max([_FAN_SHARE * far_px, *front]), _fitted(back)) + BEYOND_PX
    return Sketch(
        lens=_scaled(toward, far_px),
        toward_camera=toward,
        lamps=lamps,
        mirrored=_scaled(back, beyond_px) if front else None,
        through=_scaled(toward, -min(max(behind), _fitted(toward)) - BEYOND_PX) if behind else None,
        px_per_mm=scale,
    )


def _lamp_ends(lamp: LampView, far_px: float, scale: float) -> tuple[Point, Point]:
    """Give both ends of a lamp, or of the fan that stands for it, one distance from the target."""
    if lamp.distance_mm is not None:
        return _bar_ends(lamp, scale * lamp.distance_mm)
    half_deg = lamp.angular_width_deg / 2
    one, other = (
        _lit_from(lamp.angle_deg + side * half_deg, behind=lamp.behind) for side in (1, -1)
    )
    reach = min(_FAN_SHARE * far_px, _fitted(one), _fitted(other))
    return _scaled(one, reach), _scaled(other, reach)
