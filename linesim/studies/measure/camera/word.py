"""How a camera's numbers lie in its files, and whether one frame fits the others."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.files.manifest_rows import Row
from linesim.files.samples_in import Samples, load_samples
from linesim.metrics.flat.noise import FEWEST
from linesim.setup.errors import InputError

_OWN = "as the file says"
_PLANE = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """How the camera's numbers lie in the files."""

    bit_depth: int
    factor: int
    source: str

    @property
    def full_scale_dn(self) -> int:
        """Largest number. [DN]."""
        return int((1 << self.bit_depth) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """What all frames must be like."""

    word: Word
    shape: tuple[int, int]
    max_pixels: int | None


def model_of(rows: Sequence[Row], bit_depth: int | None, max_pixels: int | None) -> Model:
    """Take the first frame that can be used as the model of all."""
    faults: list[str] = []
    for row in rows:
        samples, told = _loaded(row, max_pixels)
        if samples is not None:
            word, shape = _word(samples, bit_depth), samples.image_dn.shape[:_PLANE]
            return Model(word=word, shape=shape, max_pixels=max_pixels)
        faults += told
    raise InputError(*faults)


def load_frame(
    row: Row, model: Model
) -> tuple[NDArray[np.uint16] | None, list[str], tuple[str, ...]]:
    """Read one frame and hold it against the model."""
    samples, faults = _loaded(row, model.max_pixels)
    if samples is None:
        return None, faults, ()
    fault = _misfit(samples, model)
    if fault:
        return None, [f'{_name(row)} "{row.file.name}" {fault}'], ()
    image = samples.image_dn // np.uint16(model.word.factor)
    # the word of all is told once, not file by file
    odd = tuple(text for text in samples.cautions if "shifted up" not in text)
    return image, [], odd


def _name(row: Row) -> str:
    return f"manifest line {row.line}: file"


def _loaded(row: Row, max_pixels: int | None) -> tuple[Samples | None, list[str]]:
    try:
        samples = load_samples(row.file, key=_name(row), max_pixels=max_pixels)
    except InputError as fault:
        return None, list(fault.faults)
    if samples.image_dn.ndim != _PLANE:
        told = "is a colour image; expected one channel, for each colour is a camera of its own"
        return None, [f'{_name(row)} "{row.file.name}" {told}']
    _, lines, columns = FEWEST
    shape = samples.image_dn.shape
    if shape[0] < lines or shape[1] < columns:
        told = f"has {shape[0]} lines of {shape[1]} pixels; expected at least {lines} of {columns}"
        return None, [f'{_name(row)} "{row.file.name}" {told}']
    return samples, []


def _word(samples: Samples, stated: int | None) -> Word:
    own = (1 << samples.bit_depth) - 1
    if stated is None or stated == samples.bit_depth:
        source = samples.depth_from if stated is None else "as stated"
        factor = samples.full_scale_dn // own
        return Word(bit_depth=samples.bit_depth, factor=factor, source=source)
    return Word(bit_depth=stated, factor=1, source="as stated")


def _misfit(samples: Samples, model: Model) -> str:
    """Say why a frame does not go with the others; nothing where it does."""
    word, image = model.word, samples.image_dn
    if image.shape != model.shape:
        return (
            f"has {image.shape[0]} lines of {image.shape[1]} pixels, but other frames have "
            f"{model.shape[0]} of {model.shape[1]}; expected frames of one size"
        )
    if samples.depth_from == _OWN and samples.bit_depth != word.bit_depth:
        return (
            f"holds samples of {samples.bit_depth} bit, but {word.bit_depth} bit are taken for "
            f"all ({word.source}); expected one depth"
        )
    return _overflow(int(image.max()), word) or _uneven(image, word)


def _overflow(highest: int, word: Word) -> str:
    top = word.full_scale_dn * word.factor
    if highest <= top:
        return ""
    return (
        f"holds the sample {highest} DN, but {word.bit_depth} bit end at {top} DN; expected the "
        "depth that the camera delivered (--bit-depth)"
    )


def _uneven(image: NDArray[np.uint16], word: Word) -> str:
    if word.factor == 1 or not (image % word.factor).any():
        return ""
    return (
        f"holds samples that are no multiples of {word.factor}, as those of other frames are; "
        "expected frames stored alike"
    )
