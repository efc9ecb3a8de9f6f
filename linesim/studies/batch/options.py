"""One option of a space: its points, and the setup that they make."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from linesim.forward.station import station
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.batch.axes import SHARE, Point
from linesim.studies.rank.space import Space


def changes_of(points: Sequence[Point]) -> dict[str, Any]:
    """Join what some points change."""
    return {key: value for point in points for key, value in point.changes.items()}


def option(space: Space, index: int) -> list[Point]:
    """
    Give the points that make an option.

    Parameters
    ----------
    space : Space
        What may be chosen.
    index : int
        Which option.

    Returns
    -------
    list of Point
        One of each axis.
    """
    places = np.unravel_index(index, space.shape)
    return [axis.points[int(k)] for axis, k in zip(space.axes, places, strict=True)]


def option_setup(space: Space, index: int) -> Setup:
    """
    Give one option as a setup, through the door.

    Parameters
    ----------
    space : Space
        What may be chosen.
    index : int
        Which option.

    Returns
    -------
    Setup
        Checked.

    Raises
    ------
    InputError
        Where it is no valid setup.
    """
    points = option(space, index)
    setup = changed(space.base, changes_of(points))
    shares = [p.number for axis, p in zip(space.axes, points, strict=True) if axis.name == SHARE]
    if not shares or shares[0] == 1:
        return setup
    exposure_us = float(shares[0] or 0.0) * float(station(setup).timing.exposure_us)
    return changed(setup, {"acquisition.exposure": f"{exposure_us!r} us"})
