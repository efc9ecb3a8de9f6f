"""A target whose face mirrors, leans or has relief: the radiance factor of each of its pixels."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import refuse
from linesim.setup.infiles import changed_ns
from linesim.setup.setup import Setup
from linesim.targets.faces.face import Face, face_of, passes_by_image
from linesim.targets.faces.on_device import light_on
from linesim.targets.faces.relief import Heights, Relief, read_grey, read_heights, relief_of
from linesim.targets.levels import Levels
from linesim.targets.painted import FacedTarget, all_rows

if TYPE_CHECKING:
    import torch

_LEVEL_PLACES, _MATT_TURN = 20, 0.1
"""Places along the line within which light turns by one rms slope; and a slope for a matt face."""


def faced_levels(face: Face, levels: Levels) -> Levels:
    """Give levels of a target under its lamp, as shares of white, from those of its matt part."""
    return Levels(
        product=tuple(map(face.lit, levels.product)),
        brightest=tuple(map(face.lit, levels.brightest)),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FacedReference:
    """A reference whose values are radiance factors."""

    # what the lamps meet: reflectances, or where they stand behind what it lets through, as shares
    # of white
    matt: Reference
    face: Face  # lamps, camera and finish
    relief: Relief | None = None  # none: level
    gloss: Reference | None = None  # share of the finish's gloss that each pixel has
    # share of each pixel that is target, where light comes from behind: through the rest it goes
    # straight on
    there: Reference | None = None
    cautions: tuple[str, ...] = ()  # sentences from reading

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
        seen = self._lit(first, last)
        if self.there is None:
            return seen
        share = self.there.rows(first, last)
        straight = self.matt.rows(first, last) * self._along_the_line(_straight(self.face))
        return np.asarray(straight + share * (seen - straight))

    def on_device(
        self, device: "torch.device", uploaded: Callable[[Reference], "torch.Tensor"]
    ) -> "torch.Tensor | None":
        """Light all of it on a device, with relief of one gloss; otherwise it is lit by rows."""
        if self.relief is None or self.gloss is not None or self.there is not None:
            return None
        # what lies there already is not this reference's to write on
        data = uploaded(self.matt).to(device).clone()
        light_on(data, self.relief)
        return data

    def _lit(self, first: int, last: int) -> ImageArray:
        data = self.matt.rows(first, last)
        own = None if self.gloss is None else self.gloss.rows(first, last)
        if self.relief is not None:
            data = np.array(data)
            self.relief.light(data, first, own)
            return data
        if own is None and not self.face.varies:
            return self.face.lit(data)
        matt, gloss, bare = (self._along_the_line(each) for each in _factors(self.face))
        sheen = gloss if own is None else own * (gloss - bare) + bare
        if data.ndim > sheen.ndim and own is not None:
            sheen = sheen[..., None]
        if data.ndim > 2:  # noqa: PLR2004 -- colours
            matt, sheen = matt[:, None], sheen if own is not None else sheen[:, None]
        return np.asarray(data * matt + sheen, dtype=np.float32)

    def _along_the_line(self, factor: "_Factor") -> ImageArray:
        """Give a factor of the level face at each column."""
        columns = self.shape[1]
        half_mm = columns * self.pixel_size_um / 2000
        smallest = self.face.finish.rms_across if self.face.finish else _MATT_TURN
        places_mm = self.face.places(half_mm, smallest / _LEVEL_PLACES)
        found = factor.face.level_at(tuple(places_mm.tolist()))[factor.part] / factor.over
        column_mm = (np.arange(columns) + 0.5) * self.pixel_size_um / 1000 - half_mm
        return np.interp(column_mm, places_mm, found).astype(np.float32)


class _Factor(NamedTuple):
    """A factor of a level face."""

    face: Face
    part: int
    over: float


def _straight(face: Face) -> _Factor:
    """Light that passes where there is no target."""
    through = face.through and replace(face.through, haze=0.0, bend=0.0)
    return _Factor(replace(face, finish=None, slopes=(0.0, 0.0), through=through), 0, 1.0)


def _factors(face: Face) -> tuple[_Factor, _Factor, _Factor]:
    """Matt, mirrored, and mirrored without gloss."""
    white = face.white_reflectance
    dull = replace(face, finish=face.finish and replace(face.finish, gloss=0.0))
    return _Factor(face, 0, 1.0), _Factor(face, 1, white), _Factor(dull, 1, white)


def lit_reference(setup: Setup, matt: Reference) -> Reference:
    """
    Give the radiance factors of shares of white; matt, level ones stay as they are.

    InputError where an image of heights, gloss or transmittance has other pixels, or is too steep.
    """
    face = face_of(setup)
    if face is None:
        return matt
    return FacedReference(
        matt=_met(setup, face, matt),
        face=face,
        relief=_relief(setup, face, matt),
        gloss=_gloss(setup, face, matt),
        there=_side(matt, "gloss_share") if _is_behind(setup, face) else None,
        cautions=getattr(matt, "cautions", ()),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class DrawnReference(ArrayReference):
    """The matt part of a drawn target that is held, with what else it is."""

    drawn: FacedTarget  # heights, transmittance and gloss, by rows

    @cached_property
    def heights(self) -> Heights:
        """Its relief, drawn once. [µm]."""
        return Heights.of(all_rows(self.drawn.heights, self.shape[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Rows of a drawn target's other side."""

    pixel_size_um: float
    shape: tuple[int, ...]
    rows: Callable[[int, int], ImageArray]


