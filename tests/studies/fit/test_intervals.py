"""Intervals of a fit hold the truth as often as they say, on captures of a plain camera."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from linesim.setup.arrays import FloatArray
from linesim.studies.fit.adjust import interval_of
from linesim.studies.fit.case import Case
from linesim.studies.fit.key_table import BY_NAME
from linesim.studies.fit.scoring import likeliest
from linesim.studies.fit.windows import Window, window_of
from linesim.studies.measure.against.predicted import prediction
from linesim.targets.given import reference_of

if TYPE_CHECKING:
    from tests.studies.fit.conftest import Job

KEYS = (
    "light.irradiance",
    "camera.gain",
    "camera.black_level",
    "lens.blur",
    "light.edge_falloff",
    "camera.prnu",
)


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Of each capture and key: error over that told, and whether its interval holds the truth."""

    errors: FloatArray
    held: NDArray[np.bool_]


def drawn(job: "Job", draws: int) -> Draws:
    """Fit many captures, each from the truth on."""
    pitch_um = job.truth.target.pixel_size_um
    own = prediction(job.truth, reference_of(job.reference, pitch_um))
    first = window_of(own, job.capture(0).astype(np.float64), "first", "first")
    keys = tuple(BY_NAME[name] for name in KEYS)
    errors, held = [], []
    for seed in range(1, draws + 1):
        window = _other(first, job.capture(seed))
        case = Case(predictions=(own,), windows=(window,), keys=keys)
        truth = case.start().variables
        end = likeliest(case, case.start())
        sds: FloatArray = np.sqrt(np.diag(end.covariance))[: len(keys)]
        found = end.view.state.variables
        errors.append((found - truth) / sds)
        seen = [interval_of(key, x, sd) for key, x, sd in zip(keys, found, sds, strict=True)]
        true = [key.value(job.truth) for key in keys]
        held.append([one.low <= value <= one.high for one, value in zip(seen, true, strict=True)])
    return Draws(np.array(errors), np.array(held))


def _other(first: Window, image: "np.ndarray[tuple[int, int], np.dtype[np.uint16]]") -> Window:
    """Give another capture the place of the first, which lies alike."""
    lines = first.lines.astype(int)
    return replace(first, captured_dn=image[lines][:, first.columns].astype(np.float64))


def test_intervals_are_neither_too_narrow_nor_too_wide(small: "Job") -> None:
    """
    Of 4 captures each key's interval holds the truth in one or more, and errors are as told.

    None of 4 happens at 95 % once in 1.6·10⁵ (0.05⁴); so far out, to both sides, lies the sum of
    the squared errors (χ² of 4; derived). The spread of columns is skew, and counted alone.
    """
    found = drawn(small, 4)
    assert (found.held.sum(axis=0) >= 1).all()
    low, high = (float(stats.chi2.ppf(share, 4)) for share in (1e-5, 1 - 1e-5))
    squares = (found.errors[:, :-1] ** 2).sum(axis=0)
    assert (squares > low).all()
    assert (squares < high).all()


@pytest.mark.nightly
def test_intervals_hold_the_truth_as_often_as_they_say(small: "Job") -> None:
    """Of 200 captures each key's 95 % interval holds the truth in 90 to 99 %."""
    held = drawn(small, 200).held.mean(axis=0)
    assert (held >= 0.90).all()
    assert (held <= 0.99).all()
