"""
How much memory a scan will take, and how much there is, so that a long run does not die of it.

A scan holds the target, the delivered samples and the expected electrons; each thread holds the
reference rows that a strip sees, their blur, and the weights that make it. All of it is known
beforehand from the same lengths that the forward model works with.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, hypot, sqrt
from pathlib import Path

import numpy as np

from linesim.forward.sampling.across import TILE_COLUMNS, phases_over
from linesim.forward.sampling.coarse import cell_bytes, cell_side
from linesim.forward.sampling.fineness import least_side_um
from linesim.forward.sampling.smear import Smears, smears_of
from linesim.forward.sampling.zones import uneven_keys
from linesim.forward.spread import MOST_TERMS, OFF_AXIS_ERROR, PERIOD_WAVES, lens_spread
from linesim.forward.station import Station, station
from linesim.forward.transport import STRIP_LINES
from linesim.setup.channels import COLOURS
from linesim.setup.errors import refuse
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.studies.scan.measured import EDGE_SAMPLES

_IMAGE_BYTES = 6
"""A delivered number and its expected electrons, of each sample."""
_EDGE_BYTES = 17
"""What reading an edge takes for each of its samples: a copy, two arrays in double precision."""
_FLOAT_BYTES = 4
_TABLE_BYTES = 120
"""A dozen numbers in double precision for each weight of the along matrix, while it is made."""
_STRIP_BUFFERS = 6
"""Copies of a strip between expected electrons and numbers."""
_GAUSSIAN_REACH = 9.0
_JITTERS = 10
"""Width in standard deviations within which all jitter lies."""
_FEW = 400
"""A lens table of so many frequencies costs next to nothing; of more, all its terms are counted."""
_FREQUENCY_BYTES = 8 * (6 + 3 * 12)
"""For each pair of frequencies: matrices of the terms, and waves on the grid of a footprint."""
_NO_LIMIT = 1 << 60
_ADVICE = (
    "fewer acquisition.lines, a shorter acquisition.length or exposure, a larger "
    "target.pixel_size, or linesim scan --stream, which takes little memory"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Memory that a scan will take."""

    # samples and expected electrons, in bytes; a comparison keeps those of all variants
    result: int
    target: int  # the target where it is drawn and held, in bytes
    work: int  # tables, what all threads hold at once, and what measuring takes, in bytes
    instead: str = ""  # what else to expect where this does not fit: a target that is seen

    @property
    def total(self) -> int:
        """All of it, in bytes."""
        return self.result + self.target + self.work


def need(
    setup: Setup,
    shape: tuple[int, int],
    held: int,
    target: tuple[int, int],
    *,
    workers: int | None = None,
) -> Need:
    """Add up what a scan of a target of so many rows and columns will take at its peak."""
    (lines, width), columns = shape, target[1]
    colours = 1 if setup.camera.kind == "mono" else len(COLOURS)
    samples = lines * width * colours
    threads = min(workers or os.cpu_count() or 1, ceil(lines / STRIP_LINES))
    numbers = station(setup)
    cell = cell_side(setup, numbers, target, OFF_AXIS_ERROR)
    sight = _sight(setup, numbers, cell)
    work = threads * _strip_bytes(setup, sight, width, ceil(columns / cell))
    if cell > 1:
        work += colours * cell_bytes(cell, columns)
    if setup.target.image == "edge":
        work = max(work, _EDGE_BYTES * min(lines * width, EDGE_SAMPLES))
    return Need(
        result=_IMAGE_BYTES * samples,
        target=held,
        work=work + colours * _across_bytes(setup, sight, width) + sight.lens_bytes,
        instead=_narrower(setup, numbers, columns),
    )


