"""
The target that a setup names: drawn by linesim, or read from an image file.

What a look at a target finds is kept by what it depends on alone, so that setups which differ in
light or in how white the target is share one look, as the points of a range do.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from math import prod
from pathlib import Path

import numpy as np

from linesim.files.images_in import LoadedImage, read_image
from linesim.forward.profile import half_line_mm
from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError
from linesim.setup.infiles import changed_ns
from linesim.setup.model import Target
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.surface import FACED
from linesim.setup.surface import Face as FaceKeys
from linesim.targets.catalogue import PRODUCTS, built_in, make
from linesim.targets.faces.face import Face, face_of, is_imaged
from linesim.targets.faces.faced import DrawnReference, faced_levels, lit_reference
from linesim.targets.levels import Levels, Tiles, few_bands, levels_of, tiles_of
from linesim.targets.painted import FacedTarget, all_rows
from linesim.targets.windowed import WindowedReference, held_bytes, windowed

_HELD_PIXELS = 100_000_000
"""A drawn target of at most so many values is drawn once and held; a larger one by rows."""
_SCENES = {each.name for each in PRODUCTS}
_SCENE_ROWS = 256
_MOST_COLUMNS = 1_000_000
"""Of a scene, whose first rows are drawn to look at: 1 GB of them; our choice."""
_DRAWING_BYTES = 16
"""Of each value: four that stay, and what drawing a scene takes beside them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageReference(ArrayReference):
    """A target read from a file, with what there is to mind about it."""

    cautions: tuple[str, ...] = ()  # sentences from reading


@dataclass(frozen=True, slots=True, eq=False)
class Later:
    """Tiles that are cut when they are asked for."""

    cut: Callable[[], Tiles]


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetSize:
    """Size of a target, and what there is to mind about it."""

    # reference pixels along travel and across
    rows: int
    columns: int
    cautions: tuple[str, ...] = ()  # sentences from reading an image file
    levels: Levels = field(default_factory=Levels)
    # pieces of it to see its texture by, now or when they are asked for; nothing of a chart
    tiles: "Tiles | Later | None" = field(default=None, repr=False)
    # how bright good product is under the outermost pixel, over that in the middle, in one light
    ends: float = 1.0

    @classmethod
    def of(cls, reference: Reference) -> "TargetSize":
        """Give the size of a reference that is at hand."""
        cautions: tuple[str, ...] = ()
        if isinstance(reference, ImageReference | WindowedReference):
            cautions = reference.cautions
        return cls(
            rows=reference.shape[0],
            columns=reference.shape[1],
            cautions=cautions,
            levels=levels_of(reference),
            tiles=tiles_of(reference),
        )


@lru_cache(maxsize=1)
def _image(path: Path, target: Target, _changed_ns: int) -> LoadedImage:
    return read_image(
        path, encoding=target.encoding, max_pixels=target.max_pixels, written=target.image
    )


def _file(setup: Setup) -> tuple[Path, int]:
    """Name the image file, and when it was changed last."""
    path = setup.folder / setup.target.image
    return path, changed_ns(path)


def _read(setup: Setup) -> LoadedImage:
    """Read the image file; budget and scan of one file read it once."""
    path, changed_ns = _file(setup)
    return _image(path, _bare(setup.target, 1.0), changed_ns)


def _bare(target: Target, pixel_size_um: float) -> Target:
    """Leave of a target read from a file what the reading depends on."""
    left_out = dict.fromkeys(
        ("width_mm", "height_mm", "angle_deg", "contrast", *FaceKeys.model_fields)
    )
    kept = {"white_reflectance": 1.0, "repeat": False, "pixel_size_um": pixel_size_um}
    return target.model_copy(update={**left_out, **kept})


def _open(path: Path, target: Target, changed_ns: int) -> WindowedReference | None:
    if not changed_ns:
        return None  # there is no such file; the reader of whole images says so
    return windowed(
        path,
        f'target.image "{target.image}"',
        encoding=target.encoding,
        pixel_size_um=target.pixel_size_um,
    )


_opened = lru_cache(maxsize=1)(_open)


def _windowed(setup: Setup) -> WindowedReference | None:
    """Open the image file to be read by rows, where it is large and can be."""
    path, changed_ns = _file(setup)
    return _opened(path, _bare(setup.target, setup.target.pixel_size_um), changed_ns)


