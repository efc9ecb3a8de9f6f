"""The images that a measurement is asked for: read as delivered, cut to a region, told by name."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from linesim.figures.cautions import Caution
from linesim.files.samples_in import Samples, load_samples, samples_of
from linesim.forward.kept import CLIPPED_SHARE
from linesim.metrics.region import Region
from linesim.setup.channels import COLOURS
from linesim.setup.errors import InputError, refuse

GREY = "grey"
"""Name of the only channel of an image without colours."""
Image = Path | str | NDArray[Any]
Found = TypeVar("Found")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Area:
    """The part of an image that is measured."""

    name: str  # the file, or what an array is called in messages
    # shape (lines, columns) or (lines, columns, 3); samples as delivered [DN]
    image_dn: NDArray[np.uint16]
    region: Region  # where it lies in the image
    full_scale_dn: int  # largest sample that can be [DN]
    bit_depth: int  # bits of a sample
    depth_from: str  # who says so
    cautions: tuple[str, ...]  # what the file's reader has to say

    @property
    def channels(self) -> Mapping[str, NDArray[np.uint16]]:
        """Each channel by its name."""
        if self.image_dn.ndim == 2:  # noqa: PLR2004 -- lines and columns
            return {GREY: self.image_dn}
        return {name: self.image_dn[:, :, place] for place, name in enumerate(COLOURS)}


def areas_of(
    images: Sequence[Image],
    *,
    region: Region | None,
    bit_depth: int | None,
    max_pixels: int | None = None,
    key: str = "image",
) -> tuple[Area, ...]:
    """Read images that belong together, and cut the same region out of each."""
    areas = [_area(each, region, _samples(each, bit_depth, max_pixels, key)) for each in images]
    first = areas[0]
    for other in areas[1:]:
        if other.image_dn.shape != first.image_dn.shape:
            refuse(
                f'{key} "{other.name}": {_size(other)} read, but "{first.name}" has '
                f"{_size(first)}; expected images of one size and kind"
            )
    return _of_one_depth(areas)


def same_depth(areas: Sequence[Area], others: Sequence[Area]) -> tuple[Area, ...]:
    """Give areas the depth of others where those need more."""
    return _of_one_depth([*areas, *others])[: len(areas)]


def refuse_clipped(area: Area, key: str = "image") -> None:
    """Refuse an area with samples at the ends of the scale: mean and noise would read low."""
    for channel, samples in area.channels.items():
        colour = "" if channel == GREY else f"{channel} "
        for limit, share in (
            (0, float(np.mean(samples == 0))),
            (area.full_scale_dn, float(np.mean(samples >= area.full_scale_dn))),
        ):
            if share > CLIPPED_SHARE:
                refuse(
                    f'{key} "{area.name}": clipped, {share:.2%} of the {colour}samples lie at '
                    f"{limit} DN, the {'upper' if limit else 'lower'} end of {area.bit_depth} bit; "
                    f"expected at most {CLIPPED_SHARE:.1%} (another exposure or black level, or "
                    "a region without them)"
                )


def file_cautions(texts: Iterable[str]) -> Iterator[Caution]:
    """Say what looks odd about a file."""
    return (Caution("file", text) for text in texts)


def described(areas: Sequence[Area]) -> dict[str, object]:
    """Say what was measured, as JSON has it."""
    first = areas[0]
    return {
        "images": [each.name for each in areas],
        "region": first.region.as_dict(),
        "bit_depth": first.bit_depth,
        "bit_depth_from": first.depth_from,
        "full_scale_dn": first.full_scale_dn,
    }


def _samples(image: Image, bit_depth: int | None, max_pixels: int | None, key: str) -> Samples:
    if isinstance(image, str | Path):
        return load_samples(image, bit_depth=bit_depth, key=key, max_pixels=max_pixels)
    return samples_of(image, bit_depth=bit_depth, key=key)


def _area(image: Image, region: Region | None, found: Samples) -> Area:
    name = Path(image).as_posix() if isinstance(image, str | Path) else "array"
    chosen = region or Region.whole(found.image_dn.shape)
    return Area(
        name=name,
        image_dn=chosen.cut(found.image_dn),
        region=chosen,
        full_scale_dn=found.full_scale_dn,
        bit_depth=found.bit_depth,
        depth_from=found.depth_from,
        cautions=found.cautions,
    )


def _size(area: Area) -> str:
    lines, columns = area.image_dn.shape[:2]
    return f"{columns} x {lines} px {'grey' if area.image_dn.ndim == 2 else 'RGB'}"  # noqa: PLR2004 -- lines and columns


def _of_one_depth(areas: Sequence[Area]) -> tuple[Area, ...]:
    most = max(areas, key=lambda each: each.full_scale_dn)
    return tuple(
        replace(
            each,
            full_scale_dn=most.full_scale_dn,
            bit_depth=most.bit_depth,
            depth_from=most.depth_from,
        )
        for each in areas
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredChannels(ABC, Generic[Found]):
    """Figures of each channel of an area, above a black level. [DN]."""

    area: Area
    black_dn: float
    black_from: str
    channels: Mapping[str, Found]
    cautions: tuple[Caution, ...]

    @abstractmethod
    def figures(self, found: Found) -> Mapping[str, object]:
        """Name all figures of one channel."""

    @property
    def black(self) -> str:
        """Say for people what was taken for black."""
        stated = "" if self.black_from.startswith("0 DN") else f"{self.black_dn:g} DN, "
        return f"{stated}{self.black_from}"

    def as_dict(self) -> dict[str, object]:
        """Give all figures as JSON has them."""
        return {
            **described((self.area,)),
            "black_dn": self.black_dn,
            "black_from": self.black_from,
            **by_channel({name: self.figures(each) for name, each in self.channels.items()}),
            "cautions": [each.as_dict() for each in self.cautions],
        }


def each_channel(
    area: Area, figures_of: Callable[[NDArray[np.uint16]], Found], place: str, expected: str
) -> dict[str, Found]:
    """Measure each channel; what has no such figures is refused."""
    try:
        return {name: figures_of(samples) for name, samples in area.channels.items()}
    except ValueError as error:
        msg = f'image "{area.name}"{place}: {error}; expected {expected}'
        raise InputError(msg) from error


def black_source(black_dn: float | None) -> str:
    """Say who says what black is."""
    return "0 DN, none was stated" if black_dn is None else "as stated"


def black_caution(black_dn: float | None) -> Iterator[Caution]:
    """Warn where shares and ratios stand on a black level that nobody stated."""
    if black_dn is None:
        yield Caution(
            "black_unknown",
            "No black level was stated, so 0 DN stands for it: with a higher one, signal, SNR "
            "and shares of the signal come out too high or too low.",
        )


def by_channel(values: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Turn figures of each channel into a table of channels for each figure."""
    if set(values) == {GREY}:
        return dict(values[GREY])
    first = next(iter(values.values()))
    shared = [name for name in first if all(name in each for each in values.values())]
    return {name: {channel: of[name] for channel, of in values.items()} for name in shared}


def of_channel(channel: str, said: Iterable[tuple[str, str]]) -> Iterator[Caution]:
    """Name the channel in front of cautions, where there are several."""
    front = "" if channel == GREY else f"{channel.capitalize()}: "
    for code, text in said:
        yield Caution(code, front + text)


def check_size(area: Area, lines: int, columns: int, key: str = "image") -> None:
    """Refuse an area that is too small."""
    read = area.image_dn.shape
    if read[0] < lines or read[1] < columns:
        refuse(
            f'{key} "{area.name}": an area of {read[1]} columns and {read[0]} lines read; expected '
            f"at least {columns} columns and {lines} lines"
        )