def _narrower(setup: Setup, numbers: Station, columns: int) -> str:
    """Name the width that a drawn target needs, where it is far wider than the line."""
    field_mm = float(numbers.geometry.field_of_view_mm)
    if setup.target.image not in BUILT_IN or columns * setup.target.pixel_size_um < 2e3 * field_mm:
        return ""
    return f"a smaller target.width (the line sees {field_mm:.3g} mm of it), "


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sight:
    """How far a strip and a tile of four lines reach, in reference pixels, by how many terms."""

    strip_rows: int
    tile_rows: int
    reach_px: int
    pixel_px: float
    terms: int
    smears: Smears
    lens_bytes: int


def _sight(setup: Setup, numbers: Station, cell: int) -> _Sight:
    place, pitch_um = numbers.geometry, setup.target.pixel_size_um * cell
    period_um, count = _blur(setup, numbers)
    width_um = float(place.object_pixel_x_um)
    seen_um = period_um + _moved_um(setup, numbers) + 2 * float(place.row_side_um)
    advance_um = float(numbers.timing.line_advance_um) * (1 + setup.transport.speed_ripple)
    smears = smears_of(setup, numbers, width_um)
    return _Sight(
        strip_rows=ceil((STRIP_LINES * advance_um + seen_um) / pitch_um) + 2,
        tile_rows=ceil((4 * advance_um + seen_um) / pitch_um) + 2,
        reach_px=ceil((period_um + width_um + smears.widths_um[-1]) / pitch_um) + 1,
        pixel_px=width_um / pitch_um,
        terms=_terms(setup, numbers, count),
        smears=smears,
        lens_bytes=int(_FREQUENCY_BYTES * count**2),
    )


def _blur(setup: Setup, numbers: Station) -> tuple[float, float]:
    """Give the lens's longest period [µm], and the frequencies that are worked out for it."""
    optics, flutter_mm = numbers.ends_optics, setup.transport.flutter_mm
    m = float(optics.magnification)
    wave_um = 1000 / float(np.min(optics.cutoff_lp_mm)) / m
    sigma_um = float(optics.rest_blur_um) / m
    away_mm = float(np.max(np.abs(optics.defocus_mm)))
    stretched = 1 + flutter_mm / max(away_mm, 1e-9)
    disc_um = float(np.max(optics.defocus_disc_um)) / m * (stretched if away_mm else 1)
    period_um = hypot(PERIOD_WAVES * wave_um, disc_um + _GAUSSIAN_REACH * sigma_um)
    # a Gaussian passes 1e-5 at 0.764/σ
    return period_um, period_um * min(1 / wave_um, 0.764 / max(sigma_um, 1e-12)) + 1


def _terms(setup: Setup, numbers: Station, count: float) -> int:
    """Count the lens's terms; between two places of the field both have theirs."""
    optics, most = numbers.ends_optics, MOST_TERMS
    if count <= _FEW:
        most = max(
            len(lens_spread(optics.of_channel(index), least_side_um(numbers)).terms)
            for index in range(np.size(optics.wavelength_um))
        )
    return 2 * most if uneven_keys(setup) else most


def _moved_um(setup: Setup, numbers: Station) -> float:
    """Give what motion and its faults add to the rows that a strip sees. [µm]."""
    place, when, transport = numbers.geometry, numbers.timing, setup.transport
    out_of_step_um = abs(float(when.exposed_advance_um) - float(place.row_side_um))
    moved_um = setup.camera.tdi_stages * out_of_step_um + float(numbers.motion_um)
    moved_um += _JITTERS * transport.line_jitter_um + 2 * transport.encoder_turn_error_um
    # lost counts of a strip, by their standard deviation
    lost = setup.missed_counts * STRIP_LINES * float(when.line_advance_um)
    return moved_um + _JITTERS * sqrt(lost * setup.encoder_count_um) / (1 - setup.missed_counts)


def _strip_bytes(setup: Setup, sight: _Sight, width: int, columns: int) -> int:
    """Count what one thread holds while it makes a strip."""
    rows = sight.strip_rows * columns * _FLOAT_BYTES
    terms = sight.terms * sight.smears.orders
    blurred = terms * STRIP_LINES * columns * _FLOAT_BYTES
    along = STRIP_LINES * sight.tile_rows * (_TABLE_BYTES + terms * 2 * _FLOAT_BYTES)
    across, joined = setup.acquisition.binning
    buffers = _STRIP_BUFFERS * STRIP_LINES * width * across * joined * _FLOAT_BYTES
    return 2 * rows + blurred + along + buffers


