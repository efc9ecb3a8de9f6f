"""A whole scan on request: the same as ``linesim scan``, with progress, and to be stopped."""

from collections.abc import Callable
from threading import Event

import numpy as np

from linesim.figures.budget import budget_on
from linesim.forward.render import both_halves, joined, one_thread_each
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES
from linesim.metrics.flat.tally import HeldRows
from linesim.preview.references import Ready
from linesim.preview.variant import Variant
from linesim.setup.channels import COLOURS
from linesim.setup.errors import refuse
from linesim.setup.relations import BUILT_IN
from linesim.studies.scan.measured import measured
from linesim.studies.scan.study import Scan

_MOST_SAMPLES = 150_000_000
"""Of all channels; with the electrons they take 0.9 GB."""
_WORKERS = 1
"""Threads beside those of the page's pictures, which stay quick."""


class StoppedError(Exception):
    """Somebody asked that the scan be stopped."""


def whole_scan(
    found: Variant, ready: Ready, seed: int, progress: Callable[[int, int], None], stop: Event
) -> Scan:
    """Render and measure a whole scan, strip by strip."""
    setup, numbers = found.setup, station(found.setup)
    figures = budget_on(setup, ready.size)
    shape = (
        int(figures.number("geometry", "image_lines")),
        int(numbers.geometry.image_width_px),
        1 if setup.camera.kind == "mono" else len(COLOURS),
    )
    _refuse_too_large(shape)
    halves = both_halves(setup, ready.reference, seed)
    image, expected = np.empty(shape, dtype=np.uint16), np.empty(shape, dtype=np.float32)

    def strip(first: int) -> None:
        if stop.is_set():
            raise StoppedError
        lines = slice(first, min(first + STRIP_LINES, shape[0]))
        for index, (see, keep) in enumerate(halves):
            pixel_e = see.strip(seed, lines.start, lines.stop)
            expected[lines, :, index] = joined(pixel_e, keep.across)
            image[lines, :, index] = keep.strip(pixel_e, first // STRIP_LINES)

    starts = range(0, shape[0], STRIP_LINES)
    with one_thread_each(_WORKERS) as pool:
        for done, _ in enumerate(pool.map(strip, starts), start=1):
            progress(done, len(starts))
    mono = shape[2] == 1
    delivered = image[:, :, 0] if mono else image
    known = "" if found.upload or setup.target.image not in BUILT_IN else setup.target.image
    return Scan(
        image=delivered,
        expected_e=expected[:, :, 0] if mono else expected,
        setup=setup,
        seed=seed,
        budget=figures,
        measured=measured(setup, numbers, HeldRows(image_dn=delivered), known, ready.size),
    )


def _refuse_too_large(shape: tuple[int, int, int]) -> None:
    if np.prod(shape, dtype=np.int64) > _MOST_SAMPLES:
        refuse(
            f"scan: {shape[0]} lines of {shape[1]} pixels are more than the page makes "
            f"({_MOST_SAMPLES:.3g} samples); write the setup, and run linesim scan on it"
        )
