"""Counts of an encoder that get lost: how many, where, and what that does to lines and figures."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import chisquare, geom

from linesim.figures.budget import budget
from linesim.forward.encoder.lost import place_of
from linesim.forward.station import station
from linesim.forward.transport import line_table
from linesim.setup.load import changed
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

SHARE = 0.01
BASE = plain_setup(
    "Counts",
    target={"pixel_size": "25 um"},
    transport={"trigger": "encoder", "encoder_step": "5 um", "encoder_divider": 15},
    camera={"pixels": 8},
)
LOSSY = changed(BASE, {"transport.encoder_missed_counts": SHARE})


def test_counts_get_lost_as_by_chance() -> None:
    """
    Of n = 400 counts, near and far, in 250 seeds: derived, a negative binomial.

    Mean n s/(1−s), variance n s/(1−s)², excess kurtosis 6/n + (1−s)²/(n s) = 0.26. The mean is
    known to σ/√N, the variance to √(2.26/N) of it; 5 of each.
    """
    seeds, n = 250, 400
    for start in (0, 10_000_000):
        far = np.array([start, start + n])
        lost = np.array([np.diff(place_of(seed, SHARE, far))[0] - n for seed in range(seeds)])
        variance = n * SHARE / (1 - SHARE) ** 2
        assert lost.mean() == pytest.approx(
            n * SHARE / (1 - SHARE), abs=5 * np.sqrt(variance / seeds)
        )
        assert lost.var() == pytest.approx(variance, rel=5 * np.sqrt(2.26 / seeds))


def test_a_long_travel_loses_as_much_as_short_ones() -> None:
    """Two million counts of one run: the same mean and variance in the sum, within 5 σ."""
    n = 2_000_000
    lost = np.array([place_of(seed, SHARE, np.array([n]))[0] - n for seed in range(400)])
    variance = n * SHARE / (1 - SHARE) ** 2
    assert lost.mean() == pytest.approx(n * SHARE / (1 - SHARE), abs=5 * np.sqrt(variance / 400))
    assert lost.var() == pytest.approx(variance, rel=5 * np.sqrt(2 / 400))


def test_gaps_between_counts_are_geometric() -> None:
    """Each count is lost by itself: 0, 1, 2, 3 and more in a row, a χ² test at 1e-4 of 50,000."""
    gaps = np.diff(place_of(3, 0.2, np.arange(50_001)))
    seen = np.bincount(np.minimum(gaps, 4))[1:]
    told = geom(0.8).pmf([1, 2, 3, 4]) * len(gaps)
    told[-1] = len(gaps) - told[:-1].sum()
    assert chisquare(seen, told).pvalue > 1e-4
    assert abs(np.corrcoef(gaps[1:], gaps[:-1])[0, 1]) < 4 / np.sqrt(len(gaps))


def test_any_line_is_known_alone() -> None:
    """A count has one place, asked alone, in any order, before the start, or in another block."""
    some = np.array([5, -7, 1_000_000, 0, 700_000_000, -600_000_000])
    together = place_of(9, SHARE, some)
    alone = [place_of(9, SHARE, np.array([each]))[0] for each in some]
    assert_array_equal(together, alone)
    assert together[3] == 0
    run = place_of(9, SHARE, np.arange(-3000, 3000))
    assert np.all(np.diff(run) >= 1)
    assert_array_equal(run[3005], together[0])
    assert np.any(place_of(10, SHARE, some) != together)


def test_lines_lie_further_by_every_lost_count() -> None:
    """Lines start at multiples of 5 um, by 75 um and a step of 5 um for every count lost."""
    lines = np.arange(4000, dtype=np.float64)
    start = line_table(LOSSY, station(LOSSY), 1, lines).start_um
    apart = np.diff(start) - 75
    assert_allclose(apart / 5, np.rint(apart / 5), atol=1e-6)
    assert apart.min() == pytest.approx(0, abs=1e-6)
    # 4000 lines of 15 counts: mean of their gaps to σ/√n, five of them
    lost = SHARE / (1 - SHARE)
    error = 5 * np.sqrt(15 * SHARE / 4000) / (1 - SHARE)
    assert apart.mean() / 5 == pytest.approx(15 * lost, abs=error)
    part = line_table(LOSSY, station(LOSSY), 1, lines[3000:3064]).start_um
    assert_array_equal(part, start[3000:3064])


def test_figures_of_the_mean() -> None:
    """Advance 75/(1 − s), the rate as much lower, and full exposure what 75 um leave."""
    figures, plain = budget(LOSSY), budget(BASE)
    assert figures.groups["geometry"]["line_advance_um"] == pytest.approx(75 / 0.99, rel=1e-12)
    assert figures.groups["geometry"]["line_rate_hz"] == pytest.approx(0.99e6 / 75, rel=1e-12)
    assert figures.groups["exposure"]["exposure_us"] == pytest.approx(
        float(plain.groups["exposure"]["exposure_us"]), rel=1e-12
    )
    told = {each.code: each.text for each in figures.cautions}
    assert (
        "edges get steps of 5 um (0.067 object pixels), about 2000 a metre"
        in told["encoder_missed"]
    )
    assert "encoder_missed" not in {each.code for each in plain.cautions}
    assert "encoder_fraction" not in told


def test_a_picture_gets_shorter() -> None:
    """A step at 30 mm comes by line 400 − lost/15: as the table of lines tells, to 0.1 lines."""
    setup = changed(LOSSY, {"transport.encoder_missed_counts": 0.05, "acquisition.lines": 420})
    rows = np.arange(2000) * 25.0
    target = np.where(rows < 30_000, 0.2, 0.8)[:, None] * np.ones((1, 40))
    seen = scan(setup, seed=4, reference=target).expected_e.mean(axis=1, dtype=np.float64)
    met = np.interp((seen[0] + seen[-1]) / 2, seen[360:], np.arange(360, 420))
    table = line_table(setup, station(setup), 4, np.arange(420.0))
    middle_um = table.start_um + table.travel_um / 2 + 37.5
    assert met == pytest.approx(np.interp(30_000, middle_um, np.arange(420)), abs=0.1)
    assert met < 390