def _across_bytes(setup: Setup, sight: _Sight, width: int) -> int:
    """Count the across matrix of one channel: what every column sees, once a term and phase."""
    transport = setup.transport
    sways = transport.lateral_wander_um > 0 or transport.flutter_mm > 0
    # a tile differs by a tenth of a pixel in shift, and is worked out so much further
    phases = phases_over(sight.pixel_px / 10) if sways else 1
    phases *= len(sight.smears.widths_um) * (9 if transport.flutter_mm > 0 else 1)
    seen = sight.reach_px + ceil(TILE_COLUMNS * sight.pixel_px)
    return width * seen * sight.terms * sight.smears.orders * phases * _FLOAT_BYTES


def available() -> int:
    """Tell how much memory this process can still get."""
    found = [_system(), *groups_left()]
    return max(0, min(found))


def _system() -> int:
    try:
        lines = Path("/proc/meminfo").read_text("ascii").splitlines()
        (free,) = (line.split()[1] for line in lines if line.startswith("MemAvailable:"))
    except (OSError, ValueError):
        if "SC_PHYS_PAGES" not in getattr(os, "sysconf_names", ()):
            return _NO_LIMIT  # not told here; numpy refuses what cannot be had at all
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    return 1024 * int(free)


def groups_left(
    root: Path = Path("/sys/fs/cgroup"), own: Path = Path("/proc/self/cgroup")
) -> list[int]:
    """List what each control group above this process leaves, version 1 and 2."""
    found = []
    try:
        entries = [line.split(":", 2) for line in own.read_text("utf-8").splitlines()]
    except OSError:
        return []
    for _, controllers, path in entries:
        if controllers == "":
            names = ("memory.max", "memory.current", "inactive_file")
            top = root
        elif "memory" in controllers.split(","):
            names = ("memory.limit_in_bytes", "memory.usage_in_bytes", "total_inactive_file")
            top = root / "memory"
        else:
            continue
        here = top / path.lstrip("/")
        found += [
            _left(each, names) for each in (here, *here.parents) if top in (each, *each.parents)
        ]
    return found


def _left(group: Path, names: tuple[str, str, str]) -> int:
    """Give what a group leaves; what files have cached is given back when needed."""
    limit, used, cached = names
    try:
        most = int((group / limit).read_text("ascii"))
        now = int((group / used).read_text("ascii"))
        stat = dict(
            line.split() for line in (group / "memory.stat").read_text("ascii").splitlines()
        )
    except (OSError, ValueError):  # no such group here, or "max": no limit
        return _NO_LIMIT
    return most - max(0, now - int(stat.get(cached, 0)))


def refuse_too_large(
    needs: Sequence[Need], shape: tuple[int, int], *, force: bool = False, advice: str = _ADVICE
) -> None:
    """
    Refuse what does not fit, before it is begun; the needs are of scans kept side by side.

    Parameters
    ----------
    shape : (int, int); lines and delivered pixels of the largest
    advice : str; what is expected instead, for the sentence
    """
    results = sum(each.result for each in needs)
    target = max(each.target for each in needs)
    work = max(each.work for each in needs)
    there = available()
    needed = results + target + work
    if force or needed <= there:
        return
    instead = next((each.instead for each in needs if each.instead), "")
    refuse(
        f"acquisition: read {shape[0]} lines of {shape[1]} pixels, which need {_gb(needed)} of "
        f"memory ({_gb(results)} for samples and expected electrons, {_gb(target)} for the target, "
        f"{_gb(work)} to work in), but only {_gb(there)} is available; expected {instead}{advice}; "
        "--force goes on all the same"
    )


def _gb(count: int) -> str:
    return f"{count / 1e9:.3g} GB"
