"""
The gap between the good images of a set and real ones, and ranges that would close it.

A range is proposed for what of the real images lies beyond what the set has, between their 5th and
95th percentile: of the light by the ratio of levels; of read noise by what variance is missing
beyond shot noise; of the fixed pattern (PRNU) by the spread of columns; of the lens's blur by how
much of fine texture is missing. These keys make a set softer or noisier: where it is softer or
noisier than the real images, its station must be a better one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.gap.figures import Figures, figures_of, fine_sigma_px, shares
from linesim.dataset.item import item
from linesim.dataset.layout import PLAN
from linesim.dataset.make import set_in
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.tables_out import records
from linesim.files.samples_in import read_samples
from linesim.forward.kept import CLIPPED_SHARE
from linesim.forward.station import station
from linesim.setup.errors import InputError, refuse
from linesim.setup.setup import Setup

LEAST_PX = 64
"""Side of a real image below which its spectra tell nothing; our choice."""
MOST = 24
"""Images of a set that are looked at; they are made again."""
_BEYOND, _SOFTER = 0.02, 0.1
"""Of a figure, and of fineness, by which it must lie outside; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A range to try."""

    key: str
    text: str  # the range, as a plan has it
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """What a set's good images and real ones have, and what is proposed."""

    simulated: tuple[Figures, Figures, Figures]
    real: tuple[Figures, Figures, Figures]
    counts: tuple[int, int]  # images looked at, of the set and real
    proposals: tuple[Proposal, ...]


def measure_gap(folder: Path, real: list[Path]) -> Gap:
    """
    Hold the good images of a set against real ones, as the same camera delivered them.

    InputError where there is no set, no good image in it, or a file cannot be read.
    """
    if set_in(folder) is None:
        refuse(f'"{folder}" holds no set; expected a folder that linesim dataset wrote')
    plan = load_plan(folder / PLAN)
    black_dn = float(plan.base.camera.black_level_dn)
    ours = [figures_of(image, black_dn) for image in _good(plan, folder)]
    if not ours:
        refuse(f'"{folder}" holds no image without faults; expected images.good_share above 0')
    images = [(path, read_samples(path, bit_depth=plan.base.camera.bit_depth)) for path in real]
    faults = [fault for path, image in images for fault in _faults(path, *image)]
    if faults:
        raise InputError(*faults)
    theirs = [figures_of(samples, black_dn) for _, (samples, _) in images]
    simulated, found = shares(ours), shares(theirs)
    return Gap(
        simulated=simulated,
        real=found,
        counts=(len(ours), len(theirs)),
        proposals=tuple(_proposals(plan.base, simulated, found)),
    )


def _faults(path: Path, samples: NDArray[np.uint16], full_scale_dn: int) -> Iterator[str]:
    """Say why figures of an image would mean nothing."""
    if min(samples.shape[:2]) < LEAST_PX:
        yield (
            f'image "{path}": read {" x ".join(map(str, samples.shape))} samples; expected at '
            f"least {LEAST_PX} lines and columns"
        )
        return
    ends = float(np.mean((samples == 0) | (samples >= full_scale_dn)))
    if ends > CLIPPED_SHARE:
        yield (
            f'image "{path}": {ends:.2%} of the samples are at an end of the scale; expected at '
            f"most {CLIPPED_SHARE:.1%}: neither black nor clipped"
        )


def _good(plan: Plan, folder: Path) -> Iterator[NDArray[np.uint16]]:
    """Make good images of the set again, as the camera delivers them."""
    good = [record["index"] for record in records(plan, folder) if not record["faults"]]
    for place in np.unique(np.linspace(0, len(good) - 1, min(MOST, len(good))).astype(int)):
        yield item(plan, good[int(place)]).image.astype(np.uint16)


def _proposals(
    base: Setup, ours: tuple[Figures, Figures, Figures], theirs: tuple[Figures, Figures, Figures]
) -> Iterator[Proposal]:
    if _outside(ours, theirs, "level_dn"):
        yield from _light(base, ours, theirs)
    if max(one.along_dn for one in theirs) > max(one.along_dn for one in ours) * (1 + _BEYOND):
        yield from _read_noise(base, ours, theirs)
    if theirs[2].columns > ours[2].columns * (1 + _BEYOND) + 1e-4:
        ends = [_added(base.camera.prnu, ours[1].columns, one.columns) for one in theirs]
        yield Proposal(
            key="camera.prnu",
            text=f"{ends[0]:.2g}:{ends[2]:.2g}",
            why="columns of the real images differ by more",
        )
    yield from _blur(base, ours, theirs)


