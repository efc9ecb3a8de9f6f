"""
Colour rows at a distance: what is left over between the colours, read off the image.

D = line_spacing/(m · line_advance) lines lie between neighbouring rows; the camera undoes none,
whole or all of them. A shift counts as the place in the picture less that in green, so red is at +D
where nothing is undone. Sources: the delay is the "optical line spacing divided by the scanned
pixel size" (US patent 6 075 236, abstract); the rest is derived beside each check.
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from skimage.registration import phase_cross_correlation

from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import Scan, scan
from tests.stations import plain_setup

BASE = plain_setup(
    "Colour rows",
    target={"pixel_size": "18.75 um"},
    light={"illuminance": "100 klx"},
    # 330 um on the target, 4.4 lines of 75 um
    camera={"kind": "three-line", "pixels": 16, "line_spacing": "33 um"},
    acquisition={"lines": 192, "exposure": "20 us"},
)
ROWS = 1000
EDGE_ROW = 400
RED, GREEN, BLUE = range(3)


def scanned(setup: Setup, target: FloatArray) -> Scan:
    """Scan columns that are all the same."""
    wide = np.repeat(np.asarray(target, dtype=np.float32)[:, None], 64, axis=1)
    return scan(setup, reference=wide)


def edge_lines(setup: Setup) -> FloatArray:
    """
    Line at which an edge across travel lies in each colour.

    The dark share of a line, summed over all lines, counts the lines before the edge. One column
    alone is off by up to MTF(1/advance)/π lines, a wave in the edge's place between two lines; the
    edge here runs down by one line over the picture's 16 columns, and the wave averages out.
    """
    slope = float(station(setup).timing.line_advance_um) / 18.75 / 64
    edge_row = EDGE_ROW + slope * (np.arange(64) - 31.5)
    before = np.clip(edge_row - np.arange(ROWS)[:, None], 0, 1)
    seen = scan(setup, reference=0.8 - 0.6 * before).expected_e.mean(axis=1, dtype=np.float64)
    dark, light = seen[:20].mean(axis=0), seen[-20:].mean(axis=0)
    return np.asarray(((light - seen) / (light - dark)).sum(axis=0))


def left_over(setup: Setup) -> FloatArray:
    """Misregistration that the budget tells, red, green, blue."""
    told = scanned(changed(setup, {"acquisition.lines": 1}), np.ones(9)).budget["geometry"]
    figure = told["misregistration_px"]
    assert isinstance(figure, dict)
    return np.array([figure["red"], figure["green"], figure["blue"]])


@pytest.mark.parametrize(
    ("way", "red"),
    [("none", 4.4), ("whole-lines", 0.4), ("fractional", 0.0)],
)
@pytest.mark.parametrize("binning", ["1x1", "1x2"])
def test_alignment_leaves_what_the_closed_form_says(way: str, red: float, binning: str) -> None:
    """D = 33/(0.1·75) = 4.4 lines; none leaves D, whole lines D − 4, fractions 0. By hand."""
    lines = {
        "acquisition.binning": binning,
        "acquisition.binning_along": "lines",
        "acquisition.binning_domain": "digital",
        "camera.line_spacing": "33 um" if binning == "1x1" else "66 um",
    }
    setup = changed(BASE, {"acquisition.colour_alignment": way, **lines})
    if binning == "1x2":
        setup = changed(setup, {"acquisition.lines": 96})
    at = edge_lines(setup)
    assert_allclose(at - at[GREEN], [red, 0, -red], atol=2e-4)
    assert_allclose(left_over(setup), [red, 0, -red], atol=1e-12)


def test_an_independent_library_finds_the_same_shift() -> None:
    """Phase correlation (scikit-image) of a random band: 0.4 lines, found to a few hundredths."""
    rng = np.random.default_rng(5)
    smooth = np.convolve(rng.random(ROWS + 60), np.hanning(61) / 30, mode="valid")
    seen = scanned(BASE, smooth).expected_e.astype(np.float64)
    window = np.hanning(160)[:, None]
    bands = [(seen[16:176, :, k] - seen[16:176, :, k].mean()) * window for k in range(3)]
    for channel, shift in ((RED, 0.4), (BLUE, -0.4)):
        found, *_ = phase_cross_correlation(  # type: ignore[no-untyped-call]  # it has no types
            bands[channel], bands[GREEN], upsample_factor=100, normalization=None
        )
        assert found[0] == pytest.approx(shift, abs=0.03)


@pytest.mark.parametrize("wrong", [0.01, -0.03, 0.1])
@pytest.mark.parametrize("way", ["whole-lines", "fractional"])
def test_a_wrong_speed_leaves_a_fringe(way: str, wrong: float) -> None:
    """
    8 lines undone at a speed that is wrong by ε: −8ε/(1+ε) left in red.

    ε = true over believed line advance less 1. Lines are then no longer as far apart as a pixel is
    high, and the wave of `edge_lines` is there: |ε| times the lens's 0.6, over π, of which the 16
    columns leave what the blur at the picture's sides spoils, a tenth.
    """
    setup = changed(
        BASE,
        {
            "camera.line_spacing": "60 um",
            "acquisition.colour_alignment": way,
            "transport.assumed_speed": f"{60 / (1 + wrong)} m/min",
        },
    )
    left = -8 * wrong / (1 + wrong)
    at = edge_lines(setup)
    assert_allclose(at - at[GREEN], [left, 0, -left], atol=abs(wrong) * 0.06 / np.pi)
    assert_allclose(left_over(setup), [left, 0, -left], rtol=0, atol=1e-9)


def places_um(setup: Setup) -> FloatArray:
    """Where each line of each colour looks: read from an even ramp, exact for even footprints."""
    rows = 12 * ROWS
    found = scanned(setup, (np.arange(rows) + 0.5) / rows)
    share = found.expected_e.mean(axis=1, dtype=np.float64) / np.asarray(
        station(setup).electrons_white
    )
    return np.asarray(share * rows * 18.75)


RIPPLE: dict[str, object] = {
    "camera.line_spacing": "60 um",
    "transport.speed_ripple": 0.05,
    "transport.ripple_frequency": "150 Hz",
    "acquisition.colour_alignment": "fractional",
    "acquisition.exposure": "1 us",
    "acquisition.lines": 1920,
}


def test_ripple_with_a_clock_leaves_a_swing() -> None:
    """
    Left over = ∫ a v̄ sin 2πgt over the delay: amplitude a v̄ τ |sinc(gτ)|, τ = spacing/(m v̄).

    600 um take 0.6 ms: gτ = 0.09. 1920 lines of 75 us hold 21.6 turns; a sine and a cosine fitted
    at the ripple's frequency give the amplitude. Ramp and float32 read a place to 0.1 um.
    """
    setup = changed(BASE, RIPPLE)
    at = places_um(setup)
    time_s = np.arange(1920) * 75e-6
    turn = 2 * np.pi * 150 * time_s
    fit = np.column_stack([np.sin(turn), np.cos(turn), np.ones_like(turn)])
    amplitude_um = 0.05 * 600 * np.sinc(150 * 0.6e-3)
    told = scanned(changed(setup, {"acquisition.lines": 1}), np.ones(9)).budget["geometry"]
    swing_px = told["misregistration_swing_px"]
    assert isinstance(swing_px, dict)
    assert swing_px == pytest.approx(
        {"red": amplitude_um / 75, "green": 0, "blue": amplitude_um / 75}
    )
    for channel in (RED, BLUE):
        swing = at[20:-20, channel] - at[20:-20, GREEN]
        (sine, cosine, mean), *_ = np.linalg.lstsq(fit[20:-20], swing, rcond=None)
        assert np.hypot(sine, cosine) == pytest.approx(amplitude_um, abs=0.05)
        assert mean == pytest.approx(0, abs=0.05)
        # nothing else is left: two rows differ by the closed form alone
        assert_allclose(swing, fit[20:-20] @ [sine, cosine, mean], atol=0.5)


def test_ripple_with_an_encoder_leaves_nothing() -> None:
    """
    Lines start at equal travel for every colour: the rows meet, to the 0.1 um of the reading.

    What moves while they expose differs by a v̄ t·2 sin(πgτ)/2, 0.014 um in 1 us.
    """
    encoder = {"transport.trigger": "encoder", "transport.encoder_step": "75 um"}
    at = places_um(changed(BASE, {**RIPPLE, **encoder}))[20:-20]
    assert_allclose(at[:, RED], at[:, GREEN], atol=0.2)
    assert_allclose(at[:, BLUE], at[:, GREEN], atol=0.2)


def test_an_encoder_ignores_what_the_clock_believes() -> None:
    """It counts travel: 8 lines of 75 um are undone whatever assumed_speed says."""
    setup = changed(
        BASE,
        {
            "camera.line_spacing": "60 um",
            "transport.trigger": "encoder",
            "transport.encoder_step": "75 um",
            "transport.assumed_speed": "50 m/min",
        },
    )
    at = edge_lines(setup)
    assert_allclose(at, at[GREEN], atol=2e-4)
    assert_allclose(left_over(setup), 0, atol=1e-9)


def test_jitter_moves_each_colour_by_what_its_own_line_had() -> None:
    """With 4 lines undone, red's line i is the one exposed at i + 4, and has that line's jitter."""
    jitter = {"transport.line_jitter": "6 um", "camera.line_spacing": "30 um"}
    shift = places_um(changed(BASE, {**jitter, "acquisition.exposure": "1 us"}))
    shift = shift - np.arange(192)[:, None] * 75
    assert shift[20:, GREEN].std() > 4
    assert_allclose(shift[20:180, RED], shift[24:184, GREEN], atol=0.2)
    assert_allclose(shift[24:184, BLUE], shift[20:180, GREEN], atol=0.2)


@pytest.mark.parametrize("way", ["whole-lines", "fractional"])
def test_skew_moves_the_rows_sideways(way: str) -> None:
    """
    Rows a distance d apart on the target look tan θ · d apart across: 600 um at 1°, 10.47 um.

    Read from a ramp across; lines shift in steps of an eighth of a reference pixel, 1.2 um off.
    """
    columns = 96
    ramp = np.tile(((np.arange(columns) + 0.5) / columns).astype(np.float32), (ROWS, 1))
    skew = {"transport.skew": "1 deg", "camera.line_spacing": "60 um"}
    setup = changed(BASE, {**skew, "acquisition.colour_alignment": way, "acquisition.lines": 64})
    seen = scan(setup, reference=ramp).expected_e[20:44, 4:12].astype(np.float64)
    place_um = seen / np.asarray(station(setup).electrons_white) * columns * 18.75
    shift_um = (place_um - place_um[:, :, GREEN, None]).mean(axis=(0, 1))
    lateral_um = 600 * np.tan(np.radians(1))
    # the row that looks further back is turned to the left by a positive skew
    assert_allclose(shift_um, [lateral_um, 0, -lateral_um], atol=18.75 / 16 + 0.05)


def test_a_prism_leaves_nothing(tmp_path: Path) -> None:
    """
    One line of sight: exactly the same lines in all colours, and 0 in the budget.

    All colours see the same wavelengths here, or diffraction would blur red more than blue.
    """
    ripple = {"transport.speed_ripple": 0.05, "transport.line_jitter": "5 um"}
    (tmp_path / "all.csv").write_text("400, 0.5\n700, 0.5\n", encoding="utf-8")
    alike = dict.fromkeys(("red", "green", "blue"), str(tmp_path / "all.csv"))
    own = {"camera.kind": "prism", "camera.quantum_efficiency": alike}
    setup = changed(BASE, {**own, **ripple})
    target = np.random.default_rng(2).random(ROWS)
    seen = scanned(setup, target).expected_e
    white = np.asarray(station(setup).electrons_white)
    # the same table, scaled: float32 rounds each product anew
    assert_allclose(seen[..., RED] / white[RED], seen[..., GREEN] / white[GREEN], rtol=2e-6)
    assert_array_equal(left_over(setup), 0)


def test_a_mono_camera_has_no_such_figure() -> None:
    """Nothing to register."""
    setup = changed(BASE, {"camera.kind": "mono", "acquisition.lines": 2})
    assert "misregistration_px" not in scanned(setup, np.ones(9)).budget["geometry"]
