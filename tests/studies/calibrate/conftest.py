"""A camera that knows nothing of linesim: light in, an image file out."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

Array = NDArray[np.float64]


def srgb(linear: Array) -> Array:
    """Encode light, IEC 61966-2-1:1999."""
    bent = 1.055 * np.maximum(linear, 1e-12) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, bent)


def toned(light: Array, *, glare: float = 0.0, gamma: float = 1.0, shoulder: float = 0.0) -> Array:
    """
    Give the camera's value of a light, the way round that a camera goes.

    The light with its glare, compressed in the lights, bent.
    """
    seen = light + glare
    pressed = seen * (1 + shoulder) / (1 + shoulder * seen)
    return np.asarray(pressed ** (1 / gamma))


def card(levels: list[float], side: int = 24) -> tuple[Array, list[str]]:
    """Give a strip of even fields and where the middle of each is, as --patch has it."""
    scene = np.concatenate([np.full((side, side), level) for level in levels], axis=1)
    inner = side - 8
    places = [f"{side * n + 4},4,{inner},{inner} = {level}" for n, level in enumerate(levels)]
    return scene, places


@pytest.fixture
def photographed(tmp_path: Path) -> Callable[..., Path]:
    """Give a function that writes values as an image file: of floats, or of so many bits."""

    def write(values: Array, name: str = "photo.tif", bits: int = 0) -> Path:
        path = tmp_path / name
        if not bits:
            tifffile.imwrite(path, values.astype(np.float32))
            return path
        codes = np.rint((2**bits - 1) * np.clip(srgb(values), 0, 1))
        kind = np.uint8 if bits == 8 else np.uint16
        photometric = "rgb" if values.ndim == 3 else "minisblack"
        tifffile.imwrite(path, codes.astype(kind), photometric=photometric)
        return path

    return write
