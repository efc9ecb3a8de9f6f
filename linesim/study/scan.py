"""The main job: target, render, measure."""

import os
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linesim.budget.budget import Budget, budget_on
from linesim.forward.reference import ArrayReference, Reference
from linesim.forward.render import render
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.setup.arrays import ImageArray
from linesim.setup.channels import COLOURS
from linesim.setup.errors import InputError
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.study.measured import Measured, measured
from linesim.targets.load import TargetSize, target_reference, target_size

_SAMPLE_BYTES = 6
"""A delivered number and its expected electrons."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """
    A simulated scan and what it is worth.

    Parameters
    ----------
    image : ndarray of uint16, shape (lines, width)
        Delivered samples. [DN]
    expected_e : ndarray of float32, shape (lines, width)
        Signal electrons before any noise, pattern or clipping. [e]
    setup : Setup
        The station.
    seed : int
        Of noise and jitter.
    budget : Budget
        The closed-form figures.
    measured : dict
        The same figures read off the image, where the target lets them be read.
    """

    image: NDArray[np.uint16]
    expected_e: ImageArray
    setup: Setup
    seed: int
    budget: Budget
    measured: Measured

    def metrics(self) -> dict[str, object]:
        """All figures, as metrics.json has them."""
        figures = self.budget.as_dict()
        tail = {name: figures.pop(name) for name in ("cautions", "verdicts")}
        return {**figures, "measured": dict(self.measured), "seed": self.seed, **tail}


def scan(
    setup: Setup,
    seed: int = 0,
    reference: Reference | ArrayLike | None = None,
    *,
    workers: int | None = None,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> Scan:
    """
    Render what a setup would capture, and measure it.

    Parameters
    ----------
    setup : Setup
        The station.
    seed : int
        Of noise and jitter; the same seed gives the same bytes.
    reference : array_like or Reference, optional
        Linear reflectance of shape (rows, columns) or (rows, columns, 3), in place of the setup's
        image; its pixels have the setup's ``target.pixel_size``.
    workers : int, optional
        Threads; they change no byte.
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.

    Returns
    -------
    Scan
        Image and figures.

    Raises
    ------
    InputError
        Where the setup cannot be run, its image not be read, or the scan not be held in memory.
    """
    if reference is None:
        size, seen = target_size(setup), target_reference(setup)
    else:
        seen = _as_reference(reference, setup.target.pixel_size_um)
        size = TargetSize(rows=seen.shape[0], columns=seen.shape[1])
    figures = budget_on(setup, size)
    lines = int(figures.number("geometry", "image_lines"))
    _refuse_too_large(lines, int(figures.number("geometry", "image_width_px")), setup)
    rendered = render(setup, seen, lines, seed, workers=workers, off_axis_error=off_axis_error)
    known = setup.target.image if reference is None and setup.target.image in BUILT_IN else ""
    return Scan(
        image=rendered.image,
        expected_e=rendered.expected_e,
        setup=setup,
        seed=seed,
        budget=figures,
        measured=measured(setup, station(setup), rendered.image, known, size),
    )


def _refuse_too_large(lines: int, width: int, setup: Setup) -> None:
    """Refuse a scan that the machine cannot hold; systems promise more memory than they have."""
    colours = 1 if setup.camera.kind == "mono" else len(COLOURS)
    needed = lines * width * colours * _SAMPLE_BYTES
    if "SC_PHYS_PAGES" not in os.sysconf_names:
        return  # not told here; numpy refuses what cannot be had at all
    held = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    if needed > held:
        msg = (
            f"acquisition: read {lines} lines of {width} pixels, but image and expected electrons "
            f"need {needed / 1e9:.3g} GB and this machine has {held / 1e9:.3g} GB; expected fewer "
            "acquisition.lines, or a shorter acquisition.length"
        )
        raise InputError(msg)


def _as_reference(given: Reference | ArrayLike, pixel_size_um: float) -> Reference:
    if isinstance(given, Reference):
        return given
    data = np.asarray(given, dtype=np.float32)
    fits = data.ndim in (2, 3) and data.size > 0 and data.shape[2:] in ((), (len(COLOURS),))
    if not fits or not np.isfinite(data).all() or data.min() < 0:
        msg = (
            f"reference: read an array of shape {data.shape}, but expected are finite reflectances "
            "from 0 up, of shape (rows, columns) or (rows, columns, 3)"
        )
        raise InputError(msg)
    return ArrayReference(data=data, pixel_size_um=pixel_size_um)
