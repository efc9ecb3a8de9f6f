"""
Time-delay integration: N stages see the target one line after the other and add their charge.

Out of step by ε of a pixel's height a line they make a comb, |sin(πNεf)/(N sin(πεf))| with f in
cycles a pixel (derived; *Applied Optics* 1993 on the MTF of a TDI imager has the same as a ratio of
two sinc, from an excerpt). A swing of frequency g is averaged over their times by the same comb,
with gT in place of εf, T being the line period.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.budget import budget
from linesim.forward.station import station
from linesim.metrics.edge.figures import edge_response
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from linesim.targets.edge import edge
from tests.stations import plain_setup

BASE = plain_setup(
    "Stages",
    target={"pixel_size": "18.75 um"},
    light={"illuminance": "100 klx"},
    camera={"pixels": 96},
    acquisition={"lines": 160, "exposure": "20 us"},
)


def comb(count: int, cycles: float) -> float:
    """Transfer of N equal looks, from their sum."""
    return float(np.abs(np.exp(2j * np.pi * cycles * np.arange(count)).mean()))


def stages(count: int, **faults: object) -> Setup:
    """Give a station of so many stages."""
    return changed(BASE, {"camera.tdi_stages": count} | faults)


@pytest.mark.parametrize("count", [2, 16, 96])
def test_in_step_stages_multiply_the_signal_and_nothing_else(count: int) -> None:
    """N times the electrons of one stage, pixel by pixel; float32 rounds to 6e-8 a product."""
    target = np.random.default_rng(1).random((760, 420)).astype(np.float32)
    one, many = (scan(stages(n), reference=target).expected_e for n in (1, count))
    assert_allclose(many, count * one.astype(np.float64), rtol=2e-6)
    white = [float(budget(stages(n))["signal"]["electrons_white"]) for n in (1, count)]
    assert white[1] == pytest.approx(count * white[0], rel=1e-12)


def edge_mtf(setup: Setup, angle_deg: float, frequency_px: FloatArray) -> FloatArray:
    """MTF of a slanted edge, at cycles a pixel of 75 um."""
    target = edge(
        pixel_size_um=18.75, width_mm=8.0, height_mm=12.0, angle_deg=angle_deg, contrast=4.0
    )
    seen = scan(setup, reference=target).expected_e.astype(np.float64)
    read = edge_response(
        seen,
        pixel_pitch=(float(station(setup).timing.line_advance_um), 75.0),
        direction="along" if angle_deg > 45 else "across",
    )
    return np.interp(frequency_px / 75, np.asarray(read.frequency_per_unit), np.asarray(read.mtf))


@pytest.mark.parametrize(
    ("count", "step", "at_nyquist"),
    [(16, 0.01, 0.989546), (64, 0.01, 0.839903), (64, 0.02, 0.450098), (96, 0.005, 0.907918)],
)
def test_out_of_step_stages_blur_along_travel(count: int, step: float, at_nyquist: float) -> None:
    """
    MTF of an edge, over that of one stage at the same line rate; and the budget's own figure.

    The values at half a cycle a pixel are the formula's, run by hand beforehand. The edge metric
    is good to 0.003 in each MTF, of which 0.48 is the least: 0.01.
    """
    rate = {"transport.assumed_speed": f"{60 / (1 + step)} m/min"}
    one, many = stages(1, **rate), stages(count, **rate)
    frequency_px = np.array([0.1, 0.2, 0.3, 0.4, 0.5])
    wanted = [comb(count, step * f) for f in frequency_px]
    assert wanted[-1] == pytest.approx(at_nyquist, abs=1e-6)
    ratio = edge_mtf(many, 85.0, frequency_px) / edge_mtf(one, 85.0, frequency_px)
    assert_allclose(ratio, wanted, rtol=0, atol=0.01)
    told = [budget(each).number("resolution", "mtf_nyquist_y") for each in (one, many)]
    # at Nyquist of the lines, half a cycle a line advance of 1 + ε pixels
    assert told[1] / told[0] == pytest.approx(comb(count, step / (1 + step) / 2), rel=1e-9)


def test_skewed_stages_blur_across() -> None:
    """Each stage looks tan θ of a pixel further across: at 1° and 64 stages 1.12 pixels in all."""
    skew = {"transport.skew": "1 deg"}
    frequency_px = np.array([0.1, 0.2, 0.3, 0.4])
    one, many = (edge_mtf(stages(n, **skew), 5.0, frequency_px) for n in (1, 64))
    wanted = [comb(64, np.tan(np.radians(1)) * f) for f in frequency_px]
    assert wanted[-1] < 0.75
    assert_allclose(many / one, wanted, rtol=0, atol=0.01)


def places_um(setup: Setup) -> FloatArray:
    """Where each line looks: read from an even ramp along travel."""
    rows = 1600
    ramp = np.tile((np.arange(rows, dtype=np.float64)[:, None] + 0.5) / rows, (1, 20))
    narrow = changed(setup, {"camera.pixels": 4, "acquisition.exposure": "1 us"})
    seen = scan(narrow, reference=ramp).expected_e.mean(axis=1, dtype=np.float64)
    return np.asarray(seen / float(station(narrow).electrons_white) * rows * 18.75)


RIPPLE: dict[str, object] = {
    "transport.speed_ripple": 0.02,
    "transport.ripple_frequency": "166.66666666666667 Hz",  # 80 lines a turn, two turns
}


def test_stages_average_a_ripple() -> None:
    """
    A clock's lines swing by a v̄/(2πg) = 19.1 um; 32 stages take the mean over 32 line periods.

    The comb at gT = 1/80 leaves 0.757 of it. The ramp reads a place to 0.1 um.
    """
    line = np.arange(20, 140)
    for count in (1, 32):
        swing = places_um(stages(count, **RIPPLE))[line] - 75 * line
        turn = 2 * np.pi * (line + (count - 1) / 2) / 80
        fit = np.column_stack([np.cos(turn), np.sin(turn), np.ones(len(line))])
        (cosine, sine, _), *_ = np.linalg.lstsq(fit, swing, rcond=None)
        wanted_um = 0.02 * 1e6 / (2 * np.pi * 1e6 / 75 / 80) * comb(count, 1 / 80)
        # 0.06 um: the half microsecond from start to middle of an exposure, 2 % of 0.5 um and turn
        assert [cosine, sine] == pytest.approx([-wanted_um, 0], abs=0.1)


def test_an_encoder_keeps_charge_and_target_together() -> None:
    """The stages shift with the travel: a ripple moves no line, to the reading's 0.1 um."""
    encoder = {"transport.trigger": "encoder", "transport.encoder_step": "75 um"}
    line = np.arange(20, 140)
    place = places_um(stages(32, **RIPPLE, **encoder))[line]
    assert_allclose(place - 75 * line, place[0] - 75 * line[0], rtol=0, atol=0.1)


