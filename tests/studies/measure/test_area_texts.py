"""What is printed of even areas and scenes, letter for letter, of figures made up for it."""

from types import SimpleNamespace
from typing import Any

import numpy as np

from linesim.metrics.flat.area import FlatArea
from linesim.metrics.flat.banding import Banding
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.flat.signal_noise import SignalNoise
from linesim.metrics.flat.streaks import Streak, Streaks
from linesim.metrics.flat.uniformity import LineProfile, Uniformity
from linesim.metrics.region import Region
from linesim.studies.measure.areas import Area
from linesim.studies.measure.flat.noise import MeasuredNoise
from linesim.studies.measure.flat.noise_table import text as noise_text
from linesim.studies.measure.flat.uniformity import MeasuredUniformity
from linesim.studies.measure.flat.uniformity_table import text as uniformity_text
from linesim.studies.measure.scene.study import MeasuredScene
from linesim.studies.measure.scene.table import text as scene_text

AREA = Area(
    name="a.tif",
    image_dn=np.zeros((20, 50), np.uint16),
    region=Region(x=100, y=7, width=50, height=20),
    full_scale_dn=4095,
    bit_depth=12,
    depth_from="as stated",
    cautions=(),
)
ONE = np.ones(1)


def known(value: float, sd: float = 0.0) -> Estimate:
    """Make an estimate."""
    return Estimate(value=value, sd=sd)


def flat(**figures: Estimate) -> FlatArea:
    """Make an even area: nothing in it but what is given."""
    whole: dict[str, Any] = dict.fromkeys(
        ("mean_dn", "temporal_dn2", "pixel_dn2", "line_dn2", "column_dn2", "pattern_dn2"),
        known(0.0),
    )
    whole |= dict.fromkeys(("shading_dn", "drift_dn", "drift_dn2", "correlation_sd"), 0.0)
    return FlatArea(images=1, correlation_x=0.0, correlation_y=0.0, **(whole | figures))


def rows(text: str) -> dict[str, str]:
    """Give the rows by their labels: what stands between the headline and the notes."""
    found: dict[str, str] = {}
    label = ""
    for line in text.split("\n\n")[1].splitlines():
        label = line[2:28].strip() or label
        found[label] = f"{found.get(label, '')} {line[28:]}".strip()
    return found


def test_noise_is_told_with_its_units() -> None:
    """A level of 1000 over 100 DN, noise 9, columns 4: SNR 900/9 and 900/√(81 + 16)."""
    lit = flat(mean_dn=known(1000, 2), temporal_dn2=known(81), line_dn2=known(9),
               column_dn2=known(16), pattern_dn2=known(16))  # fmt: skip
    found = MeasuredNoise(
        areas=(AREA,),
        black_from="as stated",
        channels={"grey": SignalNoise(lit=lit, black_dn=known(100), dark=None)},
        cautions=(),
    )
    text = noise_text(found)
    assert text.startswith(
        "noise of a.tif\n  50 columns x 20 lines from 100, 7; 12 bit (as stated)\n\n"
    )
    assert rows(text) == {
        "mean": "1000.0 ± 2.0 DN, 900.0 ± 2.0 DN above black (100 DN, as stated)",
        "noise in time": "9 DN (along travel, column by column)",
        "of it, whole lines": "3 DN",
        "column pattern": "4 DN, 0.444% of the signal",
        "SNR": "100.00 ± 0.22 (40.000 ± 0.019 dB)",
        "SNR with column pattern": "91.38 ± 0.20 (39.217 ± 0.019 dB)",
    }


def even_line(parts: tuple[float, float, float], waves_chance: float = 1.0) -> Uniformity:
    """Make a line of 50 columns that is brightest in its column 20, with the noise of its parts."""
    smooth_dn = np.interp(np.arange(50), [0, 20, 49], [80.0, 100.0, 90.0])
    of_parts = [
        SignalNoise(lit=flat(mean_dn=known(100), temporal_dn2=known(each**2)),
                    black_dn=known(0), dark=None)
        for each in parts
    ]  # fmt: skip
    return Uniformity(
        whole=SignalNoise(lit=flat(mean_dn=known(600)), black_dn=known(100), dark=None),
        profile=LineProfile(columns_dn=2 * smooth_dn, smooth_dn=smooth_dn, end_sd_dn=0.5),
        streaks=Streaks(
            high_pass_dn=ONE, variance_dn2=known(4), spread_dn=2.0, limit=3.5, count=6,
            worst=(Streak(column=5, excess_dn=7.0, strength=3.6),
                   Streak(column=8, excess_dn=-9.0, strength=-4.4)),
        ),
        banding=Banding(
            frequency_cyc_line=0.125, amplitude_dn=known(5), chance=1e-5,
            spectrum_cyc_line=ONE, spectrum_dn=ONE,
        ),
        waves=Banding(
            frequency_cyc_line=0.25, amplitude_dn=known(5), chance=waves_chance,
            spectrum_cyc_line=ONE, spectrum_dn=ONE,
        ),
        parts=(of_parts[0], of_parts[1], of_parts[2]),
    )  # fmt: skip


