"""The target that a setup names: drawn by linesim, or read from an image file."""

from dataclasses import dataclass
from functools import lru_cache
from math import prod
from pathlib import Path

from linesim.files.images_in import LoadedImage, read_image
from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.model import Target
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.targets.catalogue import make
from linesim.targets.windowed import WindowedReference, held_bytes, windowed

_HELD_PIXELS = 100_000_000
"""A drawn target of at most so many values is drawn once and held; a larger one by rows."""
_DRAWING_BYTES = 16
"""Of each value: four that stay, and what drawing a scene takes beside them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageReference(ArrayReference):
    """
    A target read from a file, with what there is to mind about it.

    Parameters
    ----------
    data, pixel_size_um : ndarray, float
        As for `ArrayReference`.
    cautions : tuple of str
        Sentences from reading.
    """

    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetSize:
    """
    Size of a target, and what there is to mind about it.

    Parameters
    ----------
    rows, columns : int
        Reference pixels along travel and across.
    cautions : tuple of str
        Sentences from reading an image file.
    """

    rows: int
    columns: int
    cautions: tuple[str, ...] = ()

    @classmethod
    def of(cls, reference: Reference) -> "TargetSize":
        """Give the size of a reference that is at hand."""
        cautions: tuple[str, ...] = ()
        if isinstance(reference, ImageReference | WindowedReference):
            cautions = reference.cautions
        return cls(rows=reference.shape[0], columns=reference.shape[1], cautions=cautions)


@lru_cache(maxsize=1)
def _image(path: Path, target: Target, _changed_ns: int) -> LoadedImage:
    return read_image(
        path, encoding=target.encoding, max_pixels=target.max_pixels, written=target.image
    )


def _file(setup: Setup) -> tuple[Path, int]:
    """Name the image file, and when it was changed last."""
    path = setup.folder / setup.target.image
    return path, path.stat().st_mtime_ns if path.exists() else 0


def _read(setup: Setup) -> LoadedImage:
    """Read the image file; budget and scan of one file read it once."""
    path, changed_ns = _file(setup)
    return _image(path, setup.target, changed_ns)


@lru_cache(maxsize=1)
def _opened(path: Path, target: Target, changed_ns: int) -> WindowedReference | None:
    if not changed_ns:
        return None  # there is no such file; the reader of whole images says so
    return windowed(
        path,
        f'target.image "{target.image}"',
        encoding=target.encoding,
        pixel_size_um=target.pixel_size_um,
    )


def _windowed(setup: Setup) -> WindowedReference | None:
    """Open the image file to be read by rows, where it is large and can be."""
    path, changed_ns = _file(setup)
    return _opened(path, setup.target, changed_ns)


def _drawn(setup: Setup) -> Reference:
    target = setup.target
    return make(
        target.image,
        pixel_size_um=target.pixel_size_um,
        width_mm=target.width_mm,
        height_mm=target.height_mm,
        angle_deg=target.angle_deg,
        contrast=target.contrast,
    )


def target_size(setup: Setup) -> TargetSize:
    """
    Tell how large a target is.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    TargetSize
        Rows, columns and cautions.

    Raises
    ------
    InputError
        Where the image cannot be read or the target not be drawn.
    """
    if setup.target.image in BUILT_IN:
        rows, columns = _drawn(setup).shape[:2]
        return TargetSize(rows=rows, columns=columns)
    by_rows = _windowed(setup)
    if by_rows is not None:
        return TargetSize.of(by_rows)
    loaded = _read(setup)
    rows, columns = loaded.data.shape[:2]
    return TargetSize(rows=rows, columns=columns, cautions=loaded.cautions)


def drawn_bytes(setup: Setup) -> int:
    """
    Tell what the target will take, where it is still to be drawn or is read by rows.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    int
        Bytes; 0 for an image that is read whole, by now, and for what is drawn by rows.

    Raises
    ------
    InputError
        Where the target cannot be drawn.
    """
    if setup.target.image not in BUILT_IN:
        by_rows = _windowed(setup)
        return 0 if by_rows is None else held_bytes(by_rows)
    drawn = _drawn(setup)
    return prod(drawn.shape) * _DRAWING_BYTES if _is_held(setup, drawn) else 0


def _is_held(setup: Setup, drawn: Reference) -> bool:
    """Tell whether it is drawn once: an even target costs nothing to draw again, a scene does."""
    rows, columns = drawn.shape[:2]
    return setup.target.image != "flat" and rows * columns <= _HELD_PIXELS


def target_reference(setup: Setup) -> Reference:
    """
    Draw or read the target.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Reference
        Ready for the forward model.

    Raises
    ------
    InputError
        Where the image cannot be read or the target not be drawn.
    """
    pitch_um = setup.target.pixel_size_um
    if setup.target.image not in BUILT_IN:
        by_rows = _windowed(setup)
        if by_rows is not None:
            return by_rows
        read = _read(setup)
        return ImageReference(data=read.data, pixel_size_um=pitch_um, cautions=read.cautions)
    drawn = _drawn(setup)
    if not _is_held(setup, drawn):
        return drawn
    return ArrayReference(data=drawn.rows(0, drawn.shape[0]), pixel_size_um=pitch_um)