def test_stages_average_flicker_and_wander() -> None:
    """
    A swing of gT = 1/80 keeps 0.757 of its depth over 32 stages.

    Wander is read from a ramp across, off by a sixteenth of a reference pixel a line.
    """
    line = np.arange(160)
    turn = 2 * np.pi * line / 80
    fit = np.column_stack([np.cos(turn), np.sin(turn), np.ones(160)])
    rate = "166.66666666666667 Hz"
    light = {"light.flicker": 0.2, "light.flicker_frequency": rate}
    seen = scan(stages(32, **light), reference=np.ones((9, 9))).expected_e.mean(
        axis=1, dtype=np.float64
    )
    (cosine, sine, mean), *_ = np.linalg.lstsq(fit, seen, rcond=None)
    left = 0.2 * np.sinc(166.66666666666667 * 20e-6) * comb(32, 1 / 80)
    assert np.hypot(cosine, sine) / mean == pytest.approx(left, rel=1e-5)

    wander = {"transport.lateral_wander": "150 um", "transport.lateral_wander_frequency": rate}
    columns = 420
    ramp = np.tile((np.arange(columns) + 0.5) / columns, (9, 1))
    setup = stages(32, **wander)
    seen = scan(setup, reference=ramp).expected_e[:, 48].astype(np.float64)
    place_um = seen / float(station(setup).electrons_white) * columns * 18.75
    (cosine, sine, _), *_ = np.linalg.lstsq(fit, place_um, rcond=None)
    assert np.hypot(cosine, sine) == pytest.approx(150 * comb(32, 1 / 80), abs=18.75 / 16)
