"""What to mind of a fit, besides people: structure that is left, a coarse target, no rest."""

from collections.abc import Iterator, Sequence

from linesim.figures.cautions import Caution
from linesim.figures.safety import safety_cautions
from linesim.setup.setup import Setup
from linesim.studies.fit.found import FoundCapture
from linesim.studies.measure.against.predicted import Prediction

_SIGMAS = 5.0
_SHARED = 0.02
"""Correlation of neighbours that is worth a word, and in so many standard errors; our choice."""
_COARSE = 0.05
"""Blur by the reference's pixels over that of an object pixel, from which on; our choice."""


def fit_cautions(
    setup: Setup, own: Prediction, captures: Sequence[FoundCapture], *, settled: bool
) -> tuple[Caution, ...]:
    """Say what to mind."""
    said = [
        *_structure(captures),
        *_coarse(own),
        *([] if settled else [_restless()]),
        *(Caution(code=code, text=text) for code, text in safety_cautions(setup)),
    ]
    return tuple(said)


def _structure(captures: Sequence[FoundCapture]) -> Iterator[Caution]:
    for each in captures:
        error = (each.lines * each.columns) ** -0.5
        most = max(each.neighbours, key=abs)
        if abs(most) > max(_SHARED, _SIGMAS * error):
            yield Caution(
                code="structure_left",
                text=(
                    f"{each.name}: what the fitted setup leaves is not noise alone; neighbours "
                    f"correlate by {most:+.2f}. Something is in the picture that the model does "
                    "not have (dirt, another sample of the target, interpolation); the figures of "
                    "noise, and gain with them, take it for noise, and intervals are too narrow."
                ),
            )


def _coarse(own: Prediction) -> Iterator[Caution]:
    """Squares of means, taken as even squares, lose sinc² twice: p²/6 of variance."""
    side_um, pitch_um = own.sides_um[1], own.reference.pixel_size_um
    blur_um = pitch_um / 6**0.5
    if blur_um > _COARSE * side_um:
        at_sensor_um = blur_um * float(own.numbers.geometry.magnification)
        yield Caution(
            code="reference_blurs",
            text=(
                f"The target's own pixels of {pitch_um:.3g} um blur as {at_sensor_um:.2g} um at "
                "the sensor would; a blur that was fitted is short of the lens's by that much, as "
                "the root of the squares. It is right for this image of the target."
            ),
        )


def _restless() -> Caution:
    return Caution(
        code="not_settled",
        text=(
            "The fit did not come to rest; its values are the likeliest found so far. Fit fewer "
            "keys, or start from a setup that is nearer."
        ),
    )
