"""What measurements of even areas and of scenes share: figures by channel over a black level."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from linesim.figures.cautions import Caution
from linesim.setup.errors import InputError
from linesim.studies.measure.areas import GREY, Area, described

Found = TypeVar("Found")


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
            code="black_unknown",
            text=(
                "No black level was stated, so 0 DN stands for it: with a higher one, signal, SNR "
                "and shares of the signal come out too high or too low."
            ),
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
        yield Caution(code=code, text=front + text)


def check_size(area: Area, lines: int, columns: int, key: str = "image") -> None:
    """Refuse an area that is too small."""
    read = area.image_dn.shape
    if read[0] < lines or read[1] < columns:
        msg = (
            f'{key} "{area.name}": an area of {read[1]} columns and {read[0]} lines read; expected '
            f"at least {columns} columns and {lines} lines"
        )
        raise InputError(msg)