def test_uniformity_is_told_with_its_units() -> None:
    """Columns count from the image's own first, left is the first of them, shares are of 500 DN."""
    found = MeasuredUniformity(
        area=AREA,
        black_dn=100,
        black_from="as stated",
        channels={"grey": even_line((10, 5, 4))},
        cautions=(),
    )
    assert rows(uniformity_text(found)) == {
        "mean": "500 DN above black (100 DN, as stated)",
        "fall-off": (
            "20.00 ± 0.50 % lost at the left end, 10.00 ± 0.50 % at the right, brightest at column "
            "120"
        ),
        # of (21 x 90 + 29 x 94.83)/50 = 92.8; variance 0.42 x 36.7 + 0.58 x 8.3 + 0.2436 x 4.83²
        "smooth profile": "21.55% peak to peak, 5.48% standard deviation, of its mean",
        "gain to correct it": "up to 1.25, column by column up to 1.25",
        "streaks": (
            "2 DN from column to column, 0.400% of the signal; 6 beyond 3.5 standard deviations"
        ),
        "worst columns": "105 (+7 DN, +3.6), 108 (-9 DN, -4.4)",
        "bands along travel": (
            "5 DN (1.000% of the signal) at 0.12500 cycles/line, 8 lines a cycle; probability by "
            "chance 1e-05 or less"
        ),
        "SNR along the line": "left 10, middle 20, right 25",
    }


def test_waves_over_the_columns_have_a_row_where_chance_shows_none_so_strong() -> None:
    """Four columns a cycle of 0.25 cycles a column; without a wave there is no such row."""
    found = MeasuredUniformity(
        area=AREA,
        black_dn=100,
        black_from="as stated",
        channels={"grey": even_line((10, 5, 4), waves_chance=1e-5)},
        cautions=(),
    )
    told = "5 DN (1.000% of the signal), 4 columns a cycle"
    assert rows(uniformity_text(found))["waves over columns"] == told


def test_a_scene_is_told_with_its_units() -> None:
    """Levels 0 to 100 DN evenly, x across and y along, SNR of a tenth, a half and nine tenths."""
    scene: Any = SimpleNamespace(
        levels=SimpleNamespace(
            percentiles_dn=np.arange(9.0), range_used=0.25, share_at_zero=0.01,
            share_at_full_scale=0.02,
        ),
        noise=SimpleNamespace(noise_dn=np.array([3.0, 4.0]), level_dn=np.array([30.0, 40.0])),
        noise_median_dn=3.5,
        snr_map=np.arange(11.0),
        detail=SimpleNamespace(
            ratio=known(0.8, 0.02), blur_px=known(1.5, 0.1), frequency_cyc_px=np.array([0.03]),
            detail_x_cyc_px=0.31, detail_y_cyc_px=0.22,
        ),
    )  # fmt: skip
    found: MeasuredScene = MeasuredScene(
        area=AREA,
        black_dn=0,
        black_from="0 DN, none was stated",
        channels={"grey": scene},
        cautions=(),
    )
    assert rows(scene_text(found)) == {
        "levels": "1 / 4 / 7 DN (1, 50, 99 % of the samples)",
        "scale used": ("25.0% (0.1 to 99.9 %); 1.000% of the samples at 0, 2.000% at full scale"),
        "noise": "at most 3.5 DN at median brightness; from 3 DN at 30 DN to 4 DN at 40 DN",
        "SNR": (
            "at least 5 in half of the blocks; 1 to 9 in 10 to 90 % (above 0 DN, none was stated)"
        ),
        "sharpness along/across": "0.800 ± 0.020, as 1.50 ± 0.10 px of motion blur would make it",
        "detail above noise": "up to 0.31 cycles/px across, up to 0.22 cycles/px along",
    }
