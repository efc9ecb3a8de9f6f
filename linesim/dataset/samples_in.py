"""Reading back what a set holds."""

import json
import warnings
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from numpy.typing import NDArray

from linesim.dataset.layout import record_name
from linesim.dataset.plan.plan import Plan
from linesim.dataset.record import Record
from linesim.setup.errors import InputError, refuse


def read_record(plan: Plan, folder: Path, index: int) -> Record:
    """Read the record of an image."""
    file = folder / record_name(plan, index)
    try:
        record: Any = json.loads(file.read_text("utf-8"))
    except (ValueError, RecursionError):
        record = None
    if not isinstance(record, dict) or not record:
        refuse(
            f'"{file}" cannot be read; expected the record that linesim dataset wrote there: '
            "removed, --resume makes that image again"
        )
    return record


def read_samples(path: Path) -> NDArray[Any]:
    """Read an image or a mask of a set."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _decoded(path)
    except Exception as fault:  # decoders raise whatever they like
        msg = f'"{path}" cannot be read as an image; it is not as it was made'
        raise InputError(msg) from fault


def _decoded(path: Path) -> NDArray[Any]:
    """Read an image by its ending."""
    if path.suffix == ".png":
        return np.asarray(imagecodecs.png_decode(path.read_bytes()))
    return np.asarray(tifffile.imread(path))
