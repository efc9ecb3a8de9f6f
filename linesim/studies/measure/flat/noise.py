"""Noise and signal of even areas of images, simulated or captured."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from linesim.figures.cautions import Caution
from linesim.metrics.flat.area import FEWEST_COLUMNS, flat_area
from linesim.metrics.flat.noise import FEWEST_LINES, Estimate
from linesim.metrics.flat.signal_noise import SignalNoise
from linesim.metrics.region import Region
from linesim.setup.arguments import refuse_other
from linesim.setup.errors import refuse
from linesim.studies.measure.areas import (
    Area,
    Image,
    areas_of,
    black_caution,
    black_source,
    by_channel,
    check_size,
    described,
    file_cautions,
    refuse_clipped,
    same_depth,
)
from linesim.studies.measure.flat.cautions import changed_light, flat_cautions

_CORRELATIONS = ("correlation_x", "correlation_y")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredNoise:
    """What even areas show."""

    areas: tuple[Area, ...]
    black_from: str
    channels: Mapping[str, SignalNoise]
    cautions: tuple[Caution, ...]

    def as_dict(self) -> dict[str, object]:
        """Give all figures as JSON has them, standard errors under the same names."""
        figures = {name: each.figures() for name, each in self.channels.items()}
        values = {
            name: {key: each.value for key, each in of.items()}
            | {key: getattr(self.channels[name].lit, key) for key in _CORRELATIONS}
            for name, of in figures.items()
        }
        errors = {name: {key: each.sd for key, each in of.items()} for name, of in figures.items()}
        return {
            **described(self.areas),
            "black_from": self.black_from,
            **by_channel(values),
            "standard_errors": by_channel(errors),
            "cautions": [each.as_dict() for each in self.cautions],
        }


def measure_noise(
    images: Sequence[Image],
    *,
    region: Region | None = None,
    dark: Sequence[Image] = (),
    black_dn: float | None = None,
    bit_depth: int | None = None,
    max_pixels: int | None = None,
) -> MeasuredNoise:
    """
    Read signal, noise in time and column pattern off an even area.

    Parameters
    ----------
    images : sequence of path, str or ndarray
        One image, or more of the same light, samples as delivered. From several, noise in time is
        that of their differences; from one, that along travel, column by column.
    region : Region, optional; the even area; left out: all of it
    dark : sequence of path, str or ndarray
        Images without light, same exposure: they give the black level, dark noise and the gain.
    black_dn : float, optional; the black level, where no dark images are at hand [DN]
    bit_depth : int, optional
        Bits of a sample; left out: as the file says, or the smallest usual depth that holds it.

    Raises
    ------
    InputError
        No image, one that cannot be read or is clipped, sizes that differ, an area below 16 lines
        of 8 columns, or black given twice.
    """
    refuse_other(images, (list, tuple), "images", "a list of files or arrays")
    if not images:
        refuse("images: none given; expected one image or more of an even target")
    if dark and black_dn is not None:
        refuse(f"black: {black_dn:g} DN and dark images given; expected one of the two")
    read = partial(areas_of, region=region, bit_depth=bit_depth, max_pixels=max_pixels)
    lit, unlit = read(images), read(dark, key="dark image") if dark else ()
    _check(lit, unlit)
    lit, unlit = same_depth(lit, unlit), same_depth(unlit, lit)
    for area in lit:
        refuse_clipped(area)
    for area in unlit:
        refuse_clipped(area, "dark image")
    channels = {name: _signal_noise(lit, unlit, name, black_dn) for name in lit[0].channels}
    return MeasuredNoise(
        areas=lit,
        black_from="dark images" if dark else black_source(black_dn),
        channels=channels,
        cautions=tuple(_cautions(lit, unlit, channels, black_dn)),
    )


def _check(lit: tuple[Area, ...], unlit: tuple[Area, ...]) -> None:
    check_size(lit[0], FEWEST_LINES, FEWEST_COLUMNS)
    if not unlit:
        return
    check_size(unlit[0], FEWEST_LINES, FEWEST_COLUMNS, "dark image")
    if unlit[0].image_dn.shape[1:] != lit[0].image_dn.shape[1:]:
        refuse(
            f'dark image "{unlit[0].name}": {unlit[0].image_dn.shape[1:]} columns (and channels) '
            f"read; expected {lit[0].image_dn.shape[1:]}, as the images in the light have"
        )


def _signal_noise(
    lit: tuple[Area, ...], unlit: tuple[Area, ...], channel: str, black_dn: float | None
) -> SignalNoise:
    dark = flat_area([each.channels[channel] for each in unlit]) if unlit else None
    stated = Estimate(value=float(black_dn or 0.0), sd=0.0)
    return SignalNoise(
        lit=flat_area([each.channels[channel] for each in lit]),
        black_dn=stated if dark is None else dark.mean_dn,
        dark=dark,
    )


def _cautions(
    lit: tuple[Area, ...],
    unlit: tuple[Area, ...],
    channels: Mapping[str, SignalNoise],
    black_dn: float | None,
) -> Iterator[Caution]:
    for area in (*lit, *unlit):
        yield from file_cautions(area.cautions)
    if not unlit:
        yield from black_caution(black_dn)
    for name, found in channels.items():
        yield from flat_cautions(found, name, lit[0].image_dn.shape[0])
        means = tuple(float(np.mean(each.channels[name])) for each in lit)
        yield from changed_light(means, found.signal_dn.value)
