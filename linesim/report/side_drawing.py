"""The side view of a station, to scale: web, camera, lamps, and the camera's view mirrored."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, cos, hypot, radians, sin
from xml.etree.ElementTree import Element, SubElement, tostring

import numpy as np

from linesim.report.label_places import TEXT_PX, Box, Label, Placed, Point, placed
from linesim.report.page_parts import Picture
from linesim.report.picture import round_length_mm
from linesim.report.scale_drawing import INK
from linesim.report.side_view import (
    ROOM_PX,
    LampView,
    SideView,
    Sketch,
    field_words,
    lamp_names,
    sketch,
)

UNSCALED = "not to scale: no focal length"
_WIDE_PX, _EDGE_PX, _HEAD_PX, _FOOT_PX = 420.0, 4.0, 30.0, 24.0
_BODY, _LENS = (12.0, 46.0, 12.0), (0.0, 12.0, 7.0)
"""From, to and half the width, along the camera's axis from the lens. [px]"""
_NORMAL_PX, _WEB_PX, _FACE_PX = 84.0, 190.0, 34.0
_DOT_PX, _LEGEND_PX, _INDENT_PX, _BAR_SHARE = 5.0, 20.0, 14.0, 0.8
_ARC_PX, _LEAST_ARC_DEG = (40.0, 54.0), 3.0
_THIN, _RAY = {"stroke": "#85858f"}, {"stroke": INK, "stroke-width": "1.5"}
_DASHED = {**_RAY, "stroke-dasharray": "7 5"}
_WEB, _BAR = {"stroke": INK, "stroke-width": "4"}, {"stroke": INK, "stroke-width": "3"}
_LAMP, _EDGE = {"stroke": "#a85f00", "stroke-width": "6"}, {"stroke": "#a85f00"}
_FIELD = {"fill": "#e69f00", "fill-opacity": "0.25"}
_FACE = {"stroke": "#0072b2", "stroke-width": "5"}
_SHIELD = "Keep eyes out of its light, and out of what the web mirrors of it."


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """A drawing in the making, about the point that the camera sees."""

    root: Element
    origin: Point

    def _at(self, point: Point) -> str:
        return f"{self.origin[0] + point[0]:.2f} {self.origin[1] + point[1]:.2f}"

    def path(self, points: Sequence[Point], style: dict[str, str], close: str = "") -> None:
        """Draw a line through points; closed with Z."""
        path = f"M{'L'.join(map(self._at, points))}{close}"
        SubElement(self.root, "path", {"d": path, "fill": "none", **style})

    def arc(self, angle_deg: float, radius_px: float) -> None:
        """Draw an arc from the normal to an angle that grows as those of lamps."""
        end = (-radius_px * sin(radians(angle_deg)), -radius_px * cos(radians(angle_deg)))
        turn = f"A{radius_px:g} {radius_px:g} 0 0 {int(angle_deg < 0)} "
        path = f"M{self._at((0.0, -radius_px))}{turn}{self._at(end)}"
        SubElement(self.root, "path", {"d": path, "fill": "none", **_THIN})

    def text(self, place: Point, words: str, anchor: str = "start") -> None:
        """Write words over what is drawn, at a place on their base line."""
        x, y = self._at(place).split()
        halo = {"stroke": "#fff", "stroke-width": "3", "paint-order": "stroke"}
        style = {"font-size": f"{TEXT_PX:g}", "text-anchor": anchor, "fill": INK, **halo}
        SubElement(self.root, "text", {"x": x, "y": y, **style}).text = words


def side_labels(view: SideView) -> tuple[Placed, ...]:
    """Place all labels of a side view, in pixels from the point that the camera sees."""
    place = sketch(view)
    return placed(tuple(_labels(view, place)), np.array(list(_dotted(place))), frame(place))


@lru_cache(maxsize=32)
def side_picture(view: SideView) -> Picture:
    """Draw a station from the side, with its lamps where they stand somewhere."""
    place, legend = sketch(view), tuple(_legend(view))
    room = frame(place)
    pen = Pen(
        root=Element("svg", xmlns="http://www.w3.org/2000/svg"),
        origin=(_WIDE_PX / 2, _EDGE_PX - room.top_px),
    )
    _draw_lamps(pen, view, place)
    _draw_web(pen, view, place)
    _draw_camera(pen, place)
    for each in side_labels(view):
        pen.text(each.foot, each.words, "middle")
    left, down_px = _INDENT_PX - _WIDE_PX / 2, room.bottom_px
    if any(_distances(view)):
        down_px += _LEGEND_PX
        _draw_scale(pen, place, (left, down_px))
    for words in legend:
        down_px += _LEGEND_PX
        pen.text((left, down_px), words)
    tall_px = pen.origin[1] + down_px + 2 * _EDGE_PX
    pen.root.set("viewBox", f"0 0 {_WIDE_PX:.0f} {ceil(tall_px)}")
    return Picture(
        image=tostring(pen.root, encoding="unicode"),
        alt=f"The station from the side: {'; '.join(legend)}.",
        caption=f"From the side, in the plane of travel. {field_words(view)} {_SHIELD}",
    )


def frame(place: Sketch) -> Box:
    """Give the room of drawing and labels."""
    ends = [end for lamp in place.lamps for end in lamp]
    dashed = [end for end in (place.mirrored, place.through) if end is not None]
    downs = [y for _, y in (*place.body(_BODY), *ends, *dashed, (0.0, -_NORMAL_PX), (0.0, 0.0))]
    half = _WIDE_PX / 2 - _EDGE_PX
    return Box(
        left_px=-half, top_px=min(downs) - _HEAD_PX, right_px=half, bottom_px=max(downs) + _FOOT_PX
    )


