"""Which rows of a sensor are read, and how joined rows and joined lines see the target."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.budget import budget
from linesim.forward.collect import pattern
from linesim.metrics.edge.figures import edge_response
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.rows import best_run, pixel_shapes
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan
from linesim.targets.edge import edge
from tests.stations import plain_setup

OBJECT_UM = 60.0
BASE = plain_setup(
    "Rows",
    target={"pixel_size": "15 um"},
    light={"illuminance": "100 klx"},
    camera={
        "pixels": 48,
        "pixel_width": "6 um",
        "row_heights": ["6 um", "6 um", "9 um", "9 um"],
        "prnu": 0.02,
        "dsnu": "10 e",
    },
    acquisition={"lines": 64, "exposure": "20 us"},
)
SQUARE = changed(BASE, {"camera.row_heights": ["6 um"] * 4})
DIGITAL = {"acquisition.binning_domain": "digital"}
LINES = {**DIGITAL, "acquisition.binning": "1x2", "acquisition.binning_along": "lines"}


def figures(setup: Setup, *names: str) -> list[float]:
    """Figures of geometry by name."""
    found = budget(setup)
    return [found.number("geometry", name) for name in names]


def test_two_square_and_two_tall_rows_make_eight_pixels() -> None:
    """6 x 6 and 6 x 9 um rows, one or two of either joined: counted by hand."""
    shapes = pixel_shapes(6.0, (6.0, 6.0, 9.0, 9.0))
    square = {(6, 6), (12, 6), (6, 12), (12, 12)}
    tall = {(6, 9), (12, 9), (6, 18), (12, 18)}
    assert set(shapes) == square | tall
    assert len(shapes) == 8


@pytest.mark.parametrize("across", [1, 2])
@pytest.mark.parametrize("along", [1, 2])
@pytest.mark.parametrize("height_um", [6.0, 9.0])
def test_each_of_the_eight_has_its_footprint_and_rate(
    across: int, along: int, height_um: float
) -> None:
    """Side over magnification; the matched rate is v over the footprint along travel."""
    setup = changed(
        BASE,
        {"acquisition.binning": f"{across}x{along}", "acquisition.row_height": f"{height_um} um"},
    )
    x_um, y_um, advance_um, rate_hz, coverage, width = figures(
        setup,
        "object_pixel_x_um",
        "object_pixel_y_um",
        "line_advance_um",
        "line_rate_hz",
        "coverage",
        "image_width_px",
    )
    assert x_um == pytest.approx(across * 60, rel=1e-12)
    assert y_um == pytest.approx(along * height_um * 10, rel=1e-12)
    assert advance_um == pytest.approx(y_um, rel=1e-12)
    assert rate_hz == pytest.approx(1e6 / y_um, rel=1e-12)
    assert coverage == pytest.approx(1, rel=1e-12)
    assert width == 48 // across


@pytest.mark.parametrize(
    ("heights_um", "height_um", "found"),
    [
        ((6.0, 6.0, 9.0, 9.0), 6.0, (0, 2)),
        ((6.0, 6.0, 9.0, 9.0), 9.0, (2, 2)),
        ((9.0, 6.0, 9.0, 9.0, 9.0), 9.0, (2, 3)),  # the longest run, not the first
        ((6.0, 9.0, 6.0), 6.0, (0, 1)),  # of equals the first; no neighbours across a taller row
        ((6.0,), 9.0, (0, 0)),
    ],
)
def test_the_longest_run_of_neighbours_is_read(
    heights_um: tuple[float, ...], height_um: float, found: tuple[int, int]
) -> None:
    """Counted by hand."""
    assert best_run(heights_um, height_um) == found


def test_the_first_height_is_read_where_none_is_asked_for() -> None:
    """And a height written in another unit is the same height."""
    assert (BASE.pixel_height_um, BASE.first_row) == (6.0, 0)
    tall = changed(BASE, {"acquisition.row_height": "0.009 mm"})
    assert (tall.pixel_height_um, tall.first_row) == (9.0, 2)


def test_the_fixed_pattern_is_that_of_the_rows_read() -> None:
    """Rows 2 and 3 of the sensor for 9 um, 0 and 1 for 6 um; one row alone is the first of two."""
    way = {"acquisition.binning": "1x2"}
    whole = pattern(changed(SQUARE, {"acquisition.binning": "1x4"}), 0)
    for height, first in (("6 um", 0), ("9 um", 2)):
        rows = {"acquisition.row_height": height}
        one, two = pattern(changed(BASE, rows), 0), pattern(changed(BASE, {**rows, **way}), 0)
        assert_array_equal(one.response, whole.response[first : first + 1])
        assert_array_equal(two.response, whole.response[first : first + 2])
        assert_array_equal(two.offset_e, whole.offset_e[first : first + 2])


def test_rows_and_lines_differ_in_rate_and_footprint() -> None:
    """
    Two rows of 60 um see 120 um at once; two lines of one row see p + advance between them.

    Lines: the rate given is that of exposed lines, and half as many are delivered. At half the
    matched rate, 8333 Hz of 16667, they lie 120 um apart: 60 + 120 um seen in 240 um of travel.
    """
    names = ("object_pixel_y_um", "line_advance_um", "line_rate_hz", "matched_line_rate_hz")
    rows = changed(SQUARE, {"acquisition.binning": "1x2"})
    assert_allclose(figures(rows, *names), [120, 120, 1e6 / 120, 1e6 / 120], rtol=1e-12)
    lines = changed(SQUARE, LINES)
    assert_allclose(figures(lines, *names), [120, 120, 1e6 / 120, 1e6 / 120], rtol=1e-12)
    half = changed(lines, {"acquisition.line_rate": f"{1e6 / 120} Hz"})
    assert_allclose(figures(half, *names), [180, 240, 1e6 / 240, 1e6 / 120], rtol=1e-12)
    assert figures(half, "coverage") == pytest.approx([180 / 240], rel=1e-12)
    # full exposure: each of two lines has half the time of two rows
    full = {"acquisition.exposure": "full"}
    blur = [
        budget(changed(each, full)).number("exposure", "motion_blur_um") for each in (rows, lines)
    ]
    assert_allclose(blur, [120, 60], rtol=1e-12)


def test_binning_in_either_domain_sees_the_same_electrons() -> None:
    """Rows joined as charge are sampled as one tall pixel, as numbers row by row: 1e-5 apart."""
    target = np.random.default_rng(3).random((700, 220)).astype(np.float32)
    setup = changed(SQUARE, {"acquisition.binning": "2x4", "acquisition.lines": 30})
    charge = scan(setup, reference=target).expected_e
    digital = scan(changed(setup, DIGITAL), reference=target).expected_e
    assert_allclose(digital, charge, rtol=0, atol=1e-5 * charge.max())


def step_seen(way: dict[str, object]) -> FloatArray:
    """Scan a step at 2.4 mm, lines every 12 um: a fifth of a pixel; one column of it."""
    target = np.zeros((400, 220), dtype=np.float32)
    target[160:] = 1.0
    setup = changed(
        SQUARE, {"acquisition.line_rate": f"{1e6 / 12} Hz", "lens.f_number": 0.5, **way}
    )
    setup = changed(setup, {"acquisition.lines": 320 // (2 if way is LINES_DENSE else 1)})
    image = scan(setup, reference=target).expected_e
    return np.asarray(image[:, 20], dtype=np.float64)


LINES_DENSE: dict[str, object] = {**LINES, "acquisition.exposure": "1 us"}
ONE: dict[str, object] = {"acquisition.exposure": "1 us"}
ROWS: dict[str, object] = {"acquisition.binning": "1x2", **ONE}


def step_share(begin_um: FloatArray, looks_um: tuple[float, ...]) -> FloatArray:
    """Share of white in boxes of 60 um that start so far behind the line's own start."""
    ahead_um = np.asarray(begin_um)[:, None] + np.array(looks_um) + OBJECT_UM + 0.5 - 2400
    return np.asarray(np.clip(ahead_um / OBJECT_UM, 0, 1).mean(axis=1))


