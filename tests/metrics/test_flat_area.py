"""
Even areas split by direction, and whether their standard errors tell the truth.

Formulas: EMVA 1288 R4.0 RC, (18), (19), (20), (33) to (44), (69); analysis of variance.
"""

import numpy as np
import pytest

from linesim.metrics.flat.area import FlatArea, flat_area, trend
from linesim.metrics.flat.noise import Estimate, flat_figures, frame_figures
from linesim.metrics.flat.signal_noise import SignalNoise
from linesim.setup.arrays import FloatArray

SHAPE = (60, 40)
TRIALS = 300


def look(rng: np.random.Generator, column: FloatArray, line_sd: float = 2.0) -> np.ndarray:
    """Draw an image: column pattern, whole lines that vary, noise of 6 DN, rounded."""
    lines = rng.normal(0, line_sd, (SHAPE[0], 1))
    return np.rint(500 + column + lines + rng.normal(0, 6, SHAPE)).astype(np.uint16)


def columns() -> FloatArray:
    """Draw one camera's columns, 3 DN apart."""
    return np.random.default_rng(7).normal(0, 3, SHAPE[1])


def test_one_image_agrees_with_the_standard() -> None:
    """Noise in time of one image is the variance along each column, as `flat_figures` has it."""
    image = look(np.random.default_rng(1), columns())
    found, known = flat_area([image]), flat_figures(image)
    assert found.mean_dn.value == pytest.approx(known.mean_dn, rel=1e-12)
    assert found.temporal_dn2.value == pytest.approx(known.temporal_noise_dn**2, rel=1e-12)


@pytest.mark.parametrize("count", [2, 5])
def test_several_images_agree_with_the_standard(count: int) -> None:
    """Temporal variance (18) of frames with drift; columns are those of (44), but for n - 1."""
    rng = np.random.default_rng(2)
    frames = [look(rng, columns()) + np.uint16(3 * k) for k in range(count)]
    found, known = flat_area(frames), frame_figures(np.stack(frames))
    assert found.temporal_dn2.value == pytest.approx(known.temporal_dn2.value, rel=1e-12)
    # (44) takes column means less a share of the pixels, here less noise alone: they differ by what
    # the pixel pattern, absent here, scatters, and by n/(n - 1) = 1.026
    assert found.column_dn2.value == pytest.approx(
        known.spatial_dn2.column.value * SHAPE[1] / (SHAPE[1] - 1), abs=4 * found.column_dn2.sd
    )


@pytest.mark.parametrize("count", [1, 2, 4])
def test_standard_errors_are_those_of_many_looks(count: int) -> None:
    """
    300 looks at one camera scatter by the errors given, around the truth.

    A standard deviation from 300 values is known to 1/√600 of itself: 4 of these, and 5 % for the
    parts' small correlations that the errors leave out. Truth: 6² and 2², with rounding's 1/12.
    """
    rng, column = np.random.default_rng(11), columns()
    looks = [flat_area([look(rng, column) for _ in range(count)]) for _ in range(TRIALS)]
    truth = {
        "mean_dn": 500 + column.mean(),
        "temporal_dn2": 40 + 1 / 12,
        "pixel_dn2": 36 + 1 / 12,
        "line_dn2": 4.0,
        "column_dn2": column.var(ddof=1),
        "pattern_dn2": ((column - trend(column)) ** 2).sum() / (SHAPE[1] - 3),
    }
    for name, value in truth.items():
        found: list[Estimate] = [getattr(each, name) for each in looks]
        values = np.array([each.value for each in found])
        error = float(np.mean([each.sd for each in found]))
        assert values.std(ddof=1) == pytest.approx(error, rel=4 / np.sqrt(2 * TRIALS) + 0.05), name
        assert values.mean() == pytest.approx(value, abs=4 * error / np.sqrt(TRIALS)), name


def test_white_noise_has_no_correlation_and_no_trend() -> None:
    """Correlations of 300 looks scatter by 1/√samples around 0; drift's variance around 0."""
    rng = np.random.default_rng(3)
    looks = [flat_area([look(rng, columns(), line_sd=0.0)]) for _ in range(TRIALS)]
    error = looks[0].correlation_sd
    assert error == pytest.approx(1 / np.sqrt((SHAPE[0] - 1) * SHAPE[1]))
    for values in (
        np.array([each.correlation_y for each in looks]),
        np.array([each.correlation_x for each in looks]),
    ):
        assert values.mean() == pytest.approx(0, abs=4 * error / np.sqrt(TRIALS))
        assert values.std(ddof=1) == pytest.approx(error, rel=4 / np.sqrt(2 * TRIALS) + 0.02)
    drift = np.array([each.drift_dn2 for each in looks])
    assert drift.mean() == pytest.approx(0, abs=4 * drift.std(ddof=1) / np.sqrt(TRIALS))