def _distances(view: SideView) -> tuple[float | None, ...]:
    return (view.working_distance_mm, *(lamp.distance_mm for lamp in view.lamps))


def _middle(ends: tuple[Point, Point]) -> Point:
    return (ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2


def _labels(view: SideView, place: Sketch) -> Iterator[Label]:
    yield Label(words=f"camera {view.camera_deg:.4g}°", at=place.on_axis(_BODY[1] / 2))
    if place.mirrored is not None:
        yield Label(words=f"mirror {view.mirror_deg:.4g}°", at=place.mirrored, side=-1)
    for name, lamp, ends in zip(lamp_names(view), view.lamps, place.lamps, strict=True):
        comma = "," if len(view.lamps) > 1 else ""
        yield Label(
            words=f"{name}{comma} {lamp.angle_deg:.4g}°",
            at=_middle(ends),
            side=1 if lamp.behind else -1,
        )
    yield Label(words="travel", at=(_WEB_PX - 20, 0.0))
    yield Label(words="web", at=(14 - _WEB_PX, 0.0))


def _dotted(place: Sketch) -> Iterator[Point]:
    """Give points on all that is drawn."""
    near = (0.0, 0.0)
    body = place.body(_BODY)
    yield from _dots(near, place.lens)
    yield from _dots((-_WEB_PX, 0.0), (_WEB_PX, 0.0))
    yield from _dots(near, (0.0, -_NORMAL_PX))
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        yield from _dots(*(_between(*side, share) for side in (body[:2], body[:1:-1])))
    for one, other in place.lamps:
        yield from (*_dots(near, one), *_dots(one, other), *_dots(other, near))
    for end in (place.mirrored, place.through):
        if end is not None:
            yield from _dots(near, end)


def _between(one: Point, other: Point, share: float) -> Point:
    return one[0] + (other[0] - one[0]) * share, one[1] + (other[1] - one[1]) * share


def _dots(start: Point, end: Point) -> Iterator[Point]:
    count = int(hypot(end[0] - start[0], end[1] - start[1]) / _DOT_PX) + 1
    for step in range(count + 1):
        yield _between(start, end, step / count)


def _draw_lamps(pen: Pen, view: SideView, place: Sketch) -> None:
    near = (0.0, 0.0)
    for lamp, (one, other) in zip(view.lamps, place.lamps, strict=True):
        pen.path((near, one, other), _FIELD, "Z")
        pen.path((one, near, other), _EDGE)
        if not lamp.behind and abs(lamp.angle_deg) >= _LEAST_ARC_DEG:
            pen.arc(lamp.angle_deg, _ARC_PX[1])
    for lamp, ends in zip(view.lamps, place.lamps, strict=True):
        pen.path(ends, _LAMP if lamp.distance_mm is not None else _EDGE)


def _draw_web(pen: Pen, view: SideView, place: Sketch) -> None:
    pen.path(((0.0, 0.0), (0.0, -_NORMAL_PX)), _THIN)
    if abs(view.camera_deg) >= _LEAST_ARC_DEG:
        pen.arc(-view.camera_deg, _ARC_PX[0])
    for end in (place.mirrored, place.through):
        if end is not None:
            pen.path(((0.0, 0.0), end), _DASHED)
    pen.path(((-_WEB_PX, 0.0), (_WEB_PX - 4, 0.0)), _WEB)
    pen.path(
        ((_WEB_PX - 12, -7.0), (_WEB_PX, 0.0), (_WEB_PX - 12, 7.0)), {**_WEB, "stroke-width": "3"}
    )
    if view.lean_deg:
        x, y = cos(radians(view.lean_deg)) * _FACE_PX, sin(radians(view.lean_deg)) * _FACE_PX
        pen.path(((-x, y), (x, -y)), _FACE)


def _draw_camera(pen: Pen, place: Sketch) -> None:
    pen.path(((0.0, 0.0), place.lens), _RAY)
    pen.path(place.body(_BODY), {**_RAY, "fill": "#55555e"}, "Z")
    pen.path(place.body(_LENS), {**_RAY, "fill": "#fff"}, "Z")


def _draw_scale(pen: Pen, place: Sketch, start: Point) -> None:
    length_mm = round_length_mm(_BAR_SHARE * ROOM_PX[0] / place.px_per_mm)
    left, foot = start
    end = left + length_mm * place.px_per_mm
    pen.path(((left, foot - 5), (end, foot - 5)), _BAR)
    pen.text((end + 10, foot), f"{length_mm:g} mm")


def _legend(view: SideView) -> Iterator[str]:
    distance_mm = view.working_distance_mm
    lens = "" if distance_mm is None else f", lens {distance_mm:.4g} mm from the web"
    yield f"camera {view.camera_deg:.4g}° from the normal{lens}"
    for name, lamp in zip(lamp_names(view), view.lamps, strict=True):
        colon = ":" * (len(view.lamps) > 1)
        yield f"{name}{colon} {lamp.angle_deg:.4g}°, {_extent(lamp)}"
    if any(not lamp.behind for lamp in view.lamps):
        yield f"dashed: the camera's view mirrored, {view.mirror_deg:.4g}°"
    if any(lamp.behind for lamp in view.lamps):
        yield "dashed: the camera's view through the web"
    if view.lean_deg:
        yield f"blue: the face leans {view.lean_deg:.4g}°"
    if distance_mm is None:
        yield f"camera {UNSCALED}" if any(_distances(view)) else UNSCALED


def _extent(lamp: LampView) -> str:
    known = lamp.distance_mm is not None
    distance = f"{lamp.distance_mm:.4g} mm away" if known else "its direction alone"
    return f"{lamp.angular_width_deg:.4g}° wide, {'behind, ' if lamp.behind else ''}{distance}"
