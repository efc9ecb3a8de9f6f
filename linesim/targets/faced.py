"""A target whose face mirrors, leans or has relief: the radiance factor of each of its pixels."""

from dataclasses import dataclass

import numpy as np

from linesim.forward.reference import Reference
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError
from linesim.setup.infiles import changed_ns
from linesim.setup.setup import Setup
from linesim.targets.face import Face, face_of
from linesim.targets.levels import Levels
from linesim.targets.relief import Relief, read_relief


def faced_levels(face: Face, levels: Levels) -> Levels:
    """Give levels of a target under its lamp, as shares of white, from those of its matt part."""
    return Levels(
        product=tuple(map(face.lit, levels.product)),
        brightest=tuple(map(face.lit, levels.brightest)),
    )


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
    relief : Relief or None
        None: level.
    cautions : tuple of str
        Sentences from reading.
    """

    matt: Reference
    face: Face
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
            return self.face.lit(data)
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
        relief = read_relief(
            path,
            changed_ns(path),
            setup.target.relief,
            (setup.target.relief_range_um or 0.0, setup.target.pixel_size_um),
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
        relief=relief,
        cautions=cautions,
    )
