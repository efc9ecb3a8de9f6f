"""Where lines start and how far they move: clock, encoder, ripple, jitter."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.integrate import quad
from scipy.stats import kstest

from linesim.figures.budget import budget
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.forward.transport import LineTable, Motion, line_table, motion
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

BASE = plain_setup("Transport", target={"pixel_size": "25 um", "width": "20 mm", "height": "20 mm"})
RIPPLE = {"transport.speed_ripple": 0.2, "transport.ripple_frequency": "100 Hz"}
ENCODER = {"transport.trigger": "encoder", "transport.encoder_step": "20 um"}


def table(setup: Setup, lines: int = 256, seed: int = 0) -> LineTable:
    """Place lines from 0 on."""
    return line_table(setup, station(setup), seed, np.arange(float(lines)))


def figure(setup: Setup, group: str, name: str) -> float:
    """One figure of the budget."""
    return float(budget(setup)[group][name])


@pytest.mark.parametrize("ripple", [0.0, 1e-6, 0.02, 0.5, 0.9])
@pytest.mark.parametrize("frequency_hz", [0.3, 10.0, 5000.0])
def test_time_is_the_inverse_of_place(ripple: float, frequency_hz: float) -> None:
    """There and back for places up to 10 m: 1e-8 µm, five times float64's step there."""
    moved = Motion(speed_um_s=1e6, ripple=ripple, ripple_frequency_hz=frequency_hz)
    place = np.random.default_rng(3).uniform(0, 1e7, 500)
    time = moved.time_s(place)
    assert_allclose(moved.place_um(time), place, rtol=0, atol=1e-8)
    assert_allclose(moved.time_s(moved.place_um(time)), time, rtol=0, atol=1e-13)
    assert moved.time_s(np.zeros(1))[0] == pytest.approx(0, abs=1e-12)


def test_place_is_the_integral_of_speed() -> None:
    """y(t) = ∫ v̄(1 + a sin 2πgt) dt by quadrature (scipy), and v as the slope of y."""
    moved = motion(changed(BASE, RIPPLE))
    for time in (0.0007, 0.0123, 0.05):
        told, _ = quad(
            lambda t: 1e6 * (1 + 0.2 * np.sin(2 * np.pi * 100 * t)), 0, time, epsabs=1e-7, limit=200
        )
        assert moved.place_um(np.array(time)) == pytest.approx(told, rel=1e-10)
        assert moved.speed_at(np.array(time)) == pytest.approx(
            1e6 * (1 + 0.2 * np.sin(2 * np.pi * 100 * time)), rel=1e-12
        )


def test_a_steady_clock() -> None:
    """Line i starts at i·v/f and moves v·t, whatever the range it is asked in."""
    setup = changed(BASE, {"acquisition.line_rate": "9 kHz", "acquisition.exposure": "50 us"})
    lines = table(setup)
    assert_allclose(lines.start_um, np.arange(256) * 1e6 / 9000, rtol=1e-12)
    assert_allclose(lines.travel_um, 50.0, rtol=1e-9)
    later = line_table(setup, station(setup), 0, np.arange(128.0, 192.0))
    assert_array_equal(later.start_um, lines.start_um[128:192])


def test_clock_ripple_moves_lines_and_leaves_the_exposure() -> None:
    """Start y(i/f) of the rippled motion; the exposure time is the same for every line."""
    setup = changed(BASE, {**RIPPLE, "acquisition.exposure": "50 us"})
    time = np.arange(256, dtype=np.float64) * 75e-6
    angular = 2 * np.pi * 100

    def place(t: FloatArray) -> FloatArray:
        return np.asarray(1e6 * (t + 0.2 * (1 - np.cos(angular * t)) / angular))

    lines = table(setup)
    assert_allclose(lines.start_um, place(time), rtol=1e-12)
    assert_allclose(lines.travel_um, place(time + 50e-6) - place(time), rtol=1e-8)
    assert lines.travel_um.max() / lines.travel_um.min() == pytest.approx(1.2 / 0.8, rel=1e-3)
    assert figure(setup, "exposure", "exposure_us") == 50
    assert figure(setup, "geometry", "line_rate_hz") == pytest.approx(1e6 / 75, rel=1e-12)


