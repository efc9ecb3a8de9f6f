"""
A measured camera against EMVA 1288 R4.0 RC (March 2021): the published set 003, the printed sheet.

Set 003 is verification data of the standard's working group, reduced by (16) and (18) from frames.
The figures expected of it were read off those frames by the group's own open-source evaluation (run
once; its version was not noted): saturation at step 48, gain and responsivity over steps 0 to 32, K
through 0, and the threshold in the form of Release 3. Means and variances are rounded here to 8
digits, photons to 6.
"""

import numpy as np
import pytest

from linesim.metrics.camera.figures import Transfer, transfer
from linesim.metrics.camera.fixed_pattern import dsnu, prnu
from linesim.metrics.camera.linearity import linearity
from linesim.metrics.camera.saturation import saturation
from linesim.metrics.camera.series import Moments, Series
from linesim.metrics.flat.noise import Estimate, frame_figures
from linesim.setup.arrays import FloatArray

SAMPLES = 640 * 480
DARK = (29.40627441, 9.07799974)

# photons, mean [DN], temporal variance [DN²]; 50 steps
SET_003 = """
1659.7 111.45609 17.24754 ; 3319.3 193.51130 25.42961 ; 4979.0 275.56074 33.70036
6638.6 357.62198 41.96479 ; 8298.3 439.66475 49.94953 ; 9958.0 521.71494 58.28404
11617.6 603.74386 66.23714 ; 13277.3 685.76569 74.22349 ; 14936.9 767.79824 82.85276
16596.6 849.81616 91.02812 ; 18256.3 931.80554 99.14376 ; 19915.9 1013.78166 107.10808
21575.6 1095.71567 115.22036 ; 23235.2 1177.63693 123.21677 ; 24894.9 1259.53685 132.04777
26554.6 1341.37897 139.82285 ; 28214.2 1423.18764 147.82017 ; 29873.9 1504.98880 155.57228
31533.5 1586.68341 163.62653 ; 33193.2 1668.34640 171.47236 ; 34852.9 1749.93929 179.28918
36512.5 1831.50106 187.10766 ; 38172.2 1912.93607 195.16190 ; 39831.8 1994.31242 202.27792
41491.5 2075.57141 210.05833 ; 43151.2 2156.74884 216.90956 ; 44810.8 2237.82293 224.94632
46470.5 2318.79765 232.08060 ; 48130.1 2399.58324 239.04034 ; 49789.8 2480.32383 246.51645
51449.5 2560.88240 253.87863 ; 53109.1 2641.26149 260.72673 ; 54768.8 2721.48584 267.95912
56428.4 2801.57333 274.26422 ; 58088.1 2881.45817 279.17628 ; 59747.8 2961.11233 287.66907
61407.4 3040.60770 293.93002 ; 63067.1 3119.87274 300.01337 ; 64726.7 3198.92301 305.51405
66386.4 3277.72357 312.09425 ; 68046.1 3356.24722 317.22487 ; 69705.7 3434.54831 321.54130
71365.4 3512.54602 327.38645 ; 73025.0 3590.21225 331.43038 ; 74684.7 3667.62726 336.31021
76344.4 3744.71158 340.41761 ; 78004.0 3821.44195 345.61591 ; 79663.7 3897.84776 348.32636
81323.3 3973.87964 352.85644 ; 82983.0 4047.43886 296.14199
"""


def moments_from(mean_dn: FloatArray, variance_dn2: FloatArray) -> Moments:
    """Take what somebody has read off two frames each; errors by EMVA 1288 R4.0 RC, (18), (19)."""
    return Moments(
        mean_dn=mean_dn,
        temporal_dn2=variance_dn2,
        mean_sd_dn=np.sqrt(variance_dn2 / (2 * SAMPLES)),
        temporal_sd_dn2=variance_dn2 * np.sqrt(2 / SAMPLES),
    )