@pytest.mark.parametrize("axis", ["y", "x"])
def test_neighbours_that_share_are_correlated(axis: str) -> None:
    """A mean of two independent neighbours has correlation ½, derived; along or across."""
    rng = np.random.default_rng(4)
    white = rng.normal(0, 20, (201, 201))
    shared = white[1:] + white[:-1] if axis == "y" else (white[:, 1:] + white[:, :-1])
    found = flat_area([np.rint(1000 + shared[:200, :200]).astype(np.uint16)])
    told = {"y": found.correlation_y, "x": found.correlation_x}
    other = {"y": found.correlation_x, "x": found.correlation_y}
    # standard error of a lag-1 correlation ρ = ½ of such a mean (Bartlett): √(1 - 3ρ² + 4ρ⁴)/√n
    error = np.sqrt(1 - 3 / 4 + 4 / 16) / 200
    assert told[axis] == pytest.approx(0.5, abs=4 * error + 0.005)
    assert abs(other[axis]) < 4 * np.sqrt(1.5) / 200


def test_trends_are_told() -> None:
    """A parabola across and a slope along come back as peak to peak, to rounding over the lines."""
    place = np.linspace(-1, 1, 200)
    image = 1000 - 100 * place**2 + 50 * place[:, None]
    found = flat_area([np.rint(image).astype(np.uint16)])
    assert found.shading_dn == pytest.approx(100, abs=0.1)
    assert found.drift_dn == pytest.approx(100, abs=0.1)


def test_ratios_and_gain() -> None:
    """
    SNR (20), its decibel, the total (69) and the gain (15) of numbers made by hand.

    Signal 400 over noise 4 is 100, 40 dB. Total noise √(16 + 9) = 5. (16 - 4)/400 = 0.03 DN/e.
    """

    def area(mean_dn: float, noise_dn2: float, column_dn2: float) -> FlatArea:
        exact = [Estimate(value=value, sd=0.0) for value in (mean_dn, noise_dn2, column_dn2, 0.0)]
        return FlatArea(
            images=1,
            mean_dn=Estimate(value=mean_dn, sd=3.0),
            temporal_dn2=exact[1],
            pixel_dn2=exact[1],
            line_dn2=exact[3],
            column_dn2=exact[2],
            pattern_dn2=exact[2],
            shading_dn=0.0,
            drift_dn=0.0,
            drift_dn2=0.0,
            correlation_y=0.0,
            correlation_x=0.0,
            correlation_sd=0.1,
        )

    dark = area(100, 4, 0)
    found = SignalNoise(lit=area(500, 16, 9), black_dn=Estimate(value=100, sd=4.0), dark=dark)
    figures = found.figures()
    values = {name: each.value for name, each in figures.items()}
    assert (values["snr"], values["snr_db"], values["snr_total"]) == (100, 40, 80)
    assert values["gain_dn_e"] == pytest.approx(0.03, rel=1e-12)
    assert (values["dark_noise_dn"], values["line_variation_dn"]) == (2, 0)
    # √(3² + 4²) = 5 DN of error on the signal: 5/4 on the ratio, 20/ln 10 x 1.25 % in decibel
    assert figures["snr"].sd == pytest.approx(1.25, rel=1e-12)
    assert figures["snr_db"].sd == pytest.approx(20 / np.log(10) * 0.0125, rel=1e-12)
    without = SignalNoise(lit=area(90, 16, 9), black_dn=Estimate(value=100, sd=4.0), dark=None)
    assert not {"snr", "snr_db", "snr_total", "gain_dn_e", "dark_noise_dn"} & set(without.figures())


@pytest.mark.parametrize("shape", [(15, 40), (60, 7), (60, 40, 3)])
def test_small_areas_are_refused(shape: tuple[int, ...]) -> None:
    """Fewer than 16 lines of 8 columns, or colours, are none of its business; nor two shapes."""
    with pytest.raises(ValueError, match="are needed"):
        flat_area([np.zeros(shape, dtype=np.uint16)])
    with pytest.raises(ValueError, match="one shape"):
        flat_area([np.zeros(SHAPE, dtype=np.uint16), np.zeros((61, 40), dtype=np.uint16)])