def _outside(
    ours: tuple[Figures, Figures, Figures], theirs: tuple[Figures, Figures, Figures], name: str
) -> bool:
    low, high = getattr(ours[0], name), getattr(ours[2], name)
    return bool(
        getattr(theirs[0], name) < low * (1 - _BEYOND)
        or getattr(theirs[2], name) > high * (1 + _BEYOND)
    )


def _light(
    base: Setup, ours: tuple[Figures, Figures, Figures], theirs: tuple[Figures, Figures, Figures]
) -> Iterator[Proposal]:
    light = base.light
    levels = (
        ("light.illuminance", light.illuminance_lx, "lx"),
        ("light.irradiance", light.irradiance_w_m2, "W/m^2"),
    )
    for key, value, unit in levels:
        if value:
            ends = [value * one.level_dn / ours[1].level_dn for one in (theirs[0], theirs[2])]
            yield Proposal(
                key=key,
                text=f"{ends[0]:.4g} {unit}:{ends[1]:.4g} {unit}",
                why="levels of the real images reach further",
            )


def _read_noise(
    base: Setup, ours: tuple[Figures, Figures, Figures], theirs: tuple[Figures, Figures, Figures]
) -> Iterator[Proposal]:
    numbers = station(base).green
    gain, reads = float(numbers.dn_per_e), float(numbers.reads)
    found = []
    for one in theirs:
        shot_e2 = (one.level_dn - ours[1].level_dn) / gain
        missing_e2 = (one.along_dn**2 - ours[1].along_dn ** 2) / gain**2 - shot_e2
        found.append(np.sqrt(max(base.camera.read_noise_e**2 + missing_e2 / reads, 0.0)))
    if max(found) > base.camera.read_noise_e * (1 + _BEYOND):
        yield Proposal(
            key="camera.read_noise",
            text=f"{min(found):.3g} e:{max(found):.3g} e",
            why="real images are noisier along travel, or finer in texture",
        )


def _added(value: float, ours: float, theirs: float) -> float:
    return float(np.sqrt(max(value**2 + theirs**2 - ours**2, 0.0)))


def _blur(
    base: Setup, ours: tuple[Figures, Figures, Figures], theirs: tuple[Figures, Figures, Figures]
) -> Iterator[Proposal]:
    blur_um, side_um = base.lens.blur_um, base.camera.pixel_width_um
    across = float(station(base).geometry.across)
    known = np.isfinite([ours[1].fine_across, theirs[0].fine_across])
    if not (known.all() and isinstance(blur_um, float)):
        return
    if theirs[1].fine_across < ours[0].fine_across * (1 - _SOFTER):
        ends = [
            _added(blur_um, 0.0, fine_sigma_px(ours[1].fine_across, one.fine_across) * side)
            for one in (theirs[2], theirs[0])
            for side in (side_um * across,)
        ]
        yield Proposal(
            key="lens.blur",
            text=f"{ends[0]:.3g} um:{ends[1]:.3g} um",
            why="fine texture of the real images is softer",
        )


_ROWS = (
    ("level over black", "level_dn", "DN"),
    ("noise along travel", "along_dn", "DN"),
    ("noise across", "across_dn", "DN"),
    ("spread of columns", "columns", "of the level"),
    ("fine over coarse texture, along", "fine_along", ""),
    ("fine over coarse texture, across", "fine_across", ""),
)


def gap_text(found: Gap) -> str:
    """Say it on a console."""
    lines = [
        f"{found.counts[0]} good images of the set, {found.counts[1]} real ones",
        f"  {'5th, 50th, 95th percentile':<34}{'set':<27}real",
    ]
    lines += [
        f"  {label:<34}{_cell(found.simulated, name):<27}{_cell(found.real, name)} {unit}".rstrip()
        for label, name, unit in _ROWS
    ]
    if not found.proposals:
        return "\n".join([*lines, "the set covers what the real images have, by these figures"])
    ranges = [f'  {each.key} = "{each.text}"   # {each.why}' for each in found.proposals]
    return "\n".join([*lines, "ranges to try in [vary]:", *ranges])


def _cell(figures: tuple[Figures, Figures, Figures], name: str) -> str:
    values = [getattr(one, name) for one in figures]
    return "not told" if not np.isfinite(values).all() else "  ".join(f"{v:.3g}" for v in values)
