"""The main job: target, render, measure."""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linesim.figures.budget import Budget, budget_on, scan_lines
from linesim.forward.device.choice import chosen, rendered_on
from linesim.forward.device.scans import render_by
from linesim.forward.reference import Reference
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.metrics.flat.tally import HeldRows
from linesim.setup.arguments import checked_seed, checked_setup, checked_workers, refuse_no_share
from linesim.setup.arrays import ImageArray
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.studies.scan.measured import Measured, measured
from linesim.studies.scan.memory import Need, need, refuse_too_large
from linesim.targets.faces.faced import lit_reference
from linesim.targets.given import reference_of
from linesim.targets.load import TargetSize, drawn_bytes, given_size, target_reference, target_size

Shape = tuple[int, int]
"""Lines and delivered pixels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """A simulated scan and what it is worth."""

    image: NDArray[np.uint16]  # shape (lines, width); delivered samples [DN]
    # shape (lines, width); signal electrons before any noise, pattern or clipping [e]
    expected_e: ImageArray
    setup: Setup
    seed: int
    budget: Budget  # the closed-form figures
    measured: Measured  # the same figures read off the image, where the target lets them be read
    device: str | None = None  # what made the image, as torch names it; None for numpy

    def metrics(self) -> dict[str, object]:
        """All figures, as metrics.json has them."""
        return all_figures(self.budget, self.measured, self.seed, self.device)


def all_figures(
    figures: Budget, read_off: Measured, seed: int, device: str | None = None
) -> dict[str, object]:
    """Put the figures of a scan together, as metrics.json has them."""
    groups = figures.as_dict()
    tail = {name: groups.pop(name) for name in ("cautions", "verdicts")}
    return {**groups, "measured": dict(read_off), "seed": seed, **rendered_on(device), **tail}


def scan(  # noqa: PLR0913 -- one argument an option
    setup: Setup,
    seed: int = 0,
    reference: Reference | ArrayLike | None = None,
    *,
    workers: int | None = None,
    off_axis_error: float = OFF_AXIS_ERROR,
    force: bool = False,
    device: str | None = None,
) -> Scan:
    """
    Render what a setup would capture, and measure it.

    Parameters
    ----------
    reference : array_like or Reference, optional
        Linear reflectance as floating-point numbers, 0 to 10 and 1 for a perfect white, of shape
        (rows, columns) or (rows, columns, 3), in place of the setup's image; its pixels have the
        setup's ``target.pixel_size``. Codes of an image are refused.
    workers : int, optional; threads; they change no byte
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.
    force : bool; begin also where less memory is available than the scan will take
    device : str, optional
        "cpu", "cuda", "cuda:1": torch there, from the extra `torch`; "cuda:0,cuda:1", or "all" of
        cuda: work dealt over several, with the same samples; "auto": "cuda" where it is there and
        carries the setup; "numpy" or left out: the numpy path. Of the samples one in a thousand or
        fewer differs between them, by 1 DN.

    Raises
    ------
    InputError
        Where an argument is refused, the setup cannot be run, its image not be read, or the scan
        not be held in memory, or the device is not there or does not carry the setup.
    """
    checked_setup(setup)
    on = chosen(device, [setup]).device
    refuse_no_share(off_axis_error, "off_axis_error")
    seed, workers = checked_seed(seed), checked_workers(workers)
    given = _given(setup, reference)
    size = target_size(setup) if given is None else given_size(setup, given)
    target = Held(reference=given, size=size, is_own=reference is None)
    return scan_held(setup, seed, target, RunOptions(workers, off_axis_error, force, on))


class RunOptions(NamedTuple):
    """How a scan is run."""

    workers: int | None = None  # threads; they change no byte
    off_axis_error: float = OFF_AXIS_ERROR  # allowed to the lens between its axes
    force: bool = False  # begin also where less memory is available than the scan will take
    device: str | None = None  # what renders, as torch names it; None for numpy


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """A target, and what is known of it."""

    reference: Reference | None  # at hand; otherwise it is drawn when it is needed
    size: TargetSize  # its size, and how light it is
    is_own: bool = False  # whether the scan draws or reads it, and so holds it too


def scan_held(setup: Setup, seed: int, target: Held, options: RunOptions) -> Scan:
    """Render what a setup would capture of a target at hand, and measure it."""
    size, own = target.size, target.is_own
    figures = budget_on(setup, size)
    asked, (lines, width) = needed(setup, size, workers=options.workers)
    asked = asked if own else replace(asked, target=0)
    refuse_too_large([asked], (lines, width), force=options.force)
    matt = target_reference(setup) if target.reference is None else target.reference
    seen = lit_reference(setup, matt)
    error = options.off_axis_error
    render = render_by(options.device)
    rendered = render(setup, seen, lines, seed, workers=options.workers, off_axis_error=error)
    matt_chart = own and setup.target.image in BUILT_IN and seen is matt
    known = setup.target.image if matt_chart else ""
    return Scan(
        image=rendered.image,
        expected_e=rendered.expected_e,
        setup=setup,
        seed=seed,
        budget=figures,
        measured=measured(setup, station(setup), HeldRows(image_dn=rendered.image), known, size),
        device=options.device,
    )


def needed(setup: Setup, size: TargetSize, *, workers: int | None = None) -> tuple[Need, Shape]:
    """Add up the memory that scanning a setup's own target will take."""
    shape = shape_of(setup, size)
    seen = size.rows, size.columns
    return need(setup, shape, drawn_bytes(setup), seen, workers=workers), shape


def shape_of(setup: Setup, size: TargetSize) -> Shape:
    """Count the lines of a scan, and the pixels of a line."""
    numbers = station(setup)
    return scan_lines(setup, numbers, size), int(numbers.geometry.image_width_px)


def _given(setup: Setup, reference: Reference | ArrayLike | None) -> Reference | None:
    """Take what is at hand; an image is read once, so that it may change while the scan runs."""
    if reference is not None:
        return reference_of(reference, setup.target.pixel_size_um)
    return None if setup.target.image in BUILT_IN else target_reference(setup)
