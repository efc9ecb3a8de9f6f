"""The target that a setup names: drawn by linesim, or read from an image file."""

from dataclasses import dataclass
from functools import lru_cache
from math import prod
from pathlib import Path

from linesim.files.images_in import LoadedImage, read_image
from linesim.forward.reference import ArrayReference, Reference
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.targets.catalogue import make

_HELD_PIXELS = 100_000_000
"""A drawn target of at most so many values is drawn once and held; a larger one by rows."""
_DRAWING_BYTES = 8
"""Of each value: four that stay, and as many while it is drawn."""


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
        return cls(rows=reference.shape[0], columns=reference.shape[1])


@lru_cache(maxsize=1)
def _image(path: Path, encoding: str, written: str, _changed_ns: int) -> LoadedImage:
    return read_image(path, encoding="srgb" if encoding == "srgb" else "linear", written=written)


def _read(setup: Setup) -> LoadedImage:
    """Read the image file; budget and scan of one file read it once."""
    path = setup.folder / setup.target.image
    changed_ns = path.stat().st_mtime_ns if path.exists() else 0
    return _image(path, setup.target.encoding, setup.target.image, changed_ns)


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
    loaded = _read(setup)
    rows, columns = loaded.data.shape[:2]
    return TargetSize(rows=rows, columns=columns, cautions=loaded.cautions)


def drawn_bytes(setup: Setup) -> int:
    """
    Tell what holding the target takes, where it is still to be drawn.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    int
        Bytes; 0 for an image file, which is read by now, and for what is drawn by rows.

    Raises
    ------
    InputError
        Where the target cannot be drawn.
    """
    if setup.target.image not in BUILT_IN or not _is_held(setup, _drawn(setup)):
        return 0
    return prod(_drawn(setup).shape) * _DRAWING_BYTES


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
        return ArrayReference(data=_read(setup).data, pixel_size_um=pitch_um)
    drawn = _drawn(setup)
    if not _is_held(setup, drawn):
        return drawn
    return ArrayReference(data=drawn.rows(0, drawn.shape[0]), pixel_size_um=pitch_um)
