"""
Faults of transport that move the picture: skew, wander, flutter, jitter, an encoder's turn.

An edge's place is read from noise-free electrons by counting: the dark share of a line (or column),
summed, tells how many lie before the edge. With a pixel's box as wide as the distance of samples
this is exact, for the box has a zero at the sampling frequency. Closed forms are derived beside.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.forward.station import station
from linesim.metrics.edge.figures import edge_response
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from linesim.targets.edge import edge
from tests.stations import plain_setup

BASE = plain_setup(
    "Faults",
    target={"pixel_size": "25 um"},
    light={"illuminance": "100 klx"},
    camera={"pixels": 96},
    acquisition={"lines": 64, "exposure": "1 us"},
)
LINE_S = 75e-6
MOVED_UM = 0.5
"""From where a line starts to the middle of its exposure of 1 us."""
MIDDLE_S = LINE_S * np.arange(80) + 0.5e-6
SLOPE = np.tan(np.radians(0.1))
READING = 1e-3
"""Lines or columns: what float32 leaves of a count over some hundred samples."""


def step(rows: int, columns: int, *, row: int = 0, column: int = 0) -> FloatArray:
    """Dark before a row and before a column, light from there on; 0 leaves one of them out."""
    light = (np.arange(rows)[:, None] >= row) & (np.arange(columns) >= column)
    return np.where(light, 0.8, 0.2)


def counted(seen: FloatArray, axis: int, ends: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Lines or columns before the edge, each half a pixel in size counting half."""
    dark, light = ends
    return np.asarray(((light - seen) / (light - dark)).sum(axis=axis))


def test_skew_shears_the_picture() -> None:
    """
    4096 pixels at 0.1°: W tan θ = 7.15 lines from end to end, and a straight line between.

    An edge at y is met at line (y − x tan θ)/75 um: the side that looks ahead meets it first. Each
    column mixes two steps about its place by how near they are, which leaves the mean place alone.
    """
    setup = changed(BASE, {"camera.pixels": 4096, "transport.skew": "0.1 deg"})
    seen = scan(setup, reference=step(220, 4096 * 3, row=100)).expected_e.astype(np.float64)
    line = counted(seen, 0, (seen[0], seen[-1]))
    place_px = np.arange(4096) - 2047.5
    wanted = (2500 - MOVED_UM) / 75 - SLOPE * place_px
    off = line - wanted
    assert np.abs(off).max() < READING
    assert off.mean() == pytest.approx(0, abs=READING / 10)
    assert pytest.approx(7.149, abs=1e-3) == 4096 * SLOPE


@pytest.mark.parametrize("skew_deg", [-4.0, -0.7, 0.7, 4.0])
def test_steep_skew_puts_every_column_in_its_place(skew_deg: float) -> None:
    """Tiles get narrower, down to two columns at 4°; the opposite skew shears the other way."""
    setup = changed(BASE, {"transport.skew": f"{skew_deg} deg"})
    seen = scan(setup, reference=step(220, 96 * 3, row=110)).expected_e.astype(np.float64)
    line = counted(seen, 0, (seen[0], seen[-1]))
    wanted = (2750 - MOVED_UM) / 75 - np.tan(np.radians(skew_deg)) * (np.arange(96) - 47.5)
    assert np.abs(line - wanted).max() <= READING
    assert np.ptp(line) > 95 * np.tan(np.radians(abs(skew_deg))) - 2 * READING


def test_skewed_edges_stay_sharp() -> None:
    """
    A 5° edge keeps its MTF: mixing steps of 25/6 um takes (π·4.2·0.5/75)²/4 = 0.2 % at Nyquist.

    The edge metric is good to 0.003 in each of two: 0.01.
    """
    target = edge(pixel_size_um=25.0, width_mm=7.2, height_mm=12.0, angle_deg=85.0, contrast=4.0)
    found = []
    for skew in ("0 deg", "1.5 deg"):
        setup = changed(BASE, {"transport.skew": skew, "acquisition.lines": 160})
        seen = scan(setup, reference=target).expected_e.astype(np.float64)
        read = edge_response(seen, direction="along")
        found.append(np.interp([0.1, 0.3, 0.5], read.frequency_cyc_px, read.mtf))
    assert_allclose(found[1], found[0], rtol=0, atol=0.01)


