"""A web from a photograph, as a linear TIFF file of 16 bit, written as it is drawn."""

import math
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import scipy

from linesim.files.atomic import atomic_path
from linesim.files.images_in import read_image
from linesim.files.images_out import lay_out_tiff
from linesim.files.srgb import Encoding
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError, refuse
from linesim.setup.fields import Quantity
from linesim.setup.model import FINENESS
from linesim.setup.shown import shown
from linesim.setup.vocabulary import LENGTH
from linesim.targets.extend.grain import grain, normal_scores
from linesim.targets.extend.quilt import LEAST_PX, quilt

Method = Literal["grain", "quilt"]
METHODS: Mapping[Method, str] = {
    "grain": "random phase noise with the photograph's spectrum and histogram",
    "quilt": "sewn of pieces of the photograph",
}
"""What each method is, in a few words."""
MOST_PIXELS = 25_000_000
"""Of the photograph."""
GRAINY = 0.2
"""Mean excess kurtosis of three octaves up to which a surface counts as grain; our choice."""
_FINEST_PX = (1.0, 2.0, 4.0)
_WHITE = 65535
_NORMAL_KURTOSIS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """A web to be made."""

    image: Path  # a photograph of the product, square on and evenly lit
    encoding: Encoding  # of its codes
    pixel_size_um: float  # of its pixels on the product, and of those of the web
    # across and along
    width_mm: float
    height_mm: float
    method: Method | None = None  # left out: grain where that holds the surface, else quilt
    seed: int = 0

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = (
            max(round(side_mm * 1000 / self.pixel_size_um), 2)
            for side_mm in (self.height_mm, self.width_mm)
        )
        return rows, columns


def asked_web(
    image: Path, sides: tuple[str, str], choices: tuple[str | None, str], seed: int
) -> Web:
    """Read a web and the side of a pixel, as "300 mm x 2 m"; choices: method and encoding."""
    faults: list[str] = []
    size, (method, encoding) = sides[0].split(" x "), choices
    if len(size) != 2:  # noqa: PLR2004 -- across and along
        faults.append(f'--size: read {shown(sides[0])}, but expected two, such as "300 mm x 2 m"')
    texts = [("--size", LENGTH, side) for side in size] + [("--pixel-size", FINENESS, sides[1])]
    numbers = [_number(*each, faults) for each in texts]
    for name, choice, known in (
        ("--method", method, (None, *METHODS)),
        ("--encoding", encoding, ("srgb", "linear")),
    ):
        if choice not in known:
            names = " or ".join(each for each in known if each)
            faults.append(f"{name}: read {shown(choice)}, but expected {names}")
    if faults:
        raise InputError(*faults)
    return Web(
        image=image,
        encoding="linear" if encoding == "linear" else "srgb",
        pixel_size_um=numbers[2],
        width_mm=numbers[0],
        height_mm=numbers[1],
        method=next((each for each in METHODS if each == method), None),
        seed=seed,
    )


def _number(name: str, kind: Quantity, text: str, faults: list[str]) -> float:
    try:
        return float(str(kind.checked(text, Path())))
    except ValueError as fault:
        faults.append(f"{name}: {fault}")
        return 0.0


def excess_kurtosis(photograph: ImageArray) -> float:
    """
    Tell by how much a surface is more than its spectrum.

    Of three octaves of its normal scores, the mean of the kurtosis over that of normal values: 0 of
    random phase, up to 0.1 by chance; 0.3 of scikit-image's grass and gravel, 1.4 of its bricks.
    """
    grey = photograph if photograph.ndim == 2 else photograph.mean(axis=2)  # noqa: PLR2004 -- no colours
    scores = normal_scores(grey.astype(np.float64))
    found = []
    for sigma in _FINEST_PX:
        band = scipy.ndimage.gaussian_filter(scores, sigma) - scipy.ndimage.gaussian_filter(
            scores, 2 * sigma
        )
        band = band - band.mean()
        power = float((band**2).mean())
        found.append(float((band**4).mean()) / max(power**2, 1e-300) - _NORMAL_KURTOSIS)
    return float(np.mean(found))


def drawn_web(web: Web, photograph: ImageArray) -> tuple[Method, Iterator[ImageArray]]:
    """Choose a method for a linear photograph, and draw with it from the top."""
    if min(photograph.shape[:2]) < LEAST_PX:
        refuse(
            f'"{web.image}" has {photograph.shape[1]} x {photograph.shape[0]} pixels; expected '
            f"{LEAST_PX} or more each way"
        )
    method = web.method or ("grain" if excess_kurtosis(photograph) <= GRAINY else "quilt")
    surface = grain(photograph) if method == "grain" else quilt(photograph)
    return method, surface.strips(*web.shape, web.seed)


def _refuse_no_room(out: Path, shape: tuple[int, ...]) -> None:
    """Refuse before any work what the disk cannot hold."""
    size, free = 2 * math.prod(shape), shutil.disk_usage(out.parent).free
    if size > free:
        refuse(
            f"--size: read {shape[1]} x {shape[0]} pixels, a file of {size / 1e9:.3g} GB, but "
            f'the disk of "{out}" has {free / 1e9:.3g} GB left; expected a smaller web'
        )


def write_web(web: Web, out: Path, progress: Callable[[int, int], None] | None = None) -> Method:
    """
    Make a web and write it as .tif, linear and of 16 bit, BigTIFF where it needs more than 4 GB.

    ``progress`` gets how many rows are done, of how many. What is returned is the method taken.
    """
    if out.suffix.lower() not in {".tif", ".tiff"}:
        refuse(
            f'--out: read "{out}", but a web of 16 bit is a TIFF file; expected a name as web.tif'
        )
    photograph = read_image(
        web.image, encoding=web.encoding, key="photograph", max_pixels=MOST_PIXELS
    ).data
    method, strips = drawn_web(web, photograph)
    rows, columns = web.shape
    shape = (rows, columns, *photograph.shape[2:])
    with atomic_path(out) as temporary:
        _refuse_no_room(out, shape)
        offset, done = lay_out_tiff(temporary, shape, np.dtype(np.uint16)), 0
        with temporary.open("r+b") as stream:
            stream.seek(offset)
            for strip in strips:
                codes = np.rint(np.clip(strip, 0, 1) * _WHITE).astype("<u2")
                stream.write(codes.tobytes())
                done += len(strip)
                if progress:
                    progress(done, rows)
    return method