def series_of(steps: FloatArray, dark: tuple[float, float]) -> Series:
    """Make a series of steps (light, mean, variance) that share one dark."""
    light, mean_dn, variance_dn2 = steps.T
    return Series(
        light=light,
        lit=moments_from(mean_dn, variance_dn2),
        dark=moments_from(np.array(dark[:1]), np.array(dark[1:])),
        dark_exposure_us=np.array([10_000.0]),
        dark_of=np.zeros(light.size, dtype=np.intp),
    )


STEPS = np.array([row.split() for row in SET_003.replace("\n", ";").split(";") if row.strip()])
PUBLISHED = series_of(STEPS.astype(np.float64), DARK)


def evaluated(series: Series) -> Transfer:
    """Evaluate from saturation on, as a measurement does."""
    return transfer(series, saturation(series))


def test_saturation_and_fit_of_the_published_set() -> None:
    """The peak of the variance is step 48, 81323.3 photons; 33 steps lie up to 70 % of it."""
    found = evaluated(PUBLISHED)
    assert (found.saturation.step, found.saturation.rule) == (48, "variance")
    assert PUBLISHED.light[48] == 81323.3
    assert found.fitted == 33


@pytest.mark.parametrize(
    ("name", "published", "within"),
    [
        # means to 1e-5 DN of 82 DN a step, photons to 0.05 of 1660 a step: K and R average over
        # 33 steps, which leaves 6e-9 of K and 3e-9 of R when the photons are exact
        ("gain_dn_e", 0.0978587929, 1e-9),
        ("gain_free_offset_dn_e", 0.0965594, 5e-8),
        ("responsivity_dn", 0.0492903166, 2e-10),
        ("efficiency", 0.503688, 5e-7),
        ("dark_noise_dn", 3.0129721, 5e-7),
        ("dark_noise_e", 30.6473, 5e-5),
        # 81323.3 photons are given to 0.05, which is 0.03 e; its root and ratio follow
        ("saturation_e", 40961.58, 0.03),
        ("snr_max", 202.3897, 1e-4),
    ],
)
def test_figures_of_the_published_set(name: str, published: float, within: float) -> None:
    """Each figure to half of its last printed digit, or to what the rounded rows leave of it."""
    assert evaluated(PUBLISHED).figures[name].value == pytest.approx(published, abs=within)


def test_threshold_of_the_published_set() -> None:
    """
    μ_p.min 62.1197 photons and DR 1309.14 by Release 3, σ_y.dark/K + ½.

    Release 4, (26), is √(σ_y.dark²/K² + ¼) + ½: higher by 1/(8 σ_y.dark/K) = 0.0041 e to first
    order, 0.013 %, and the next order is 1e-4 of that.
    """
    found = evaluated(PUBLISHED).figures
    old, new = found["threshold_release_3_e"].value, found["threshold_e"].value
    per_photon = found["efficiency"].value
    assert old / per_photon == pytest.approx(62.1197, abs=5e-5)
    assert found["saturation_e"].value / old == pytest.approx(1309.14, abs=5e-3)
    assert new - old == pytest.approx(1 / (8 * (old - 0.5)), rel=1e-3)
    assert found["threshold_light"].value == pytest.approx(new / per_photon, rel=1e-12)


def test_linearity_of_the_published_set() -> None:
    """Deviations from −0.9657 to +0.3817 % of the line over 5 to 95 % of saturation."""
    full_dn = evaluated(PUBLISHED).figures["saturation_dn"].value
    line = linearity(PUBLISHED, full_dn)
    assert line is not None
    assert 100 * line.lowest_deviation == pytest.approx(-0.9657, abs=5e-5)
    assert 100 * line.highest_deviation == pytest.approx(0.3817, abs=5e-5)
    assert line.linearity_error.value == pytest.approx(np.abs(line.deviation).mean(), rel=1e-12)
    # noise moves a step by 2e-5 of the line, so that the bend stands clear of it
    assert line.linearity_error.low > 0.9 * line.linearity_error.value