def test_wander_moves_an_edge_to_and_fro() -> None:
    """
    120 um at 150 Hz: the edge lies at (x − 120 sin 2πgt)/75 um, for the line looks further right.

    The time is that of mid-exposure.
    """
    setup = changed(
        BASE,
        {"transport.lateral_wander": "120 um", "transport.lateral_wander_frequency": "150 Hz"},
    )
    seen = scan(setup, reference=step(9, 288, column=150)).expected_e.astype(np.float64)
    column = counted(seen, 1, (seen[:, :1], seen[:, -1:]))
    swing_um = 120 * np.sin(2 * np.pi * 150 * MIDDLE_S[:64])
    off_um = 75 * column - (150 * 25 - swing_um)
    assert np.abs(off_um).max() <= 75 * READING
    assert np.ptp(column) > 1.5


FLUTTER: dict[str, object] = {
    "lens.focal_length": "60 mm",  # working distance 60(1 + 10) = 660 mm
    "transport.flutter": "1.5 mm",
    "transport.flutter_frequency": "166.66666666666667 Hz",  # 80 lines a turn
    "camera.pixels": 512,
    "acquisition.lines": 80,
}


def test_flutter_changes_the_scale() -> None:
    """
    A pixel at x looks at x(1 − h/WD): the ends move by (h/WD)·W/2, 43.6 um here, the axis not.

    Read from a ramp across, where lens, pixel and defocus are even; its float32 leaves 0.1 um.
    """
    setup = changed(BASE, FLUTTER)
    columns = 512 * 3 + 80
    ramp = np.tile((np.arange(columns) + 0.5) / columns, (9, 1))
    seen = scan(setup, reference=ramp).expected_e.astype(np.float64)
    # cos⁴ off: the same scan on white, where the electrons are the profile
    white = scan(setup, reference=np.ones((9, 9))).expected_e[0].astype(np.float64)
    shift_um = (seen / white - 0.5) * columns * 25 - 75 * (np.arange(512) - 255.5)
    height_mm = 1.5 * np.sin(2 * np.pi * MIDDLE_S / (80 * LINE_S))
    wanted_um = -75 * np.outer(height_mm, np.arange(512) - 255.5) / 660
    assert np.abs(wanted_um[20, [0, -1]]) == pytest.approx(43.6, abs=0.1)
    assert np.abs(shift_um - wanted_um).max() <= 0.1


def test_strong_flutter_narrows_the_tiles() -> None:
    """30 mm over 660, line 20 at its crest: the outermost of 512 columns look 12 pixels inwards."""
    setup = changed(BASE, {**FLUTTER, "transport.flutter": "30 mm", "acquisition.lines": 24})
    columns = 512 * 3 + 400
    ramp = np.tile((np.arange(columns) + 0.5) / columns, (9, 1))
    seen = scan(setup, reference=ramp).expected_e[20].astype(np.float64)
    white = scan(setup, reference=np.ones((9, 9))).expected_e[20].astype(np.float64)
    place_px = np.arange(512) - 255.5
    off_um = (seen / white - 0.5) * columns * 25 - 75 * place_px * (1 - 30 / 660)
    assert np.abs(off_um).max() <= 0.1


