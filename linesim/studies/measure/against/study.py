"""
Does the real camera agree with the prediction? A capture against the setup's own target.

Where the capture lies on the target is found first, and the prediction is rendered anew there,
without noise; then light, black level, noise, sharpness and the regularity of lines and columns are
held against it.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linesim.figures.cautions import Caution
from linesim.figures.safety import safety_cautions
from linesim.files.samples_in import read_samples
from linesim.forward.kept import CLIPPED_SHARE
from linesim.metrics.scene.compared import LEAST_PX
from linesim.setup.arguments import checked_setup
from linesim.setup.arrays import FloatArray
from linesim.setup.channels import COLOURS
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies.measure.against.agreement import Agreement
from linesim.studies.measure.against.causes import causes
from linesim.studies.measure.against.geometry import explained_by, geometry_of
from linesim.studies.measure.against.judged import Judged, judged
from linesim.studies.measure.against.placed import Placed, placed
from linesim.studies.measure.against.predicted import Prediction, prediction
from linesim.studies.measure.areas import GREY

MOST_SAMPLES = 1 << 23
"""Samples of a capture that are judged; of a larger one the lines in its middle."""
_UNEXPLAINED, _LOUD = 0.05, 5.0
"""Share of the detail that is neither predicted nor noise, and its variance over that of the noise,
from which on a capture has detail of its own; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared:
    """A capture against its prediction, with the pictures behind the figures."""

    agreement: Agreement
    prediction: Prediction
    placed: Placed
    judged: dict[str, Judged]

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What speaks against the figures, and about people."""
        return self.agreement.cautions

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        return self.agreement.as_dict()


def measure_against(
    setup: Setup, image: Path | NDArray[np.uint16], *, max_pixels: int | None = None
) -> Agreement:
    """
    Compare a capture with what a setup predicts of its own target.

    Parameters
    ----------
    image : pathlib.Path or ndarray of uint16, shape (lines, width) or (lines, width, 3)
        As delivered, or a part cut out of that. [DN]

    Raises
    ------
    InputError
        Where the image cannot be read, is no image of such a camera, or does not show the target.
    """
    return compared(prediction(checked_setup(setup)), setup, image, max_pixels).agreement


def compared(
    own: Prediction, setup: Setup, image: Path | NDArray[np.uint16], max_pixels: int | None = None
) -> Compared:
    """
    Do so, and keep the pictures.

    Parameters
    ----------
    own : Prediction; of the setup, made once for all its captures
    image : pathlib.Path or ndarray of uint16; see `measure_against` [DN]
    """
    name, captured_dn = _captured(own, image, max_pixels)
    one = placed(own, captured_dn, name)
    if min(one.captured_dn.shape[:2]) < LEAST_PX:
        refuse(
            f"{name}: shares {one.captured_dn.shape[0]} lines and {one.captured_dn.shape[1]} "
            f"columns with the setup's target, without a rim; expected at least {LEAST_PX} of each"
        )
    colours = [GREY] if captured_dn.shape[2] == 1 else COLOURS
    each = {colour: judged(setup, own, one, index) for index, colour in enumerate(colours)}
    geometry = geometry_of(own, one)
    strays_px = None if one.along is None else one.along.values[one.lines]
    said = {
        colour: causes(of_colour.differences, setup, strays_px, trusted=not _is_other(of_colour))
        for colour, of_colour in each.items()
    }
    agreement = Agreement(
        name=name,
        differences={colour: of_colour.differences for colour, of_colour in each.items()},
        geometry=geometry,
        explanations=explained_by(geometry, setup),
        findings=_joined(said),
        detailed=any(of_colour.ratio is not None for of_colour in each.values()),
        cautions=tuple(Caution(code, text) for code, text in safety_cautions(setup)),
    )
    return Compared(agreement=agreement, prediction=own, placed=one, judged=each)


def _is_other(one: Judged) -> bool:
    """Tell whether the capture has detail of its own, of which no figure makes sense."""
    return one.ratio is not None and one.unexplained > _UNEXPLAINED and one.loud > _LOUD


def _joined(said: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Say what several colours share once."""
    colours: dict[str, list[str]] = {}
    for colour, sentences in said.items():
        for sentence in sentences:
            colours.setdefault(sentence, []).append(colour)
    return tuple(
        sentence if names == [GREY] else f"{', '.join(names)}: {sentence}"
        for sentence, names in colours.items()
    )


def _captured(
    own: Prediction, image: Path | NDArray[np.uint16], max_pixels: int | None
) -> tuple[str, FloatArray]:
    """Read a capture, of shape (lines, columns, channels), and refuse one of another camera."""
    setup = own.setup
    if isinstance(image, Path):
        name = f'image "{image}"'
        samples, _ = read_samples(image, bit_depth=setup.camera.bit_depth, max_pixels=max_pixels)
    else:
        name, samples = "image", image
    layers = samples.reshape(*samples.shape[:2], -1)
    _refuse_other(own, name, samples.shape, layers.shape)
    most = max(LEAST_PX, MOST_SAMPLES // layers.shape[1])
    start = max(0, (len(layers) - most) // 2)
    layers = layers[start : start + most]
    clipped = float(np.mean((layers == 0) | (layers >= setup.full_scale_dn)))
    if clipped > CLIPPED_SHARE:
        refuse(
            f"{name}: {clipped:.2%} of the samples are at an end of the scale; expected at most "
            f"{CLIPPED_SHARE:.1%}: less light, or a black level above 0"
        )
    return name, layers.astype(np.float64)


def _refuse_other(
    own: Prediction, name: str, shape: tuple[int, ...], layers: tuple[int, ...]
) -> None:
    """Refuse an image of another camera."""
    shown, channels = " x ".join(map(str, shape)), len(own.numbers.by_colour)
    if layers[2] != channels:
        refuse(
            f"{name}: read {shown} samples (lines x columns), but the setup's camera has "
            f"{channels} channel{'s' if channels > 1 else ''}; expected an image of such a camera"
        )
    if layers[1] > own.width_px or min(layers[:2]) < LEAST_PX:
        refuse(
            f"{name}: read {shown} samples (lines x columns), but the setup delivers lines of "
            f"{own.width_px}; expected at most so many columns, and at least {LEAST_PX} lines and "
            "columns"
        )
