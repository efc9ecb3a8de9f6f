"""What a measurement of sharpness is given: one channel of an image, and words to understand."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast, get_args

import numpy as np
from numpy.typing import NDArray

from linesim.figures.cautions import Caution
from linesim.files.samples_in import Samples, load_samples, samples_of
from linesim.files.srgb import Encoding, srgb_to_linear
from linesim.setup.channels import COLOURS
from linesim.setup.errors import InputError, refuse
from linesim.setup.quantity import parse_quantity
from linesim.setup.shown import shown
from linesim.studies.measure.areas import GREY, Image, file_cautions

Direction = Literal["across", "along"]

_SHARPNESS = "green"
"""Of the colours, the one that stands for the sharpness of all."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """One channel of an image, ready to be measured."""

    # shape (lines, width); samples as delivered, or linear light from 0 to 1 where they were
    # decoded
    values: NDArray[Any]
    limits: tuple[float, float]  # lowest and highest value that there can be
    name: str  # the file, or what an array is called
    channel: str  # colour measured, or grey
    encoding: str  # what the samples were taken for
    samples: Samples  # the image as it was read

    @property
    def unit(self) -> str:
        """Of the values, for people; empty for shares of full scale."""
        return " DN" if self.encoding == "linear" else ""

    @property
    def light(self) -> str:
        """Say for people what the samples were taken for."""
        return "taken as linear in light" if self.encoding == "linear" else "decoded from sRGB"

    def measured(self, place: str) -> str:
        """Say for people which samples were measured."""
        colour = "" if self.channel == GREY else f"{self.channel}, "
        return f"{colour}{place}; {self.samples.bit_depth} bit ({self.samples.depth_from})"

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What looks odd about the file."""
        return tuple(file_cautions(self.samples.cautions))

    def described(self) -> dict[str, object]:
        """Say what was measured, as JSON has it."""
        return {
            "image": self.name,
            "channel": self.channel,
            "encoding": self.encoding,
            "bit_depth": self.samples.bit_depth,
            "bit_depth_from": self.samples.depth_from,
            "full_scale_dn": self.samples.full_scale_dn,
        }


def read_plane(
    image: Image,
    *,
    channel: str | None = None,
    bit_depth: int | None = None,
    max_pixels: int | None = None,
    encoding: str = "linear",
) -> Plane:
    """Read one channel of an image for a measurement."""
    one_of(encoding, get_args(Encoding), "--encoding")
    if isinstance(image, np.ndarray):
        name, read = "array", samples_of(image, bit_depth=bit_depth)
    else:
        name = Path(image).name
        read = load_samples(image, bit_depth=bit_depth, max_pixels=max_pixels)
    values, colour = _channel(read.image_dn, channel)
    top = float(read.full_scale_dn)
    decoded = encoding == "srgb"
    return Plane(
        values=srgb_to_linear(values / top) if decoded else values,
        limits=(0.0, 1.0 if decoded else top),
        name=name,
        channel=colour,
        encoding=encoding,
        samples=read,
    )


def _channel(image_dn: NDArray[Any], channel: str | None) -> tuple[NDArray[Any], str]:
    """Choose a colour, or the only channel that there is."""
    if channel is not None:
        one_of(channel, COLOURS, "--channel")
    if image_dn.ndim > 2:  # noqa: PLR2004 -- lines, columns, colours
        colour = channel or _SHARPNESS
        return image_dn[:, :, COLOURS.index(colour)], colour
    if channel is not None:
        refuse(f"--channel: read {shown(channel)}, but the image has one channel only")
    return image_dn, GREY


def one_of(value: str, allowed: tuple[str, ...], key: str) -> str:
    """Refuse a word that is none of those expected."""
    if value not in allowed:
        refuse(f"{key}: read {shown(value)}; expected {' or '.join(allowed)}")
    return value


def direction_of(value: str | None) -> Direction | None:
    """Understand a direction."""
    if value is not None:
        one_of(value, get_args(Direction), "--direction")
    return cast("Direction | None", value)


def read_pitch(text: str) -> tuple[float, float]:
    """Read how far apart samples lie, across and along, as in ``"75 um x 60 um"``."""
    parts = text.split(" x ")
    expected = 'expected a length, such as "75 um", or two, across x along: "75 um x 60 um"'
    try:
        lengths = [parse_quantity(part, "um") for part in parts]
    except ValueError as fault:
        msg = f"--pixel-pitch: read {shown(text)}, but {fault}; {expected}"
        raise InputError(msg) from None
    if len(lengths) > 2 or not min(lengths) > 0:  # noqa: PLR2004 -- across and along
        refuse(f"--pixel-pitch: read {shown(text)}; {expected}")
    return lengths[0], lengths[-1]
