"""
Both matrices of one image's station, packed as a device takes them, away from it.

They are built for white that gives one electron, so that images that differ in light alone share
them: a key tells which do, and who has them already is sent the key alone.
"""

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass, replace
from functools import lru_cache
from hashlib import blake2b
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from linesim.defects.labels import Footprints, footprints
from linesim.forward.channels import channels
from linesim.forward.device.launch import Form, kernels
from linesim.forward.device.products import products
from linesim.forward.device.tables import Band, across_band, along_band, joined_windows
from linesim.forward.expose import Exposer, exposer
from linesim.forward.reference import ArrayReference
from linesim.forward.sampling.across import AcrossTile
from linesim.forward.sampling.coarse import coarser
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup

if TYPE_CHECKING:
    import torch

_HELD = 32
_LIGHT_LX = 1000.0
MOST = 2.0
"""Reflectance that no product exceeds by far: a factor of four more has room in the kernels."""


Keys = tuple[bytes, bytes]
"""Of an across and of an along matrix: they tell them from others."""


class Matrices(NamedTuple):
    """What lines see of a reference."""

    keys: Keys
    tiles: tuple[AcrossTile, ...]
    along: Band
    shape: tuple[int, int]  # of the reference

    def packed_across(self, *, by_kernels: bool) -> Any:  # noqa: ANN401 -- one or the other way
        """Pack the across matrix for a device of some kind."""
        import torch  # noqa: PLC0415 -- an extra

        plane, band = torch.zeros(1).expand(self.shape), across_band(self.tiles)
        made: Any = (
            kernels(plane, band, repeat=False, form=Form(), most=MOST)
            if by_kernels
            else products(plane, band, repeat=False)
        )
        return replace(made, plane=torch.zeros(0))

    def packed_along(self, sampler: Any) -> Any:  # noqa: ANN401 -- as a sampler has it
        """Pack the along matrix as a sampler takes it."""
        used = sampler.lines_per_tile(self.along)
        return sampler.prepared(joined_windows([self.along], used), used)


class Packed(NamedTuple):
    """Both matrices on a device."""

    sampler: Any
    along: Any
    lines: int

    def sampled(self, plane: "torch.Tensor") -> "torch.Tensor":
        """Look at a reference, which lies on the same device."""
        seen: torch.Tensor = replace(self.sampler, plane=plane).sampled(self.along, self.lines)
        return seen


def in_arrays(part: Any) -> Any:  # noqa: ANN401 -- whatever is packed
    """Give it in arrays: a tensor on its way to another process stays one memory for both."""
    import torch  # noqa: PLC0415 -- an extra

    return _each(part, lambda each: each.numpy() if isinstance(each, torch.Tensor) else each)


def brought(part: Any, device: "torch.device") -> Any:  # noqa: ANN401 -- whatever is packed
    """Bring what was sent to a device."""
    import torch  # noqa: PLC0415 -- an extra

    def moved(each: Any) -> Any:  # noqa: ANN401 -- whatever is packed
        if not isinstance(each, np.ndarray):
            return each
        return torch.from_numpy(each).to(device, non_blocking=True)

    return _each(part, moved)


def _each(part: Any, change: Callable[[Any], Any]) -> Any:  # noqa: ANN401 -- whatever is packed
    """Change all that tuples and tables hold."""
    if isinstance(part, tuple):
        return tuple(_each(each, change) for each in part)
    if is_dataclass(part) and not isinstance(part, type):
        changes = {each.name: _each(getattr(part, each.name), change) for each in fields(part)}
        return replace(part, **changes)
    return change(part)


class Lens(NamedTuple):
    """What the lens makes of a reference."""

    matrices: Matrices
    white_e: float  # to multiply by [e]
    swing: tuple[ImageArray, ImageArray] | None  # light of each line, share of it in each column