def test_a_wrong_clock_stretches() -> None:
    """The clock believes 66 m/min, the web runs at 60: lines advance by 75·60/66 µm."""
    setup = changed(BASE, {"transport.assumed_speed": "66 m/min"})
    assert figure(setup, "geometry", "line_rate_hz") == pytest.approx(1.1e6 / 75, rel=1e-12)
    assert figure(setup, "geometry", "line_advance_um") == pytest.approx(75 / 1.1, rel=1e-12)
    assert figure(setup, "geometry", "pixel_aspect") == pytest.approx(1 / 1.1, rel=1e-12)


@pytest.mark.parametrize(
    ("step_um", "divider", "multiplier", "advance_um"),
    [
        # common practice, no source: 20 um a count, 73.3 um wanted
        (20.0, 4, 1, 80.0),
        (20.0, 11, 3, 73.333333),
        (20.0, 4, 4, 20.0),
        (2.5, 30, 1, 75.0),
    ],
)
def test_encoder_line_advance(
    step_um: float, divider: int, multiplier: int, advance_um: float
) -> None:
    """Advance = step · divider / multiplier, line rate = v / advance."""
    setup = changed(
        BASE,
        {
            "transport.trigger": "encoder",
            "transport.encoder_step": f"{step_um} um",
            "transport.encoder_divider": divider,
            "transport.encoder_multiplier": multiplier,
        },
    )
    assert figure(setup, "geometry", "line_advance_um") == pytest.approx(advance_um, rel=1e-8)
    assert figure(setup, "geometry", "line_rate_hz") == pytest.approx(1e6 / advance_um, rel=1e-8)
    assert_allclose(table(setup).start_um, np.arange(256) * step_um * divider / multiplier)


@pytest.mark.parametrize(
    ("rate", "multiplier", "advance_um"),
    [("matched", 1, 120), ("square", 1, 80), ("square", 3, 73.333333)],
)
def test_encoder_takes_the_nearest_divider(rate: str, multiplier: int, advance_um: float) -> None:
    """20 µm a count; wanted 117.3 µm (the height, 6 counts) or 73.3 µm (the width, 4 or 11/3)."""
    setup = changed(
        BASE,
        {
            **ENCODER,
            "transport.encoder_multiplier": multiplier,
            "camera.pixel_width": "7.33 um",
            "camera.pixel_height": "11.73 um",
            "acquisition.line_rate": rate,
        },
    )
    assert figure(setup, "geometry", "line_advance_um") == pytest.approx(advance_um, rel=1e-8)


def test_encoder_ripple_leaves_the_geometry_and_moves_the_period() -> None:
    """
    Lines at equal travel; full exposure fits the period at the peak speed, 1.2 times the mean.

    Travel while exposed follows the speed at each line: v(t_i)·t to second order in t,
    a·2πg·t/2 = 0.4 % here.
    """
    setup = changed(BASE, {**RIPPLE, **ENCODER, "transport.encoder_divider": 4})
    lines = table(setup)
    assert_array_equal(lines.start_um, np.arange(256) * 80.0)
    exposure_us = figure(setup, "exposure", "exposure_us")
    assert exposure_us == pytest.approx(80 / 1.2, rel=1e-12)
    moved = motion(setup)
    speed = moved.speed_at(moved.time_s(lines.start_um))
    assert_allclose(lines.travel_um, speed * exposure_us * 1e-6, rtol=0.01)
    assert lines.travel_um.max() == pytest.approx(80, rel=1e-3)
    period = np.diff(moved.time_s(lines.start_um))
    assert period.min() * 1e6 == pytest.approx(80 / 1.2, rel=1e-3)
    assert period.max() * 1e6 == pytest.approx(80 / 0.8, rel=1e-3)


def test_no_time_left_to_expose_is_refused() -> None:
    """A dead time as long as the line period: told with both numbers."""
    setup = changed(BASE, {"camera.dead_time": "75 us"})
    with pytest.raises(InputError, match=r"camera\.dead_time: read 75 us"):
        station(setup)


def test_jitter_is_normal_and_independent() -> None:
    """
    4 µm rms: 12800 draws are normal (Kolmogorov-Smirnov), their neighbours uncorrelated.

    Standard deviation known to 1/√(2n), correlation to 1/√n; four of each.
    """
    setup = changed(BASE, {"transport.line_jitter": "4 um"})
    shift = table(setup, 12_800, seed=5).start_um - table(BASE, 12_800).start_um
    count = shift.size
    assert shift.std() == pytest.approx(4, rel=4 / np.sqrt(2 * count))
    assert shift.mean() == pytest.approx(0, abs=4 * 4 / np.sqrt(count))
    assert kstest(shift / 4, "norm").pvalue > 1e-3
    assert abs(np.corrcoef(shift[1:], shift[:-1])[0, 1]) < 4 / np.sqrt(count)
    assert_array_equal(table(setup).travel_um, table(BASE).travel_um)


