"""Faults at random: distances, edges, distributions, and the same ones from the same seed."""

from itertools import combinations
from math import log

import numpy as np
import pytest
from scipy import stats

from linesim.defects.draw import Area, draw_faults, gap_mm
from linesim.defects.kinds import Placed
from linesim.defects.ranges import Each, Range, fixed
from linesim.defects.recipes import FOIL, TILE, Recipe, ratios, steps
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError

AREA = Area(left_mm=-30.0, top_mm=2.0, right_mm=30.0, bottom_mm=120.0)
PINHOLES = Recipe(
    kind="pinhole",
    ranges={"diameter_um": ratios(50, 500), "change": steps(0.5, 2.0)},
    fewest=200,
    most=200,
)


def drawn(seed: int, *recipes: Recipe, **rules: object) -> tuple[Placed, ...]:
    """Draw with a seed."""
    return draw_faults(np.random.default_rng(seed), recipes, AREA, **rules)  # type: ignore[arg-type]


@pytest.mark.parametrize("recipes", [FOIL, TILE], ids=["foil", "tile"])
def test_boxes_keep_their_distance(recipes: tuple[Recipe, ...]) -> None:
    """Of all pairs, halos and soft rims with them."""
    found = drawn(5, *recipes, min_distance_mm=0.8)
    assert len(found) > 4
    boxes = [placed.fault().box_mm for placed in found]
    # boxes are worked out at the origin and moved: rounding of some 100 mm
    assert min(gap_mm(*pair) for pair in combinations(boxes, 2)) >= 0.8 - 1e-9


def test_discs_keep_their_distance() -> None:
    """Rim to rim, by their middles and radii: no nearer than their boxes."""
    found = drawn(2, PINHOLES, min_distance_mm=1.5)
    places = np.array([(each.pose.x_mm, each.pose.y_mm) for each in found])
    radii = np.array([float(str(each.values["diameter_um"])) for each in found]) / 2000
    apart = np.hypot(*(places[:, None] - places).T) - radii - radii[:, None]
    np.fill_diagonal(apart, np.inf)
    assert apart.min() >= 1.5 - 1e-9


def test_inside_means_inside() -> None:
    """No box leaves the area; by the other rule some do, with their middles inside."""
    stains = Recipe(
        kind="stain",
        ranges={
            "width_um": steps(3000, 12_000),
            "height_um": steps(3000, 12_000),
            "change": steps(-0.3, -0.1),
        },
        fewest=60,
        most=60,
    )
    outside = {}
    for rule in ("inside", "cut"):
        found = drawn(4, stains, edge_rule=rule)
        boxes = np.array([placed.fault().box_mm for placed in found])
        low = boxes[:, :2] < (AREA.left_mm - 1e-9, AREA.top_mm - 1e-9)
        high = boxes[:, 2:] > (AREA.right_mm + 1e-9, AREA.bottom_mm + 1e-9)
        outside[rule] = int((low | high).any(axis=1).sum())
        assert all(abs(each.pose.x_mm) <= 30 and 2 <= each.pose.y_mm <= 120 for each in found)
    assert outside["inside"] == 0
    assert outside["cut"] > 5


def numbers(found: tuple[Placed, ...], name: str) -> FloatArray:
    """Take one value out of each."""
    return np.array([each.values[name] for each in found], dtype=np.float64)


def test_values_follow_their_distributions() -> None:
    """Kolmogorov and Smirnov against scipy's uniform and log-uniform; p above 1e-3 at one seed."""
    found = drawn(11, PINHOLES)
    assert stats.kstest(numbers(found, "diameter_um"), stats.loguniform(50, 500).cdf).pvalue > 1e-3
    assert stats.kstest(numbers(found, "change"), stats.uniform(0.5, 1.5).cdf).pvalue > 1e-3
    x = [each.pose.x_mm for each in found]
    assert stats.kstest(x, stats.uniform(-30, 60).cdf).pvalue > 1e-3
    turns = [each.pose.turn_deg for each in found]
    assert stats.kstest(turns, stats.uniform(0, 360).cdf).pvalue > 1e-3


def test_below_zero_even_ratios_are_even() -> None:
    """The logarithm of the size is uniform between the ends."""
    random = np.random.default_rng(3)
    drawn_values = [-ratios(-0.8, -0.1).drawn(random) for _ in range(2000)]
    logs = np.log(drawn_values)
    assert stats.kstest(logs, stats.uniform(log(0.1), log(8)).cdf).pvalue > 1e-3


def test_counts_are_even_between_their_ends() -> None:
    """0, 1, 2 or 3 of 800 draws each: chi-square."""
    few = Recipe(kind="pinhole", ranges=PINHOLES.ranges, fewest=0, most=3)
    counts = np.bincount([len(drawn(seed, few)) for seed in range(800)], minlength=4)
    assert len(counts) == 4
    assert stats.chisquare(counts).pvalue > 1e-3


def test_the_same_seed_draws_the_same_faults() -> None:
    """Equal, value for value; another seed draws others. Forms are drawn too."""
    one, two, other = (drawn(seed, *FOIL, min_distance_mm=0.2) for seed in (8, 8, 9))
    assert one == two
    assert one != other
    forms = [each.values["form"] for each in one if "form" in each.values]
    assert len(set(forms)) == len(forms) > 1


def test_no_room_is_told() -> None:
    """Too many for the area and the distance, or one that is larger than the area."""
    with pytest.raises(InputError, match="found no room for it in 400 tries beside"):
        drawn(0, PINHOLES, min_distance_mm=9.0)
    long = Recipe(
        kind="streak",
        ranges={"length_um": fixed(2e5), "width_um": fixed(500.0), "change": fixed(0.1)},
        fewest=1,
        most=1,
        turn=steps(0, 0),
    )
    with pytest.raises(InputError, match=r"streak: read a size of .* expected up to the area's"):
        drawn(0, long)
    assert len(drawn(0, long, edge_rule="cut")) == 1


def test_colours_are_drawn_apart() -> None:
    """A range for each channel; a fixed one gives itself."""
    random = np.random.default_rng(1)
    one = Each(ranges=(steps(0, 1), steps(0, 1), steps(5, 5))).drawn(random)
    assert one[0] != one[1]
    assert one[2] == 5
    assert fixed(0.1, 0.2, 0.3).drawn(random) == (0.1, 0.2, 0.3)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Range(low=2.0, high=1.0),
        lambda: Range(low=-1.0, high=1.0, even_ratios=True),
        lambda: Range(low=0.0, high=float("inf")),
        lambda: Area(left_mm=1.0, top_mm=0.0, right_mm=1.0, bottom_mm=2.0),
        lambda: Recipe(kind="pinhole", ranges=PINHOLES.ranges, fewest=3, most=2),
        lambda: Recipe(kind="pinhole", ranges={"diameter_um": fixed(3.0)}),
    ],
)
def test_what_cannot_be_drawn_from_is_refused(make: object) -> None:
    """In a sentence that says what was read and what is expected."""
    assert callable(make)
    with pytest.raises(InputError, match=r"read .*expected"):
        make()
