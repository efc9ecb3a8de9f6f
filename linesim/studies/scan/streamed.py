"""A scan too long to hold: written to its file strip by strip, then measured as it lies there."""

import hashlib
from collections.abc import Generator
from contextlib import closing
from dataclasses import dataclass, replace
from math import prod
from pathlib import Path
from typing import Any

import numpy as np

from linesim.figures.budget import Budget, budget_on
from linesim.files.growing_tiff import growing_tiff, settle
from linesim.files.images_in import refusals_named
from linesim.files.tiff_rows import TiffRows, rows_of_tiff
from linesim.files.unfinished import Planned
from linesim.forward.device.choice import chosen, rendered_on
from linesim.forward.device.runs import Put
from linesim.forward.device.scans import device_runs
from linesim.forward.reference import Reference
from linesim.forward.render import both_halves, delivered_strip, strips_in_order
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES
from linesim.setup.arguments import checked_seed, checked_setup, checked_workers
from linesim.setup.channels import COLOURS
from linesim.setup.errors import refuse
from linesim.setup.load import changed
from linesim.setup.relations import BUILT_IN
from linesim.setup.resolve import named_files, resolved_text
from linesim.setup.setup import Setup
from linesim.studies.scan.measured import Measured, measured
from linesim.studies.scan.memory import refuse_too_large
from linesim.studies.scan.study import all_figures, needed, shape_of
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference, target_size
from linesim.workers.tasks import Progress, versions

MOST_HELD = 1 << 28
"""Samples of a scan that is held in memory: 1.6 GB with its expected electrons. Our choice."""
_EIGHT_BIT = 8
_ADVICE = "a shorter exposure, or a larger target.pixel_size"


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledScan:
    """A simulated scan that lies in a file, and what it is worth."""

    image: TiffRows  # delivered samples, to be read by rows [DN]
    setup: Setup
    seed: int
    budget: Budget  # the closed-form figures
    measured: Measured  # the same figures read off the image, where the target lets them be read
    device: str | None = None  # what made the image, as torch names it; None for numpy

    def metrics(self) -> dict[str, object]:
        """All figures, as metrics.json has them."""
        return all_figures(self.budget, self.measured, self.seed, self.device)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manner:
    """How a long scan is made; nothing of it but the device changes a byte."""

    workers: int | None = None  # threads; the processor's own number if ``None``
    resume: bool = False  # go on with what a run before has left
    force: bool = False  # begin although memory or disk may not suffice
    device: str | None = None  # what renders, as `linesim.scan` takes it


def scan_to_file(
    setup: Setup,
    path: Path,
    seed: int = 0,
    *,
    manner: Manner = Manner(),
    progress: Progress = lambda _done, _total: None,
) -> FiledScan:
    """
    Render what a setup would capture straight into a file, in memory that does not grow with it.

    Strips are rendered in threads and written where they belong. A run that breaks off leaves an
    unfinished file and a note; with ``resume`` it goes on from the last strip noted.

    Parameters
    ----------
    path : pathlib.Path
        Of the samples: the same bytes as `linesim.studies.scan.outputs.write_scan` writes.
    manner : Manner; threads, and what to do about a run before
    progress : callable; is called with lines that are done, and lines in all

    Raises
    ------
    InputError
        Where the setup cannot be run, its image not be read, or the file not be written or gone on
        with.
    """
    checked_setup(setup)
    seed, _ = checked_seed(seed), checked_workers(manner.workers)
    manner = replace(manner, device=chosen(manner.device, [setup]).device)
    size = target_size(setup)
    figures = budget_on(setup, size)
    asked, shape = needed(setup, size, workers=manner.workers)
    refuse_too_large([replace(asked, result=0)], shape, force=manner.force, advice=_ADVICE)
    planned = Planned(
        path=path,
        shape=image_shape(setup, shape),
        kind=np.dtype(np.uint8 if setup.camera.bit_depth == _EIGHT_BIT else np.uint16),
        full_scale_dn=setup.full_scale_dn,
        like=_like(setup, seed) | rendered_on(manner.device),
    )
    _render_into(planned, (setup, seed), manner, progress)
    image = _read_back(path)
    known = setup.target.image if setup.target.image in BUILT_IN else ""
    with refusals_named(f'output "{path}"'):
        read_off = measured(setup, station(setup), image, known, size)
    settle(path)
    return FiledScan(
        image=image, setup=setup, seed=seed, budget=figures, measured=read_off, device=manner.device
    )


def image_shape(setup: Setup, shape: tuple[int, int]) -> tuple[int, ...]:
    """Give the shape of the delivered samples."""
    return shape if setup.camera.kind == "mono" else (*shape, len(COLOURS))


def is_long(setup: Setup) -> bool:
    """Tell whether a scan is too long to be held, and better written strip by strip."""
    shape = shape_of(setup, target_size(setup))
    return prod(image_shape(setup, shape)) > MOST_HELD


def _render_into(
    planned: Planned, what: tuple[Setup, int], manner: Manner, progress: Progress
) -> None:
    """Render every strip that is not there yet."""
    setup, seed = what
    with growing_tiff(planned, resume=manner.resume, force=manner.force) as file:
        if file.done == planned.shape[0]:
            return
        seen = lit_reference(setup, target_reference(setup))
        of = range(file.done // STRIP_LINES * STRIP_LINES, planned.shape[0])
        if manner.device is None:
            begun = _by_strips((setup, seen, seed), of, file.put, manner.workers)
        else:
            runs = device_runs(setup, seen, seed, manner.device)
            begun = runs.filled(of, file.put, manner.workers)
        # closed before the file is, so that no strip is under way when a run breaks off
        with closing(begun) as steps, closing(file.recorded(steps)) as noted:
            for done in noted:
                progress(done, planned.shape[0])


def _by_strips(
    what: tuple[Setup, Reference, int], of: range, put: Put, workers: int | None
) -> Generator[int]:
    """Have lines rendered strip by strip in threads, and told how far all is done."""
    setup, seen, seed = what
    halves = both_halves(setup, seen, seed)

    def task(strip: int, first: int, last: int) -> None:
        put(first, delivered_strip(halves, seed, (strip, first, last)))

    return strips_in_order(of.stop, task, workers, first=of.start)


def _read_back(path: Path) -> TiffRows:
    image = rows_of_tiff(path)
    if image is None:
        refuse(
            f'output "{path}" was changed while it was written; expected nobody else to touch it'
        )
    return image


def _like(setup: Setup, seed: int) -> dict[str, Any]:
    """Name what must be the same for a run to be gone on with, as plain data."""
    # relative to its own folder, so that the same station is the same wherever it is written to
    texts = resolved_text(changed(setup, {"title": "any"}), setup.folder)
    files = {name: (setup.folder / name).stat() for name in named_files(setup)}
    return {
        "setup": hashlib.sha256(texts.encode()).hexdigest(),
        "files": {name: [each.st_size, each.st_mtime_ns] for name, each in files.items()},
        "seed": seed,
        "versions": versions(),
    }
