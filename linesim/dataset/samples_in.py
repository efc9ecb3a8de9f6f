"""Reading back what a set holds."""

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.layout import files_of
from linesim.dataset.plan import Plan
from linesim.dataset.record import Record


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
    """
    told: Record = json.loads((folder / files_of(plan, index)[-1]).read_text("utf-8"))
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
    """
    if path.suffix == ".png":
        import imagecodecs  # noqa: PLC0415 -- quick --help

        return np.asarray(imagecodecs.png_decode(path.read_bytes()))
    import tifffile  # noqa: PLC0415 -- quick --help

    return np.asarray(tifffile.imread(path))