def test_a_step_shows_the_joined_footprint() -> None:
    """
    Two rows see what one row sees here and a pixel (five lines) on, both at once, to 1e-5.

    Two lines see what one row sees in two successive lines. So the step rises over 60 um for one
    row, over 120 um for two, and over 72 um for two lines 12 um apart. The lens at f/0.5 spreads
    light as λN_w/(π²m x²) beyond λN_w/m = 3 um: at a corner of a slope of 1/60 um that is
    (3/π²) ln(500/3)/60, up to 0.03.
    """
    one, rows, lines = (step_seen(way) for way in (ONE, ROWS, LINES_DENSE))
    white = one.max()
    assert_allclose(rows[:-5], one[:-5] + one[5:], atol=1e-5 * white)
    assert_allclose(lines, one[0::2] + one[1::2], atol=1e-5 * white)
    begin_um: FloatArray = 12.0 * np.arange(320, dtype=np.float64)

    def off(seen: FloatArray, start_um: FloatArray, looks_um: tuple[float, ...]) -> float:
        return float(np.abs(seen / seen.max() - step_share(start_um, looks_um)).max())

    assert off(one, begin_um, (0.0,)) < 0.03
    assert off(rows, begin_um, (0.0, 60.0)) < 0.03
    assert off(lines, begin_um[::2], (0.0, 12.0)) < 0.03