@pytest.mark.parametrize("line", [20, 60])
def test_flutter_defocuses_at_its_turning_points(line: int) -> None:
    """
    Near the axis, a line at ±1.5 mm is a line of a lens defocused by that: the same electrons.

    The MTF of such a lens has its own check against 2J₁(x)/x. From 66 m away the scale hardly
    changes: pixels beside the axis move by 37.5·1.5/66000 um, a part in 10⁵ of their side.
    """
    near = {"camera.pixels": 32, "lens.f_number": 2.8, "lens.focal_length": "6 m"}
    target = step(9, 96, column=48)
    fluttered = scan(changed(BASE, {**FLUTTER, **near}), reference=target).expected_e
    still = {"transport.flutter": "0 mm", "acquisition.lines": 2}
    there, sharp = (
        scan(changed(BASE, {**FLUTTER, **near, **still, "lens.defocus": z}), reference=target)
        for z in ("1.5 mm", "0 mm")
    )
    assert_allclose(fluttered[line], there.expected_e[0], rtol=2e-5)
    assert_allclose(fluttered[40], sharp.expected_e[0], rtol=2e-5)
    # teeth: the blur shows
    assert np.abs(there.expected_e[0] / sharp.expected_e[0] - 1).max() > 0.05


def places_um(setup: Setup) -> FloatArray:
    """Where each line looks, read from an even ramp along travel."""
    rows = int(setup.acquisition.lines or 0) * 3 + 200
    ramp = np.tile(((np.arange(rows) + 0.5) / rows)[:, None], (1, 12))
    narrow = changed(setup, {"camera.pixels": 4})
    seen = scan(narrow, seed=4, reference=ramp).expected_e.mean(axis=1, dtype=np.float64)
    return np.asarray(seen / float(station(narrow).electrons_white) * rows * 25)


def test_jitter_has_its_rms() -> None:
    """7 um rms on the place of 3000 lines: known to 1/√(2n), four of that; mean to σ/√n."""
    line = np.arange(3040)
    setup = changed(BASE, {"transport.line_jitter": "7 um", "acquisition.lines": len(line)})
    off = (places_um(setup) - 75 * line)[20:3020]
    assert off.std() == pytest.approx(7, rel=4 / np.sqrt(6000))
    assert off.mean() == pytest.approx(37.5 + MOVED_UM, abs=4 * 7 / np.sqrt(3000))


ENCODER: dict[str, object] = {"transport.trigger": "encoder", "transport.encoder_step": "75 um"}


def test_an_encoder_errs_once_a_turn() -> None:
    """20 um at 15 mm a turn, 200 lines: amplitude and period from a fit to 400 lines, 0.1 um."""
    turn = {"transport.encoder_turn_error": "20 um", "transport.encoder_turn_length": "15 mm"}
    setup = changed(BASE, {**ENCODER, **turn, "acquisition.lines": 440})
    line = np.arange(20, 420)
    off = places_um(setup)[line] - 75 * line
    spectrum = np.fft.rfft(off - off.mean())
    assert int(np.abs(spectrum).argmax()) == 2
    phase = 2 * np.pi * line / 200
    fit = np.column_stack([np.sin(phase), np.cos(phase), np.ones(400)])
    (sine, cosine, _), *_ = np.linalg.lstsq(fit, off, rcond=None)
    assert [sine, cosine] == pytest.approx([20, 0], abs=0.1)
    assert_allclose(off, fit @ [sine, cosine, off.mean()], atol=0.2)


def test_ripple_moves_lines_with_a_clock_only() -> None:
    """±a v̄/(2πg) = 15.9 um with a clock; with an encoder lines stay, to the reading's 0.1 um."""
    ripple = {"transport.speed_ripple": 0.02, "transport.ripple_frequency": "200 Hz"}
    line = np.arange(20, 180)
    setup = changed(BASE, {**ripple, "acquisition.lines": 200})
    off = places_um(setup)[line] - 75 * line
    wanted = 20_000 / (2 * np.pi * 200) * (1 - np.cos(2 * np.pi * 200 * LINE_S * line))
    assert_allclose(off - off.mean(), wanted - wanted.mean(), atol=0.15)
    off = places_um(changed(setup, ENCODER))[line] - 75 * line
    assert_allclose(off, off.mean(), atol=0.1)