def _drawn(target: Target) -> Reference:
    return make(
        target.image,
        pixel_size_um=target.pixel_size_um,
        width_mm=target.width_mm,
        height_mm=target.height_mm,
        angle_deg=target.angle_deg,
        contrast=target.contrast,
    )


def target_size(setup: Setup) -> TargetSize:
    """Tell how large a target is."""
    size = _matt_size(setup)
    if is_imaged(setup):
        return _seen_size(setup, size)
    return lit_size(setup, size)


@lru_cache(maxsize=256)
def _seen_size(setup: Setup, size: TargetSize) -> TargetSize:
    found = lit_size(setup, size, target_reference(setup))
    if found.tiles is None:
        return found
    # what is kept holds no pixels
    return replace(found, tiles=Later(partial(_seen_tiles, setup)))


def _seen_tiles(setup: Setup) -> Tiles:
    return tiles_of(few_bands(lit_reference(setup, target_reference(setup))))


def given_size(setup: Setup, given: Reference) -> TargetSize:
    """Look at a target whose matt part is at hand, as its lamp shows it."""
    # where images make the face, the levels are those of what is seen
    size = TargetSize.of(few_bands(given) if is_imaged(setup) else given)
    rows, cautions = given.shape[0], getattr(given, "cautions", ())
    return lit_size(setup, replace(size, rows=rows, cautions=cautions), given)


def lit_size(setup: Setup, size: TargetSize, matt: Reference | None = None) -> TargetSize:
    """
    Say how light a target is under its lamp, from the size of its matt part.

    That part is looked at where there is relief and it is given; a matt, level one stays as it is.
    """
    face = face_of(setup)
    if face is None:
        return size
    ends = _ends(setup, face, size.levels)
    if not is_imaged(setup) or matt is None:
        return replace(
            size,
            levels=faced_levels(face, size.levels),
            tiles=_lit_tiles(face, size.tiles),
            ends=ends,
        )
    seen = few_bands(lit_reference(setup, matt))
    # tiles take a while, and very many stations need none
    tiles = None if size.tiles is None else Later(partial(tiles_of, seen))
    return replace(size, levels=levels_of(seen), tiles=tiles, ends=ends)


def _lit_tiles(face: Face, tiles: Tiles | Later | None) -> Tiles | None:
    """Light tiles of the matt part of a level face."""
    own = tiles.cut() if isinstance(tiles, Later) else tiles
    return own and replace(own, data=face.lit(own.data))


def _ends(setup: Setup, face: Face, levels: Levels) -> float:
    """Compare what the level face sends back from under the outermost pixel with the middle."""
    if not face.varies:
        return 1.0
    columns = setup.camera.pixels // setup.acquisition.binning.across
    place_mm = float(half_line_mm(setup)) * (1 - 1 / columns)
    middle, end = (
        np.array([face.lit(each, at) for each in levels.product]) for at in (0, place_mm)
    )
    return float(np.min(np.where(middle > 0, end / np.maximum(middle, 1e-300), 1.0)))


def _matt_size(setup: Setup) -> TargetSize:
    """Look at the matt part of a target."""
    if setup.target.image in BUILT_IN:
        entry, (rows, columns) = built_in(setup.target.image), _drawn(setup.target).shape[:2]
        if entry.name in _SCENES and columns > _MOST_COLUMNS:
            raise InputError(_too_wide(setup, columns))
        return TargetSize(
            rows=rows,
            columns=columns,
            levels=Levels(product=entry.product, brightest=entry.brightest),
            tiles=_scene_tiles(_drawn_alike(setup.target)) if entry.name in _SCENES else None,
        )
    return _file_size(*_file(setup), _bare(setup.target, setup.target.pixel_size_um))


def _too_wide(setup: Setup, columns: int) -> str:
    return (
        f"target.width: read {shown(setup.texts['target'].get('width'))}, which is {columns} "
        f"pixels of {setup.target.pixel_size_um:g} um across, but a drawn scene has at most "
        f"{_MOST_COLUMNS}; expected little more than the line sees, "
        f"{2 * float(half_line_mm(setup)):.3g} mm, or a larger target.pixel_size"
    )


def _drawn_alike(target: Target) -> Target:
    """Leave of a target what its drawing depends on."""
    kept = {"white_reflectance": 1.0, "repeat": False, "max_pixels": 4, "encoding": "linear"}
    return target.model_copy(update={**dict.fromkeys(FaceKeys.model_fields), **kept})


