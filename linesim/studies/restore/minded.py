"""What to mind about a scan that is used as a target."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from linesim.figures.cautions import Caution
from linesim.figures.plain_numbers import percent
from linesim.figures.safety import safety_cautions
from linesim.forward.station import Station
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup
from linesim.targets.faces.face import face_of

_FEW = 0.001
_MOVED = (
    "speed_ripple",
    "line_jitter_um",
    "skew_deg",
    "lateral_wander_um",
    "flutter_mm",
    "encoder_turn_error_um",
)


def cautions_of(
    setup: Setup, numbers: Station, samples_dn: NDArray[np.uint16], data: ImageArray
) -> tuple[Caution, ...]:
    """List what to mind."""
    own = (*_of_samples(setup, samples_dn, data), *_of_station(setup, numbers))
    pairs = (*own, *safety_cautions(setup))
    return tuple(Caution(code, text) for code, text in pairs)


def _of_samples(
    setup: Setup, samples_dn: NDArray[np.uint16], data: ImageArray
) -> Iterator[tuple[str, str]]:
    clipped = float(np.mean((samples_dn == 0) | (samples_dn >= setup.full_scale_dn)))
    if clipped > _FEW:
        text = (
            f"{percent(clipped)} of the samples are at an end of the scale; the target is wrong "
            "there and, by what is restored, about it."
        )
        yield "clipped", text
    below = float(np.mean(data <= 0))
    if below > _FEW:
        text = (
            f"{percent(below)} of the target came out below no reflectance and was set to 0: "
            "noise about black, or more blur taken off than there was."
        )
        yield "below_black", text


def _of_station(setup: Setup, numbers: Station) -> Iterator[tuple[str, str]]:
    moved = [name for name in _MOVED if getattr(setup.transport, name)]
    if moved:
        keys = ", ".join(f"transport.{name.rsplit('_', 1)[0]}" for name in moved)
        text = f"Lines stay where the station put them ({keys}): a second station moves them again."
        yield "lines_moved", text
    if not numbers.even_optics:
        text = (
            "The lens is not alike all along the line; the blur of its middle was taken off, so "
            "the ends stay softer."
        )
        yield "lens_uneven", text
    if setup.lens.distortion is not None:
        text = "Distortion of the lens stays in the target: places along the line are as captured."
        yield "distorted", text
    if face_of(setup) is not None:
        text = (
            "The target mirrors, has relief or lets light through: the scan shows it in the "
            "light it was taken in, and as a target it is matt, with that light painted on."
        )
        yield "light_painted_on", text