def sheet_series() -> Series:
    """Means and variances of the printed sheet's camera by the standard's model, (14)(15)."""
    gain, full_e = 1 / 10.22, 40951.0
    signal_e = full_e * np.linspace(0.02, 1.02, 51)
    variance_dn2 = gain**2 * (30.8**2 + signal_e) + 1 / 12
    variance_dn2[-1] = variance_dn2[0]  # beyond its saturation capacity
    rows = np.stack([signal_e, 100 + gain * signal_e, variance_dn2], axis=1)
    return series_of(rows, (100.0, gain**2 * 30.8**2 + 1 / 12))


@pytest.mark.parametrize(
    ("name", "printed", "unit"),
    [
        ("gain_dn_e", 0.098, 1e-3),
        ("dark_noise_e", 30.8, 0.1),
        ("dark_noise_dn", 3.03, 0.01),
        ("threshold_e", 31.4, 0.1),
        ("saturation_e", 40951, 1),
        ("snr_max", 202, 1),
        ("snr_max_db", 46.1, 0.1),
        ("dynamic_range", 1303, 1),
        ("dynamic_range_db", 62.3, 0.1),
    ],
)
def test_the_printed_sheet(name: str, printed: float, unit: float) -> None:
    """Template page of the standard: each figure to one unit of its last digit."""
    assert evaluated(sheet_series()).figures[name].value == pytest.approx(printed, abs=unit)


def test_the_pattern_of_the_printed_sheet() -> None:
    """
    DSNU 11.2/2.3/18.4 e make 21.7 e, PRNU 0.40/0.21/0.74 % make 0.87 %: frames with such patterns.

    Patterns whose averages vanish, so that none leaks; (44) divides the pixels' variance by
    1 − 1/M − 1/N, which is taken off beforehand. Frames have no noise, so this is exact.
    """
    gain, signal_dn = 1 / 10.22, 2000.0
    dark = frame_figures(np.stack(2 * [100 + gain * parts(11.2, 2.3, 18.4)]))
    lit = 100 + gain * parts(11.2, 2.3, 18.4) + signal_dn * (1 + parts(0.004, 0.0021, 0.0074, 90))
    half = frame_figures(np.stack([lit, lit]))
    offsets = dsnu(dark, Estimate(value=gain, sd=0.0))
    assert offsets.column.value == pytest.approx(11.2, abs=0.05)
    assert offsets.row.value == pytest.approx(2.3, abs=0.05)
    assert offsets.pixel.value == pytest.approx(18.4, abs=0.05)
    assert offsets.total.value == pytest.approx(21.7, abs=0.05)
    response = prnu(half, dark)
    assert 100 * response.column.value == pytest.approx(0.40, abs=0.005)
    assert 100 * response.row.value == pytest.approx(0.21, abs=0.005)
    assert 100 * response.pixel.value == pytest.approx(0.74, abs=0.005)
    assert 100 * response.total.value == pytest.approx(0.87, abs=0.005)


def parts(column: float, row: float, pixel: float, turn: int = 0) -> FloatArray:
    """Make a frame of three patterns, cosines that no two orders share, with these deviations."""
    lines, columns = 120, 160
    x = 2 * np.pi * np.arange(columns) / columns
    y = 2 * np.pi * np.arange(lines)[:, None] / lines
    phase = np.radians(turn)
    leak = 1 - 1 / lines - 1 / columns
    by_pixel = 2 * np.cos(5 * x + phase) * np.cos(7 * y + phase) * np.sqrt(leak)
    by_column = np.sqrt(2) * column * np.cos(3 * x + phase) * np.sqrt(1 + 0 * y)
    across = pixel**2 / lines / max(column, 1e-12) ** 2
    along = pixel**2 / columns / max(row, 1e-12) ** 2
    by_row = np.sqrt(2) * row * np.cos(4 * y + phase)
    return np.asarray(
        by_column * np.sqrt(1 + across) + by_row * np.sqrt(1 + along) + pixel * by_pixel
    )
