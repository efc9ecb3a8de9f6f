"""
Variances of frames with known patterns and noise, and whether standard errors tell the truth.

Formulas: EMVA 1288 R4.0 RC (March 2021), (18), (33) to (44), (53), (54), (66), (67).
"""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.metrics.camera.transfer import dark_noise, photon_transfer
from linesim.metrics.flat.noise import Estimate, FrameFigures, flat_figures, frame_figures
from linesim.setup.arrays import FloatArray
from tests.emva import camera_figures

SHAPE = (48, 40)
RNG_SEED = 11


def patterns(rng: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Draw row, column and pixel patterns whose averages vanish exactly, so that none leaks."""
    row = rng.normal(0, 2.0, (SHAPE[0], 1))
    column = rng.normal(0, 3.0, (1, SHAPE[1]))
    pixel = rng.normal(0, 5.0, SHAPE)
    pixel -= pixel.mean(axis=0) + pixel.mean(axis=1, keepdims=True) - pixel.mean()
    return row - row.mean(), column - column.mean(), pixel


def test_split_of_known_patterns() -> None:
    """
    Frames without noise: s² of the whole, and (44) by hand for its parts.

    Averages of columns and rows then hold their own pattern alone, so s²_cav = s²_c, s²_rav = s²_r
    and s²_pix = MN·p/(MN − M − N), of which s²_c and s²_r lose 1/M and 1/N.
    """
    row, column, pixel = patterns(np.random.default_rng(RNG_SEED))
    frame = 100 + row + column + pixel
    found = frame_figures(np.stack([frame, frame + 7]))  # a frame that is brighter as a whole
    (lines, columns), parts = SHAPE, found.spatial_dn2
    grown = pixel.var() * lines * columns / (lines * columns - lines - columns)
    assert found.mean_dn.value == pytest.approx(103.5, abs=1e-12)
    assert found.temporal_dn2.value == pytest.approx(0, abs=1e-12)  # drift is no noise (18)
    assert parts.total.value == pytest.approx(row.var() + column.var() + pixel.var(), rel=1e-12)
    assert parts.pixel.value == pytest.approx(grown, rel=1e-12)
    assert parts.row.value == pytest.approx(row.var() - grown / columns, rel=1e-10)
    assert parts.column.value == pytest.approx(column.var() - grown / lines, rel=1e-10)
    whole = parts.row.value + parts.column.value + parts.pixel.value
    assert whole == pytest.approx(parts.total.value, rel=1e-12)


@pytest.mark.parametrize("count", [2, 5])
def test_temporal_variance_of_frames(count: int) -> None:
    """Two frames: ½⟨(y₀−y₁)²⟩ − ½(μ₀−μ₁)² (18); several: the mean of that over all pairs."""
    rng = np.random.default_rng(RNG_SEED)
    frames = rng.normal(50, 4.0, (count, *SHAPE)) + np.arange(count)[:, None, None]
    pairs = [
        ((frames[i] - frames[j]) ** 2).mean() / 2 - (frames[i].mean() - frames[j].mean()) ** 2 / 2
        for i in range(count)
        for j in range(i)
    ]
    assert frame_figures(frames).temporal_dn2.value == pytest.approx(np.mean(pairs), rel=1e-12)


FIGURES: dict[str, Callable[[FrameFigures], Estimate]] = {
    "mean": lambda f: f.mean_dn,
    "temporal": lambda f: f.temporal_dn2,
    "total": lambda f: f.spatial_dn2.total,
    "row": lambda f: f.spatial_dn2.row,
    "column": lambda f: f.spatial_dn2.column,
    "pixel": lambda f: f.spatial_dn2.pixel,
}
TRIALS = 400


@pytest.mark.parametrize("fixed", [0.0, 1.0])
@pytest.mark.parametrize("count", [2, 4])
def test_standard_errors_are_those_of_many_looks(count: int, fixed: float) -> None:
    """
    400 looks at one camera: figures scatter by the standard errors given, around the truth.

    A standard deviation from 400 values is known to 1/√800 of itself: within 4 of these, and 2 %
    for the small correlations between parts that the errors leave out (1/√lines in square). The
    mean of 400 lies within 4/√400 errors of the truth, and 1/√(2·40) for the variance of 40 columns
    about their own mean, which the standard divides by 40, not 39.
    """
    rng = np.random.default_rng(RNG_SEED)
    row, column, pixel = (fixed * each for each in patterns(rng))
    frame = 100 + row + column + pixel
    looks = [frame_figures(frame + rng.normal(0, 6.0, (count, *SHAPE))) for _ in range(TRIALS)]
    still = frame_figures(np.stack([frame, frame]))
    for name, figure in FIGURES.items():
        values = np.array([figure(each).value for each in looks])
        error = np.mean([figure(each).sd for each in looks])
        truth = 36.0 if name == "temporal" else figure(still).value
        assert values.std(ddof=1) == pytest.approx(error, rel=4 / np.sqrt(2 * TRIALS) + 0.02), name
        assert abs(values.mean() - truth) < (4 / np.sqrt(TRIALS) + 1 / np.sqrt(80)) * error, name


@pytest.mark.parametrize("brightest_dn", [100, 2800])
def test_gain_and_its_standard_error(brightest_dn: float) -> None:
    """
    Gaussian variances around K·(μ − μ_d) + σ_d²: K scatters by the error given, around the truth.

    400 series of 8 steps; tolerances as above. In the faint series the dark frames, which all steps
    share, bring most of the error.
    """
    rng, samples = np.random.default_rng(RNG_SEED), 5000
    mean_dn = np.linspace(30, brightest_dn, 9)
    truth_dn2 = 0.1 * (mean_dn - 30) + 9
    found = []
    for _ in range(TRIALS):
        seen_dn2 = truth_dn2 * (1 + np.sqrt(2 / samples) * rng.standard_normal(9))
        seen_dn = mean_dn + np.sqrt(truth_dn2 / samples) * rng.standard_normal(9)
        found.append(photon_transfer(seen_dn, seen_dn2, saturation_dn=4000, samples=samples))
    values = np.array([each.value for each in found])
    error = np.mean([each.sd for each in found])
    assert values.std(ddof=1) == pytest.approx(error, rel=4 / np.sqrt(2 * TRIALS))
    assert values.mean() == pytest.approx(0.1, abs=4 * error / np.sqrt(TRIALS))


def test_dark_noise_and_its_limit() -> None:
    """
    (53): √(σ² − 1/12)/K; (54) and C.4: below 0.24 DN² σ_d is under 0.40/K.

    √(0.49² − 1/12) is 0.396, which the standard rounds to 0.40.
    """
    gain = Estimate(value=0.1, sd=0.001)
    clear = dark_noise(Estimate(value=9 + 1 / 12, sd=0.06), gain)
    assert clear.value == pytest.approx(30, rel=1e-12)
    # dσ/σ is half of dv/v, and K errs by 1 %
    assert clear.sd == pytest.approx(30 * np.hypot(0.06 / 18, 0.01), rel=1e-12)
    for variance in (0.0, 0.1, 0.2399):
        hidden = dark_noise(Estimate(value=variance, sd=0.0), gain)
        assert hidden.value == pytest.approx(0.40 / 0.1, abs=0.005 / 0.1)


def test_a_camera_made_by_hand() -> None:
    """
    K 0.5, σ_d 8 e, offsets of 12 e and gains of 2 % a column, Gaussian frames: all come back.

    Within 4 standard errors; PRNU at half saturation is what is added there, in the signal's share.
    """
    rng = np.random.default_rng(RNG_SEED)
    offset_e, gain = rng.normal(0, 12, 200), 1 + rng.normal(0, 0.02, 200)

    def frames(signal_e: float, noise_e: float) -> FloatArray:
        sd_e = np.sqrt(noise_e**2 + signal_e * gain)
        seen_e = signal_e * gain + offset_e + sd_e * rng.standard_normal((2, 150, 200))
        return np.asarray(np.rint(100 + 0.5 * seen_e))

    steps = [frames(share * 10_000, 8) for share in (0.1, 0.3, 0.5, 0.7)]
    found = camera_figures(frames(0, 8), steps, saturation_dn=5000)
    shared = np.cov(gain, offset_e, bias=True)
    prnu = np.sqrt(shared[0, 0] + 2 * shared[0, 1] / 5000) / gain.mean()
    for estimate, truth in (
        (found.gain_dn_e, 0.5),
        (found.dark_noise_e, 8),
        (found.dsnu_e.column, offset_e.std()),
        (found.prnu.column, prnu),
    ):
        assert estimate.value == pytest.approx(truth, abs=4 * estimate.sd)
    assert found.gain_dn_e.sd < 0.01 * 0.5


def test_columns_are_no_noise_in_time() -> None:
    """Streaks alone leave the temporal noise at 0 and make up the total; a flicker does neither."""
    column = np.tile(np.array([100, 104], dtype=np.uint16), (32, 20))
    found = flat_figures(column)
    assert (found.mean_dn, found.temporal_noise_dn) == (102, 0)
    assert found.total_noise_dn == pytest.approx(2 * np.sqrt(1280 / 1279), rel=1e-12)
    flicker = flat_figures(np.ascontiguousarray(column.T))
    assert flicker.temporal_noise_dn == pytest.approx(2 * np.sqrt(40 / 39), rel=1e-12)


def test_an_error_of_a_root_is_never_endless() -> None:
    """√ of a variance that scatters below 0 is 0, known to √ of its error; ratios add errors."""
    none = Estimate(value=-0.5, sd=4.0).root()
    assert (none.value, none.sd) == (0.0, 2.0)
    assert Estimate(value=0.0, sd=0.0).root() == Estimate(value=0.0, sd=0.0)
    assert_allclose(Estimate(value=100.0, sd=4.0).root().sd, 0.2)
    ratio = Estimate(value=6.0, sd=0.3).over(Estimate(value=2.0, sd=0.2))
    assert ratio.value == 3.0
    assert_allclose(ratio.sd, 3 * np.hypot(0.05, 0.1))


@pytest.mark.parametrize("shape", [(1, 20, 20), (2, 2, 20), (2, 20, 2), (20, 20)])
def test_too_few_frames_are_refused(shape: tuple[int, ...]) -> None:
    """One frame, two lines or two columns cannot part noise from pattern."""
    with pytest.raises(ValueError, match="at least"):
        frame_figures(np.zeros(shape))


def test_no_step_in_range_is_refused() -> None:
    """A series that starts above 70 % of saturation has no slope to give."""
    with pytest.raises(ValueError, match="70%"):
        photon_transfer(np.array([0.0, 90]), np.array([1.0, 9]), saturation_dn=100, samples=9)
    with pytest.raises(ValueError, match="lines"):
        flat_figures(np.zeros((15, 20), dtype=np.uint16))
