"""A target whose face mirrors, leans or has relief: the radiance factor of each of its pixels."""

from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, radians, sin, tan
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from linesim.files.images_in import read_image
from linesim.forward.reference import Reference
from linesim.forward.surface import Finish, Strip, radiance_factors
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.targets.levels import Levels, Tiles

_HORIZON_DEG = 89.9
_STEPS = 2.5
"""Of the coarse table in the smaller rms slope; a lobe is smooth on that scale."""
_FINER, _FINEST, _SIDE = 8, 24, 1500
"""Steps of the fine table in one of the coarse; and about how many there are in a row of it."""
_AT_ONCE = 1 << 15
"""Pixels that are worked on together, so that they stay in the processor's cache."""
_MOST_FACES = 300
_MATT_STEP = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """
    How the face of a target meets light and camera.

    Parameters
    ----------
    strip : Strip
        The light.
    view_deg : float
        Of the camera from the normal of the target. [deg]
    finish : Finish or None
        None: matt.
    slopes : tuple of float
        Tangents by which the whole face leans across and along.
    """

    strip: Strip
    view_deg: float
    finish: Finish | None
    slopes: tuple[float, float]

    @property
    def level(self) -> tuple[float, float]:
        """Radiance factors of the face where it has no relief: matt of white, and mirrored."""
        matt, gloss = _factors(self, np.array([self.slopes]))
        return float(matt[0]), float(gloss[0])


