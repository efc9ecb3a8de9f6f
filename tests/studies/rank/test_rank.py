"""A ranking is what judging every option by itself gives: who passes, in which order, who leads."""

import os
from dataclasses import replace
from math import prod
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from numpy.testing import assert_array_equal

from linesim.figures.budget import Budget, budget
from linesim.figures.case import values
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.rank.option_table import KEPT
from linesim.studies.rank.space import Space, space_from
from linesim.studies.rank.study import Ranking, rank
from linesim.studies.scan.study import scan
from tests.studies.rank.spaces import SPACE, small_space

NIGHTLY = "LINESIM_NIGHTLY" in os.environ
LIMITS = {
    "most_irradiance": "150 W/m^2",
    "least_field_of_view": "4.5 mm",
    "least_depth_of_field": "3 mm",
    "most_saturation": 0.8,
}


@pytest.fixture(scope="module")
def space(tmp_path_factory: pytest.TempPathFactory) -> Space:
    """Give 48 options, of which each demand fails some."""
    return small_space(tmp_path_factory.mktemp("space"), {**SPACE, "limits": LIMITS})


@pytest.fixture(scope="module")
def found(space: Space) -> Ranking:
    """Rank them."""
    return rank(space)


@pytest.fixture(scope="module")
def alone(space: Space) -> list[tuple[Setup, Budget]]:
    """Give every option by itself, through the door and the budget."""
    setups = [space.setup(index) for index in range(space.count)]
    return [(setup, budget(setup)) for setup in setups]


def first_missed(setup: Setup, figures: Budget) -> str:
    """Judge one option by the words of the demands; nothing where it passes."""
    number = figures.number
    state = {verdict.requirement: verdict.state for verdict in figures.verdicts}
    demands = {
        "line_rate": state["line_rate"] == "met",
        "link": state["link"] == "met",
        "exposure": state["exposure"] == "met",
        "most_irradiance": number("signal", "irradiance_target_w_m2") <= 150,
        "least_field_of_view": number("geometry", "field_of_view_mm") >= 4.5,
        "least_depth_of_field": number("geometry", "depth_of_field_mm") >= 3,
        "saturation": number("signal", "saturation_white") <= 0.8,
        "clipping": state["clipping"] == "met",
        "snr": state["snr"] == "met",
        "smallest_defect": state["smallest_defect"] == "met",
    }
    assert setup.camera.max_line_rate_hz is not None
    return next((name for name, fine in demands.items() if not fine), "")


def test_first_missed_demand_of_every_option(
    found: Ranking, alone: list[tuple[Setup, Budget]]
) -> None:
    """Who passes, and which demand each other option misses first, as one by one."""
    each = [first_missed(*pair) for pair in alone]
    assert sorted(found.order.tolist()) == [k for k, name in enumerate(each) if not name]
    counted = {name: each.count(name) for name in dict.fromkeys(each) if name}
    assert counted == found.misses
    assert set(counted) >= {"most_irradiance", "saturation", "snr", "smallest_defect"}


def test_order_and_front(found: Ranking, alone: list[tuple[Setup, Budget]]) -> None:
    """Least light, then most web a second, then the finest; the front by its definition."""
    passing = [k for k, pair in enumerate(alone) if not first_missed(*pair)]

    def key(index: int) -> tuple[float, float, float, int]:
        setup, figures = alone[index]
        area = setup.transport.speed_mm_s * figures.number("geometry", "field_of_view_mm")
        light = figures.number("signal", "irradiance_target_w_m2")
        # what agrees in nine digits, a size in four, counts as equal
        return (
            float(f"{light:.9g}"),
            -float(f"{area:.9g}"),
            float(f"{figures.number('detection', 'smallest_detectable_um'):.4g}"),
            index,
        )

    ranked = sorted(passing, key=key)
    assert found.order.tolist() == ranked
    points = np.array([(key(k)[0], -alone[k][0].transport.speed_mm_s, key(k)[2]) for k in ranked])
    lead = [
        index
        for place, index in enumerate(ranked)
        if not any(
            (other <= points[place]).all() and (other < points[place]).any() for other in points
        )
        and not any((other == points[place]).all() for other in points[:place])
    ]
    assert found.front.tolist() == lead


def test_margins_say_by_how_much(found: Ranking, alone: list[tuple[Setup, Budget]]) -> None:
    """The margin of a missed requirement is its verdict's; of a limit, allowed over got less 1."""
    for index, (setup, figures) in enumerate(alone):
        name, margin = first_missed(setup, figures), float(found.margin[index])
        if name in ("snr", "smallest_defect"):
            told = next(v.margin for v in figures.verdicts if v.requirement == name)
            # a size comes off a table, right to 1e-4 of it; margins here are under 1
            assert margin == pytest.approx(told, abs=1e-4)
        if name == "saturation":
            got = figures.number("signal", "saturation_white")
            assert margin == pytest.approx(0.8 / got - 1, abs=1e-9)
        if not name:
            assert margin == 0


def test_rows_are_the_best_and_checked(found: Ranking, space: Space) -> None:
    """Rows carry setup and budget of the options that they name; their verdicts are all met."""
    assert [row.index for row in found.rows] == found.order[:10].tolist()
    assert not any(row.alternatives for row in found.rows)
    for row in (*found.rows, *found.front_rows):
        assert row.setup == space.setup(row.index)
        assert all(verdict.met for verdict in row.budget.verdicts)
        assert row.figures["snr_white"] == pytest.approx(row.budget.number("signal", "snr_white"))


