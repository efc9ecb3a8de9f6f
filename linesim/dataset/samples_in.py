"""Reading back what a set holds."""

import json
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.layout import files_of
from linesim.dataset.plan import Plan
from linesim.dataset.record import Record
from linesim.setup.errors import InputError


def read_record(plan: Plan, folder: Path, index: int) -> Record:
    """
    Read the record of an image.

    Parameters
    ----------
    plan : Plan
        The plan.
    folder : pathlib.Path
        Of the set.
    index : int
        Of the image, from 0.

    Returns
    -------
    dict
        As it was written.

    Raises
    ------
    InputError
        Where it is damaged.
    """
    file = folder / files_of(plan, index)[-1]
    try:
        told: Any = json.loads(file.read_text("utf-8"))
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict) or not told:
        msg = (
            f'"{file}" cannot be read; expected the record that linesim dataset wrote there: '
            "removed, --resume makes that image again"
        )
        raise InputError(msg)
    return told


def read_samples(path: Path) -> NDArray[Any]:
    """
    Read an image or a mask of a set.

    Parameters
    ----------
    path : pathlib.Path
        PNG or TIFF.

    Returns
    -------
    ndarray of uint8 or uint16
        Samples as they are.

    Raises
    ------
    InputError
        Where it is damaged.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _decoded(path)
    except Exception as fault:  # decoders raise whatever they like
        msg = f'"{path.name}" cannot be read as an image; it is not as it was made'
        raise InputError(msg) from fault


def _decoded(path: Path) -> NDArray[Any]:
    """Read an image by its ending."""
    if path.suffix == ".png":
        import imagecodecs  # noqa: PLC0415 -- quick --help

        return np.asarray(imagecodecs.png_decode(path.read_bytes()))
    import tifffile  # noqa: PLC0415 -- quick --help

    return np.asarray(tifffile.imread(path))