@lru_cache(maxsize=4)
def _scene_tiles(target: Target) -> Tiles:
    """Look at the first rows of a scene: all of it would take its time."""
    return tiles_of(ArrayReference(data=_first_rows(target), pixel_size_um=target.pixel_size_um))


@lru_cache(maxsize=1)
def _first_rows(target: Target) -> ImageArray:
    """Draw the first rows of a scene, which are kept until all of it is drawn."""
    drawn = _drawn(target)
    return drawn.rows(0, min(drawn.shape[0], _SCENE_ROWS))


def _all_rows(target: Target) -> ImageArray:
    """Draw a target whole; of a scene the rows that were looked at stand."""
    drawn, head = _drawn(target), _first_rows(target) if target.image in _SCENES else None
    _first_rows.cache_clear()
    return all_rows(drawn.rows, drawn.shape[0], head=head)


@lru_cache(maxsize=4)
def _file_size(path: Path, changed_ns: int, target: Target) -> TargetSize:
    """Look at an image file; how large its pixels are changes nothing but that."""
    seen = _looked_at(path, changed_ns, _bare(target, 1.0))
    own = seen.tiles
    tiles = replace(own, pixel_um=target.pixel_size_um) if isinstance(own, Tiles) else None
    return replace(seen, tiles=tiles)


@lru_cache(maxsize=4)
def _looked_at(path: Path, changed_ns: int, target: Target) -> TargetSize:
    # opened for this look alone: what it holds of the file goes with it
    by_rows = _open(path, target, changed_ns)
    if by_rows is not None:
        return TargetSize.of(by_rows)
    loaded = _image(path, target, changed_ns)
    return TargetSize.of(
        ImageReference(
            data=loaded.data, pixel_size_um=target.pixel_size_um, cautions=loaded.cautions
        )
    )


def product_size(setup: Setup, name: str) -> TargetSize:
    """Look at another image, of good product, that has the target's pixels and encoding."""
    path = setup.folder / name
    product = _bare(setup.target, setup.target.pixel_size_um).model_copy(update={"image": name})
    return _file_size(path, changed_ns(path), product)


def drawn_bytes(setup: Setup) -> int:
    """
    Tell what the target will take, where it is still to be drawn or is read by rows.

    It is 0 for an image that is read whole, by now, and for what is drawn by rows.
    """
    if setup.target.image not in BUILT_IN:
        by_rows = _windowed(setup)
        return 0 if by_rows is None else held_bytes(by_rows)
    drawn = _drawn(setup.target)
    return prod(drawn.shape) * _DRAWING_BYTES if _is_held(setup, drawn) else 0


def _whole(setup: Setup) -> ImageReference:
    read, pitch_um = _read(setup), setup.target.pixel_size_um
    return ImageReference(data=read.data, pixel_size_um=pitch_um, cautions=read.cautions)


@lru_cache(maxsize=1)
def _held(target: Target) -> Reference:
    """Draw a target whole, once for all that ask for it; the one before it goes first."""
    _held.cache_clear()
    drawn, data, pitch_um = _drawn(target), _all_rows(target), target.pixel_size_um
    if target.image in FACED and isinstance(drawn, FacedTarget):
        return DrawnReference(data=data, pixel_size_um=pitch_um, drawn=drawn)
    return ArrayReference(data=data, pixel_size_um=pitch_um)


def _is_held(setup: Setup, drawn: Reference) -> bool:
    """Tell whether it is drawn once: an even target costs nothing to draw again, a scene does."""
    return setup.target.image != "flat" and prod(drawn.shape[:2]) <= _HELD_PIXELS


def target_reference(setup: Setup) -> Reference:
    """Draw or read the target."""
    if setup.target.image not in BUILT_IN:
        return _windowed(setup) or _whole(setup)
    drawn = _drawn(setup.target)
    if _is_held(setup, drawn):
        return _held(_drawn_alike(setup.target))
    if setup.target.image not in FACED:
        return drawn
    msg = (
        f"target.width, target.height: read a {setup.target.image} of {drawn.shape[1]} x "
        f"{drawn.shape[0]} pixels, but its relief is held in memory; expected at most "
        f"{_HELD_PIXELS / 1e6:.0f} million pixels, with repeat = true for more of it"
    )
    raise InputError(msg)