def test_the_winner_keeps_its_word(found: Ranking) -> None:
    """A scan of the best option on even white shows the SNR and the level that it promised."""
    best = found.rows[0]
    lines, pixels = 1000, 64
    seen = scan(changed(best.setup, {"acquisition.lines": lines}), seed=3).measured
    width = pixels // best.setup.acquisition.binning.across
    # noise from width x (lines - 1) deviations: relative error 1/sqrt(2 n); the mean's own error,
    # 1/(SNR sqrt(n)), and that of rounding are far below it. 5 standard errors.
    error = 5 / np.sqrt(2 * width * (lines - 1))
    assert seen["snr_white"] == pytest.approx(best.figures["snr_white"], rel=error)
    full_dn = best.setup.full_scale_dn - best.setup.camera.black_level_dn
    level = (seen["dn_white"] - best.setup.camera.black_level_dn) / full_dn
    # no limit but full scale is near here: gain left out puts the well there. The mean's error is
    # noise/sqrt(n) and PRNU/sqrt(width) of it, 0.005/8; 5 of the latter, which is the larger
    assert level == pytest.approx(best.figures["saturation_white"], rel=5 * 0.005 / np.sqrt(width))
    assert seen["share_at_full_scale"] == 0


CAMERA = {"pixels": 96, "pixel_width": "7.5 um"}
FORMS: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "colours with a white balance": (
     {"camera": {**CAMERA, "kind": "three-line", "line_spacing": "30 um"},
      "acquisition": {"white_balance": "grey-card"}},
     {"light.illuminance": ["0 lx", "20 klx", "80 klx"], "lens.f_number": [2.8, 8]}),
    "encoder": (
     {"camera": {**CAMERA, "dead_time": "2 us"},
      "transport": {"trigger": "encoder", "encoder_step": "20 um", "speed_ripple": 0.05}},
     {"lens.magnification": [0.08, 0.1, 0.13], "transport.speed": ["40 m/min", "2 m/s"]}),
    "stages": ({"camera": {**CAMERA, "dark_current": "1 Me/s"}},
     {"camera.tdi_stages": [1, 16], "acquisition.line_rate": ["matched", "9 kHz", "12 kHz"],
      "acquisition.exposure": ["full", "20 us", "40 us"]}),
    "lines joined as numbers": (
     {"camera": {**CAMERA, "bit_depth": 10},
      "acquisition": {"binning_domain": "digital", "binning_along": "lines"}},
     {"acquisition.binning": ["1x1", "2x2"], "acquisition.binning_mode": ["sum", "average"],
      "camera.full_well": ["20 ke", "60 ke"], "camera.read_noise": "5 e:40 e:log3"}),
    "the other of two keys": ({"camera": CAMERA, "light": {"ambient": "2 W/m^2"}},
     {"lens.field_of_view": ["6 mm", "9 mm"], "light.irradiance": "20 W/m^2:200 W/m^2:log3",
      "lens.defocus": ["0 mm", "5 mm"], "target.white_reflectance": [0.3, 0.9],
      "camera.dead_time": ["3 us"]}),
}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
def test_all_at_once_is_one_by_one(form: str, tmp_path: Path) -> None:
    """
    Every figure is the budget's to 1e-9; rows stand for all options together.

    Of each third option, at night of all.
    """
    base, options = FORMS[form]
    texts: dict[str, Any] = {
        "title": "Base",
        "target": {"image": "flat", "pixel_size": "20 um"},
        "transport": {"speed": "60 m/min"},
        "lens": {"magnification": 0.1},
        "light": {"illuminance": "30 klx"},
    }
    for name, keys in base.items():
        texts[name] = {**texts.get(name, {}), **keys}
    (tmp_path / "base.toml").write_text(tomli_w.dumps(texts), "utf-8")
    space = space_from({"setup": "base.toml", "options": options}, tmp_path)
    found = rank(space, top=10_000)
    # saturated options are not among them; light and times were chosen so that most are
    assert len(found.order) > space.count / 3
    stand_for = [prod(map(len, row.alternatives.values())) for row in found.rows]
    assert sum(stand_for) == len(found.order)
    for index in found.order.tolist()[:: 1 if NIGHTLY else 3]:
        alone = budget(space.setup(index))
        for group in alone.groups.values():
            for name in set(KEPT) & set(group):
                weakest = min if name.startswith(("snr", "electrons")) else max
                value = weakest(values(group[name]))
                assert found.figures[name][index] == pytest.approx(value, rel=1e-9)
    assert {"electrons_white", "snr_white", "saturation_white"} <= set(found.rows[0].figures)


def test_dead_time_that_leaves_nothing(tmp_path: Path) -> None:
    """An option without time to expose is no legal setup, whatever stands beside it."""
    options = {"camera.dead_time": ["0 us", "74 us", "80 us"], "lens.f_number": [8, 11]}
    found = rank(small_space(tmp_path, {"options": options}))
    assert_array_equal(found.first == 0, [False] * 4 + [True] * 2)


def test_nothing_passes(space: Space) -> None:
    """The nearest is named: what misses last, by least."""
    dim = replace(space, base=changed(space.base, {"requirement.snr": 1000}))
    found = rank(dim)
    assert (len(found.order), len(found.front), found.rows) == (0, 0, ())
    assert found.nearest is not None
    snr = found.figures["snr_product"]
    among = found.first == found.first.max()
    assert found.nearest.figures["snr_product"] == pytest.approx(snr[among].max())