def _met(setup: Setup, face: Face, matt: Reference) -> Reference:
    """Give what the lamps meet: reflectances, or what is let through."""
    if not _is_behind(setup, face):
        return matt
    if isinstance(setup.target.transmittance, str):
        return _shares(setup, "transmittance", matt)
    return _side(matt, "transmittance") or matt


def _side(matt: Reference, name: str) -> Reference | None:
    """Give another side of a drawn target."""
    if not isinstance(matt, DrawnReference):
        return None
    rows = getattr(matt.drawn, name)
    return _Rows(pixel_size_um=matt.pixel_size_um, shape=matt.shape[:2], rows=rows)


def _gloss(setup: Setup, face: Face, matt: Reference) -> Reference | None:
    if isinstance(setup.target.gloss, str):
        return _shares(setup, "gloss", matt)
    mirrors = face.finish is not None and not _is_behind(setup, face)
    return _side(matt, "gloss_share") if mirrors else None


def _is_behind(setup: Setup, face: Face) -> bool:
    """Tell whether all that is seen is let through, as an image says."""
    return face.through is not None and passes_by_image(setup)


def _relief(setup: Setup, face: Face, matt: Reference) -> Relief | None:
    target = setup.target
    name = f'target.relief "{target.relief}"'
    if target.relief is not None:
        path = setup.folder / target.relief
        heights = read_heights(path, changed_ns(path), target.relief, target.relief_range_um or 0.0)
        rows, columns = heights.data.shape
        _refuse_other_size(name, (rows - 2, columns - 2), matt)
    elif isinstance(matt, DrawnReference):
        heights, name = matt.heights, f'target.image "{target.image}"'
    else:
        return None
    bare = face.finish is not None and _gloss(setup, face, matt) is not None
    return relief_of(heights, target.pixel_size_um, face, name=name, bare=bare)


def _shares(setup: Setup, key: str, matt: Reference) -> Reference:
    """Read an image of shares that has the target's pixels."""
    name = str(getattr(setup.target, key))
    path = setup.folder / name
    found = _read_shares(path, changed_ns(path), f"target.{key}", name)
    _refuse_other_size(f'target.{key} "{name}"', found.shape, matt)
    return ArrayReference(data=found, pixel_size_um=matt.pixel_size_um)


@lru_cache(maxsize=2)
def _read_shares(path: Path, _changed_ns: int, key: str, name: str) -> ImageArray:
    return read_grey(path, key, name)


def _refuse_other_size(name: str, shape: tuple[int, ...], matt: Reference) -> None:
    if shape != matt.shape[:2]:
        refuse(
            f"{name}: read {shape[1]} x {shape[0]} pixels, but the target has "
            f"{matt.shape[1]} x {matt.shape[0]}; expected as many"
        )