def _factors(face: Face, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    angle = radians(face.view_deg)
    view = np.array([0.0, -sin(angle), np.cos(angle)])
    finish = face.finish or Finish(gloss=0.0, rms_across=1.0, rms_along=1.0)
    matt, gloss = radiance_factors(face.strip, finish, view, slopes)
    return matt, gloss if face.finish else np.zeros_like(gloss)


def face_of(setup: Setup) -> Face | None:
    """
    Take the face of a target out of a setup.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Face or None
        None where the target is matt and level: whatever the lamp, it sends back its reflectance.
    """
    target, light = setup.target, setup.light
    leans = (target.slope_across_deg or 0.0, target.slope_along_deg or 0.0)
    if not target.gloss and target.relief is None and leans == (0.0, 0.0):
        return None
    middle, half = light.angle_deg or 0.0, (light.angular_width_deg or 0.0) / 2
    if light.arrangement != "line":
        middle, half = 0.0, _HORIZON_DEG
    finish = None
    if target.gloss:
        both = target.rms_slope
        finish = Finish(
            gloss=target.gloss,
            rms_across=float(both or target.rms_slope_across or 0.0),
            rms_along=float(both or target.rms_slope_along or 0.0),
        )
    return Face(
        strip=Strip(low_deg=middle - half, high_deg=middle + half),
        view_deg=setup.camera.angle_deg or 0.0,
        finish=finish,
        slopes=(tan(radians(leans[0])), tan(radians(leans[1]))),
    )


def faced_levels(setup: Setup, face: Face, levels: Levels) -> Levels:
    """Give levels of a target under its lamp, as shares of white, from those of its matt part."""
    matt, gloss = face.level
    added = gloss / setup.target.white_reflectance
    return Levels(
        product=tuple(matt * each + added for each in levels.product),
        brightest=tuple(matt * each + added for each in levels.brightest),
    )


def faced_tiles(setup: Setup, face: Face, tiles: Tiles | None) -> Tiles | None:
    """Give tiles of a target under its lamp, from those of its matt part."""
    if tiles is None:
        return None
    matt, gloss = face.level
    return replace(tiles, data=matt * tiles.data + gloss / setup.target.white_reflectance)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relief:
    """
    Heights of a target, and what slopes send to the camera.

    Parameters
    ----------
    heights : ndarray of float32, shape (rows + 2, columns + 2)
        On the target's own pixels, and one more on each side. [µm]
    steps : tuple of float
        Places in the tables for a difference of heights over two pixels, across and along.
    starts : tuple of float
        Places of a level pixel.
    matt, gloss : ndarray of float32, shape (along, across)
        Radiance factors of white's matt part and of the mirrored light.
    """

    heights: ImageArray
    steps: tuple[float, float]
    starts: tuple[float, float]
    matt: ImageArray
    gloss: ImageArray

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the target."""
        rows, columns = self.heights.shape
        return rows - 2, columns - 2

    def light(self, data: ImageArray, first: int) -> None:
        """Turn reflectances of rows into radiance factors, in place, a few rows at a time."""
        rows, columns = data.shape[:2]
        count = max(1, _AT_ONCE // columns)
        for low in range(0, rows, count):
            part = data[low : low + count]
            places = self._places(first + low, first + low + len(part))
            matt, gloss = (table.ravel().take(places) for table in (self.matt, self.gloss))
            part *= matt if part.ndim == matt.ndim else matt[..., None]
            part += gloss if part.ndim == gloss.ndim else gloss[..., None]

    def _places(self, first: int, last: int) -> NDArray[np.int32]:
        """Find the nearest faces in the tables, by differences over two pixels."""
        part = self.heights[first : last + 2]
        along = part[2:, 1:-1] - part[:-2, 1:-1]
        across = part[1:-1, 2:] - part[1:-1, :-2]
        places = _nearest(along, self.steps[1], self.starts[1])
        places *= self.matt.shape[1]
        places += _nearest(across, self.steps[0], self.starts[0])
        return places


def _nearest(rise: ImageArray, step: float, start: float) -> NDArray[np.int32]:
    rise *= np.float32(step)
    rise += np.float32(start + 0.5)  # what is cut off rounds
    return rise.astype(np.int32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FacedReference:
    """
    A reference whose values are radiance factors.

    Parameters
    ----------
    matt : Reference
        The matt part: reflectances as shares of white.
    face : Face
        Lamp, camera and finish.
    white_reflectance : float
        What those shares are of.
    relief : Relief or None
        None: level.
    cautions : tuple of str
        Sentences from reading.
    """

    matt: Reference
    face: Face
    white_reflectance: float
    relief: Relief | None = None
    cautions: tuple[str, ...] = ()

    @property
    def pixel_size_um(self) -> float:
        """Side of one square reference pixel on the target. [µm]."""
        return self.matt.pixel_size_um

    @property
    def shape(self) -> tuple[int, ...]:
        """(rows, columns) or (rows, columns, 3)."""
        return self.matt.shape

    def rows(self, first: int, last: int) -> ImageArray:
        """Give radiance factors of some rows, as shares of white."""
        data = self.matt.rows(first, last)
        if self.relief is None:
            matt, gloss = self.face.level
            return np.asarray(data * np.float32(matt) + np.float32(gloss / self.white_reflectance))
        data = np.array(data)
        self.relief.light(data, first)
        return data


def lit_reference(setup: Setup, matt: Reference) -> Reference:
    """
    Give a target as its lamp and camera see it.

    Parameters
    ----------
    setup : Setup
        The station.
    matt : Reference
        Reflectances of its target, as shares of white.

    Returns
    -------
    Reference
        Radiance factors of the same pixels; the reflectances themselves of a matt, level face.

    Raises
    ------
    InputError
        Where the image of heights cannot be read, has other pixels, or is too steep.
    """
    face, relief = face_of(setup), None
    if face is None:
        return matt
    if setup.target.relief is not None:
        path = setup.folder / setup.target.relief
        relief = _relief(
            path,
            path.stat().st_mtime_ns,
            setup.target.relief,
            (setup.target.relief_range_um or 0.0, setup.target.pixel_size_um),
            setup.target.white_reflectance,
            face,
        )
        if relief.shape != matt.shape[:2]:
            rows, columns = relief.shape
            msg = (
                f'target.relief "{setup.target.relief}": read {columns} x {rows} pixels, but the '
                f"target has {matt.shape[1]} x {matt.shape[0]}; expected as many"
            )
            raise InputError(msg)
    cautions = getattr(matt, "cautions", ())
    return FacedReference(
        matt=matt,
        face=face,
        white_reflectance=setup.target.white_reflectance,
        relief=relief,
        cautions=cautions,
    )


@lru_cache(maxsize=4)
def _relief(
    path: Path,
    changed_ns: int,
    name: str,
    sizes: tuple[float, float],
    white_reflectance: float,
    face: Face,
) -> Relief:
    range_um, pixel_um = sizes
    heights = _heights(path, changed_ns, name, range_um)
    across, along = heights[:, 2:] - heights[:, :-2], heights[2:] - heights[:-2]
    # a face that rises turns its normal back
    spans = [
        (lean - float(rise.max()) / (2 * pixel_um), lean - float(rise.min()) / (2 * pixel_um))
        for lean, rise in zip(face.slopes, (across, along), strict=True)
    ]
    finish = face.finish
    rms = (finish.rms_across, finish.rms_along) if finish else (_MATT_STEP * _STEPS,) * 2
    grids = [_grid(span, each, name) for span, each in zip(spans, rms, strict=True)]
    fine = [_refined(grid) for grid in grids]
    matt, gloss = (_finer(table, grids, fine) for table in _tables(face, *grids))
    per_slope = [1 / (each[1] - each[0]) for each in fine]
    return Relief(
        heights=heights,
        steps=(-per_slope[0] / (2 * pixel_um), -per_slope[1] / (2 * pixel_um)),
        starts=(
            (face.slopes[0] - fine[0][0]) * per_slope[0],
            (face.slopes[1] - fine[1][0]) * per_slope[1],
        ),
        matt=matt,
        gloss=gloss / np.float32(white_reflectance),
    )


@lru_cache(maxsize=1)
def _heights(path: Path, _changed_ns: int, name: str, range_um: float) -> ImageArray:
    """Read heights once for all lamps; one more on each side, in line with the last two."""
    image = read_image(path, encoding="linear", max_pixels=10**9, written=name).data
    if image.ndim > 2:  # noqa: PLR2004 -- colours
        msg = f'target.relief "{name}": read a colour image; expected a grey one, black low'
        raise InputError(msg)
    return np.pad(image, 1, mode="reflect", reflect_type="odd") * np.float32(range_um)


def _refined(grid: FloatArray) -> FloatArray:
    """Lay slopes so finely that the nearest will do, as far as the table stays in reach."""
    count = (len(grid) - 1) * max(_FINER, min(_FINEST, _SIDE // len(grid))) + 1
    return np.linspace(grid[0], grid[-1], count)


def _grid(span: tuple[float, float], rms: float, name: str) -> FloatArray:
    """Lay slopes over a span, finely against the lobe of the facets."""
    low, high = span
    step = rms / _STEPS
    count = max(4, ceil((high - low) / step)) + 1
    if count > _MOST_FACES:
        msg = (
            f'target.relief "{name}": its slopes reach from {low:.2g} to {high:.2g}, which is '
            f"over {_MOST_FACES / _STEPS:.0f} times the rms slope of {rms:g}; expected a smaller "
            "relief_range, or a larger rms_slope"
        )
        raise InputError(msg)
    middle, half = (low + high) / 2, step * (count - 1) / 2
    return np.linspace(middle - half, middle + half, count)


def _tables(face: Face, across: FloatArray, along: FloatArray) -> tuple[FloatArray, FloatArray]:
    slopes = np.stack(np.meshgrid(across, along), axis=-1)
    matt, gloss = _factors(face, slopes.reshape(-1, 2))
    return matt.reshape(slopes.shape[:2]), gloss.reshape(slopes.shape[:2])


def _finer(table: FloatArray, grids: list[FloatArray], fine: list[FloatArray]) -> ImageArray:
    """Bring a table to finer steps by a cubic spline; light is not negative."""
    spline = RectBivariateSpline(grids[1], grids[0], table)
    return np.asarray(np.maximum(spline(fine[1], fine[0]), 0), dtype=np.float32)