def edge_mtf(setup: Setup, frequency_um: FloatArray) -> FloatArray:
    """MTF of an edge 5° from across, along travel; cycles per um on the target."""
    target = edge(pixel_size_um=15.0, width_mm=6.5, height_mm=12.0, angle_deg=85.0, contrast=4.0)
    (advance_um,) = figures(setup, "line_advance_um")
    wide = changed(
        setup,
        {"camera.pixels": 96, "acquisition.lines": int(12_000 / advance_um), "camera.prnu": 0},
    )
    seen = scan(wide, reference=target).expected_e
    x_um, _ = figures(wide, "object_pixel_x_um", "line_advance_um")
    read = edge_response(seen.astype(np.float64), pixel_pitch=(advance_um, x_um), direction="along")
    return np.interp(frequency_um, np.asarray(read.frequency_per_unit), np.asarray(read.mtf))


def test_blur_of_rows_and_lines_along_travel() -> None:
    """
    MTF of an edge, over that of one row: |cos πdf| for two looks d apart, a comb of two.

    Rows lie a pixel apart (60 um); lines a line advance, 120 um at half the matched rate. The edge
    metric is good to 0.003 in each MTF, and one row keeps 0.6 or more here: 0.01.
    """
    frequency_um = np.linspace(0.5e-3, 4e-3, 8)
    one = edge_mtf(SQUARE, frequency_um)
    assert one.min() > 0.6
    rows = edge_mtf(changed(SQUARE, {"acquisition.binning": "1x2"}), frequency_um)
    assert_allclose(rows / one, np.abs(np.cos(np.pi * 60 * frequency_um)), atol=0.01)
    half = changed(SQUARE, {**LINES, "acquisition.line_rate": f"{1e6 / 120} Hz"})
    lines = edge_mtf(half, frequency_um)
    assert_allclose(lines / one, np.abs(np.cos(np.pi * 120 * frequency_um)), atol=0.01)


@pytest.mark.parametrize("factor", [1, 2, 3, 4])
def test_what_fills_no_whole_group_is_left_out(factor: int) -> None:
    """50 pixels by 1, 2, 3, 4: 50, 25, 16, 12 columns, in image and budget."""
    setup = changed(
        SQUARE, {"camera.pixels": 50, "acquisition.binning": f"{factor}x1", "acquisition.lines": 4}
    )
    found = scan(changed(setup, DIGITAL), reference=np.ones((50, 250)))
    assert found.image.shape == (4, 50 // factor)
    assert found.budget.number("geometry", "image_width_px") == 50 // factor