def test_jitter_follows_seed_and_line_only() -> None:
    """Any range of strips gives the same lines, another seed others."""
    setup = changed(BASE, {"transport.line_jitter": "4 um"})
    whole = table(setup, 320, seed=2)
    part = line_table(setup, station(setup), 2, np.arange(128.0, 250.0))
    assert_array_equal(part.start_um, whole.start_um[128:250])
    assert np.all(table(setup, 320, seed=3).start_um != whole.start_um)


def ramp_places(setup: Setup, lines: int) -> FloatArray:
    """
    Read where each line looks from a target whose reflectance rises evenly along travel.

    A symmetric footprint sees the ramp's value at its own centre, whatever lens and pixel.
    """
    rows = 1200
    target = np.repeat(((np.arange(rows) + 0.5) / rows).astype(np.float32)[:, None], 20, axis=1)
    reference = ArrayReference(data=target, pixel_size_um=25.0)
    expected = render(setup, reference, lines, 0).expected_e
    share = expected.mean(axis=1, dtype=np.float64) / float(station(setup).electrons_white)
    return np.asarray(share * rows * 25.0)


@pytest.mark.parametrize("trigger", ["clock", "encoder"])
@pytest.mark.parametrize("exposure", ["0.1 us", "full"])
def test_lines_lie_where_the_motion_puts_them(trigger: str, exposure: str) -> None:
    """
    Centre of every line, read from a ramp, within 1e-3 px of the closed form.

    It is half a pixel's height plus the mean place during the exposure, (1/t)∫y dt. The model takes
    the travel as even, which is a·2πg·t²·v/12 off at most: 0.0008 px at 75 µs.
    """
    setup = changed(
        BASE,
        {
            **RIPPLE,
            **({**ENCODER, "transport.encoder_divider": 4} if trigger == "encoder" else {}),
            "acquisition.exposure": exposure,
        },
    )
    lines = 300
    found = ramp_places(setup, lines)
    moved, numbers = motion(setup), station(setup)
    index = np.arange(lines, dtype=np.float64)
    advance = float(numbers.timing.line_advance_um)
    begin = moved.time_s(index * advance) if trigger == "encoder" else index * advance / 1e6
    node, weight = np.polynomial.legendre.leggauss(12)
    inside = begin[:, None] + float(numbers.timing.exposure_us) * 1e-6 * (node + 1) / 2
    wanted = 75 / 2 + moved.place_um(inside) @ weight / 2
    # the first lines reach over the ramp's beginning, where the border value goes on
    assert np.abs(found - wanted)[15:].max() / 75 < 1e-3
    if trigger == "clock":  # teeth: without ripple the lines lie elsewhere, by up to 2·318 µm
        assert np.abs(wanted - wanted[0] - index * advance).max() > 600


def test_edges_wander_with_the_clock() -> None:
    """
    An edge at 45° crosses each line where the line lies: read as the width of its bright part.

    The bright part's width in a line is the sum of its samples; it shrinks by the line's place
    along travel. Within 1e-3 px of the closed form, for lines whose edge is well inside.
    """
    setup = changed(BASE, {**RIPPLE, "acquisition.exposure": "10 us"})
    rows, columns = 800, 1000
    # x + y < c in the target's pixels: covered share of each pixel, exact for an edge at 45°
    total = np.add.outer(np.arange(rows), np.arange(columns)) - 900.0
    depth = np.clip(-total, 0, 2)
    share = np.where(depth <= 1, depth**2 / 2, 1 - (2 - depth) ** 2 / 2)
    reference = ArrayReference(data=share.astype(np.float32), pixel_size_um=25.0)
    expected = render(setup, reference, 200, 0).expected_e / float(station(setup).electrons_white)
    # the line's left end lies half the difference of both widths inside the target
    left_um = (columns * 25 - 256 * 75) / 2
    found = left_um + expected.sum(axis=1, dtype=np.float64) * 75
    lines = table(setup, 200)
    wanted = 900 * 25 - (lines.start_um + lines.travel_um / 2 + 75 / 2)
    use = (wanted > left_um + 1500) & (wanted < left_um + 256 * 75 - 1500)
    assert use.sum() > 100
    assert np.abs(found - wanted)[use].max() / 75 < 1e-3