class Blank(NamedTuple):
    """A piece of product of which the size alone counts, and the lines that look at it."""

    shape: tuple[int, int]
    pixel_size_um: float
    lines: int
    seed: int  # of jitter and of lost counts; 0 without them

    @property
    def reference(self) -> ArrayReference:
        """Give nothing, of that size."""
        data = np.broadcast_to(np.float32(0), self.shape)
        return ArrayReference(data=data, pixel_size_um=self.pixel_size_um)


def blank_of(setup: Setup, shape: tuple[int, int], lines: int, seed: int) -> Blank:
    """
    Name a piece of product and the lines that look at it.

    Parameters
    ----------
    setup : Setup
    shape : (int, int); rows and columns of the piece
    lines : int
    seed : int; of the scan
    """
    swayed = setup.transport.line_jitter_um > 0 or setup.missed_counts > 0
    return Blank(shape, setup.target.pixel_size_um, lines, seed if swayed else 0)


def in_one_light(setup: Setup) -> Setup:
    """Give a station in a light that is the same for all, where its matrices are the same in it."""
    light = setup.light
    if len(setup.lights) > 1 or light.illuminance_lx is None or setup.ambient_w_m2 > 0:
        return setup
    changed = light.model_copy(update={"illuminance_lx": _LIGHT_LX})
    sections = setup.sections.model_copy(update={"light": changed})
    return Setup(sections=sections, texts=setup.texts, folder=setup.folder)


def lens_of(setup: Setup, blank: Blank) -> Lens | None:
    """
    Work out the matrices of a station with one channel.

    Parameters
    ----------
    setup : Setup
    blank : Blank

    Returns
    -------
    Lens or None; None where they are more than two
    """
    (channel,) = channels(setup, station(setup))
    lens = _lens(in_one_light(setup), blank)
    return None if lens is None else lens._replace(white_e=channel.white_e)


@lru_cache(maxsize=_HELD)
def _lens(setup: Setup, blank: Blank) -> Lens | None:
    numbers, reference = station(setup), blank.reference
    if coarser(setup, numbers, reference, OFF_AXIS_ERROR) is not reference:
        return None
    (channel,) = channels(setup, numbers)
    see = exposer(setup, reference, replace(channel, white_e=1.0))
    one = see.samplers[0]
    alone = len(see.exposures) == len(see.samplers) == len(see.trail) == len(one.zones) == 1
    if not (alone and one.runs):
        return None
    light = see.lines(see.exposures[0], blank.seed, 0, blank.lines).light
    swing = (light - 1).astype(np.float32), (1 - see.ambient).astype(np.float32)
    return Lens(
        matrices=_matrices(see, blank),
        white_e=1.0,
        swing=None if setup.light.flicker == 0 else swing,
    )


class Bare(NamedTuple):
    """What lies under each sample, without the lens."""

    seen: Footprints
    matrices: Matrices


@lru_cache(maxsize=_HELD)
def bare_of(setup: Setup, blank: Blank) -> Bare:
    """
    Place the samples of a scan on the product.

    Parameters
    ----------
    setup : Setup; in any light
    blank : Blank
    """
    seen = footprints(setup, blank.reference, blank.lines, blank.seed)
    return Bare(seen, _matrices(seen.exposers[0], blank))


def _matrices(see: Exposer, blank: Blank) -> Matrices:
    """Take the matrices of a scan out of an exposer that has no more than two."""
    one = see.samplers[0]
    along = along_band(one, see.lines(see.exposures[0], blank.seed, 0, blank.lines))
    across = [(np.array(tile.low), tile.phases[0], tile.profile) for tile in one.tiles]
    keys = (
        _key(blank, [each for tile in across for each in tile]),
        _key(blank, [along.first, along.which, along.taps]),
    )
    return Matrices(keys, one.tiles, along, blank.shape)


def _key(blank: Blank, parts: Sequence[NDArray[Any]]) -> bytes:
    hashed = blake2b(repr((blank.shape, blank.lines)).encode(), digest_size=16)
    for part in parts:
        hashed.update(np.ascontiguousarray(part).data)
    return hashed.digest()
