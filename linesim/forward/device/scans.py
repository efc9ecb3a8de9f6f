"""
Whole scans made with the help of a device, with the noise that numpy draws.

The device takes the first half of the forward model, light to expected electrons. The second half
draws from numpy's own random streams: on a graphics processor for the usual camera (``drawn``),
else by numpy itself, strip by strip. So a sample differs from the numpy path's only where the
expected electrons, equal to float32 rounding, fall to the two sides of a step of the numbers: the
share of samples that differ by 1 DN is the mean difference before rounding, in DN.
"""

from functools import partial
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from linesim.forward.capture import capturer, keeps_pixels_apart
from linesim.forward.channels import channels
from linesim.forward.device.choice import each_of
from linesim.forward.device.render import device_renderers
from linesim.forward.device.runs import DeviceRuns, by_strips
from linesim.forward.reference import Reference
from linesim.forward.render import Rendered, one_thread_each, render
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.forward.station import station
from linesim.setup.arguments import checked_seed
from linesim.setup.setup import Setup


class Renders(Protocol):
    """What runs the forward model: it takes what `linesim.forward.render.render` takes."""

    def __call__(
        self,
        setup: Setup,
        reference: Reference,
        lines: int,
        seed: int,
        *,
        workers: int | None = None,
        off_axis_error: float = OFF_AXIS_ERROR,
    ) -> Rendered:
        """Run all of it."""


def render_by(device: str | None) -> Renders:
    """
    Give what renders on a path: `linesim.forward.render.render`, or the same with a device.

    Parameters
    ----------
    device : str or None
        As torch names it, several with commas between; None for the numpy path.

    Returns
    -------
    callable; takes what `render` takes
    """
    return render if device is None else partial(_render, device)


def _render(  # noqa: PLR0913 -- render, with a device
    device: str,
    setup: Setup,
    reference: Reference,
    lines: int,
    seed: int,
    *,
    workers: int | None = None,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> Rendered:
    runs = device_runs(setup, reference, seed, device, off_axis_error=off_axis_error)
    shape = (lines, runs.width, len(runs.halves))
    image, expected = np.empty(shape, dtype=np.uint16), np.empty(shape, dtype=np.float32)
    with one_thread_each(workers) as pool:
        for run in runs.begun(range(lines), electrons=True):
            at = slice(run.lines.start, run.lines.stop)
            made = runs.delivered(run, pool).reshape(len(run.lines), *shape[1:])
            by_strips(pool, partial(_copied, image[at], made), len(made))
            runs.expected(run, pool, expected[at])
    if shape[2] == 1:
        return Rendered(image=image[:, :, 0], expected_e=expected[:, :, 0])
    return Rendered(image=image, expected_e=expected)


def _copied(into: NDArray[np.uint16], own: NDArray[np.uint16], at: slice) -> None:
    into[at] = own[at]


def device_runs(
    setup: Setup,
    reference: Reference,
    seed: int,
    device: str,
    *,
    off_axis_error: float = OFF_AXIS_ERROR,
) -> DeviceRuns:
    """
    Bring a station and its reference to a device, or to each of several.

    Parameters
    ----------
    setup : Setup
    reference : Reference
    seed : int; of noise and jitter
    device : str; as torch names it, several with commas between
    off_axis_error : float
        Error allowed to the lens between its axes; 1 takes a single separable term.

    Raises
    ------
    InputError; where a device is not there, has too little memory, or does not carry the setup
    """
    seed, numbers = checked_seed(seed), station(setup)
    physical = keeps_pixels_apart(setup, numbers)
    arguments = (setup, reference, each_of(device))
    return DeviceRuns(
        renderers=tuple(device_renderers(*arguments, off_axis_error=off_axis_error)),
        halves=tuple(
            capturer(setup, seed, channel.index, physical=physical)
            for channel in channels(setup, numbers)
        ),
        seed=seed,
        width=int(numbers.geometry.image_width_px),
    )
