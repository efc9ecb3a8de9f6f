"""Rank, vary and compare: at every point they say what the budget says there, whatever the base."""

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linesim.figures.budget import Budget, budget
from linesim.figures.groups import ENDS
from linesim.setup.load import changed, setup_from
from linesim.studies.batch.judged import DEMANDS
from linesim.studies.compare.study import compare
from linesim.studies.rank.option_table import KEPT
from linesim.studies.rank.space import space_from
from linesim.studies.rank.study import Ranking, rank
from linesim.studies.scan.study import scan
from linesim.studies.vary.study import vary

Texts = dict[str, dict[str, Any]]
Stations = st.SearchStrategy[Texts]

MOST_KEYS = 3 if "LINESIM_NIGHTLY" in os.environ else 2
EXACT = 1e-9
SIZE, WIDTH = 5e-4, 1e-3
"""Of sizes in a ranking, out of a table, in any station drawn at random; of widths of scratches."""
LEAST_PX, MOST_PX = 0.01, 30
"""Sizes between which that holds, in object pixels; see linesim.studies.batch.size_table."""
NUMBERS = st.sampled_from(
    [
        ("light.irradiance", ["3 W/m^2", "50 W/m^2", "800 W/m^2"]),
        ("lens.f_number", [1.4, 4.0, 11.0]),
        ("lens.magnification", [0.03, 0.4, 2.0]),
        ("transport.speed", ["20 mm/s", "0.3 m/s", "120 m/min"]),
        ("camera.read_noise", ["0 e", "12 e", "90 e"]),
        ("camera.full_well", ["2 ke", "30 ke", "200 ke"]),
        ("acquisition.exposure", ["2 us", "60 us", "1 ms"]),
        ("target.white_reflectance", [0.05, 0.5, 1.0]),
    ]
)


def figures(found: Budget) -> dict[str, Any]:
    """Give all figures by name, whatever their group."""
    return {name: value for group in found.groups.values() for name, value in group.items()}


def values(figure: Any) -> np.ndarray[Any, Any]:  # noqa: ANN401 -- a number or one a colour
    """Give a figure's values: one, or one a colour."""
    return np.array(list(figure.values()) if isinstance(figure, dict) else [figure], dtype=float)


@settings(max_examples=-(-settings().max_examples // 6))
@given(data=st.data(), key=NUMBERS)
def test_vary_says_what_the_budget_says(
    any_station: Stations, data: st.DataObject, key: tuple[str, list[Any]]
) -> None:
    """Three values of a key: every figure at each of them is that of the setup by itself."""
    setup = setup_from(data.draw(any_station))
    dotted, points = key
    texts = ",".join(str(each).replace(" ", "") for each in points)
    found = vary(setup, {dotted: texts}, figures=["all"])
    (curve,) = found.curves
    for index, value in enumerate(points):
        alone = figures(budget(changed(setup, {dotted: value})))
        for name, along in curve.figures.items():
            if name in alone and not isinstance(alone[name], str):
                wanted = np.broadcast_to(values(alone[name]), along[index].shape)
                assert_allclose(along[index], wanted, rtol=EXACT, err_msg=f"{name} at {value}")
            else:
                assert not np.isfinite(along[index]).any(), (name, value)


def check_size(ranked_px: float, alone_px: float, exact: float) -> None:
    """
    Compare sizes: a table ends at its least; beyond its most it is as right as the integrals.

    These are right to 0.005 of d' for oblongs, which grows at least as the size: twice that.
    """
    exact = exact if ranked_px <= MOST_PX else 0.01
    if ranked_px > LEAST_PX * (1 + SIZE):
        assert_allclose(ranked_px, alone_px, rtol=exact)
    else:
        assert alone_px <= ranked_px * (1 + SIZE)


@settings(max_examples=-(-settings().max_examples // 5))
@given(
    data=st.data(),
    keys=st.lists(NUMBERS, min_size=1, max_size=MOST_KEYS, unique_by=lambda each: each[0]),
    binning=st.lists(st.sampled_from(["1x1", "2x1", "1x2", "2x2"]), max_size=2, unique=True),
)
def test_rank_says_what_the_budget_says(
    any_station: Stations,
    data: st.DataObject,
    tmp_path_factory: pytest.TempPathFactory,
    keys: list[tuple[str, list[Any]]],
    binning: list[str],
) -> None:
    """
    Every option of a space: its figures are those of the setup by itself.

    None is listed as meeting what its own verdicts call missed or cannot run, and what it misses
    first is among these.
    """
    folder: Path = tmp_path_factory.mktemp("space")
    texts = data.draw(any_station)
    (folder / "base.toml").write_text(tomli_w.dumps(texts), "utf-8")
    options: dict[str, Any] = dict(keys)
    if binning:
        options["acquisition.binning"] = binning
    space = space_from(
        {"setup": "base.toml", "options": options, "requirement": {"snr": 5.0}}, folder
    )
    found = rank(space, top=2)
    for index in range(space.count):
        judged = budget(space.setup(index))
        check_figures(found, index, judged)
        states = {each.requirement: each.state for each in judged.verdicts}
        if index in found.order:
            assert set(states.values()) == {"met"}
        else:
            assert states[DEMANDS[found.first[index]]] != "met"


def check_figures(found: Ranking, index: int, judged: Budget) -> None:
    """Compare the figures of one option with those of its budget, the weakest colour each."""
    alone = {name: each for name, each in figures(judged).items() if not isinstance(each, str)}
    for name in set(KEPT) & set(alone):
        weakest = (np.min if name.startswith(("snr", "electrons")) else np.max)(values(alone[name]))
        assert_allclose(found.figures[name][index], weakest, rtol=EXACT, err_msg=name)
    for name in {found.size_name, found.size_name + ENDS} & set(alone):
        size = found.figures[name][index]
        if np.isfinite(size):
            pixel_um = float(judged["geometry"]["object_pixel_x_um"])
            exact = SIZE if found.size_name == "smallest_detectable_um" else WIDTH
            check_size(size / pixel_um, float(values(alone[name]).max()) / pixel_um, exact)


@settings(max_examples=-(-settings().max_examples // 10))
@given(data=st.data(), seed=st.integers(0, 1000))
def test_compare_says_what_scans_say(
    mono_station: Stations, data: st.DataObject, seed: int
) -> None:
    """Each variant of a comparison: the figures of its own budget, the bytes of its own scan."""
    texts = data.draw(mono_station)
    texts["acquisition"] |= {"binning_domain": "charge", "binning_along": "rows", "lines": 40}
    texts["acquisition"].pop("binning_mode", None)
    found = compare(setup_from(texts), ("1x1", "2x2"), seed)
    for one in found.variants:
        assert one.scan.budget.as_dict() == budget(one.scan.setup).as_dict()
        again = scan(one.scan.setup, seed)
        assert_array_equal(one.scan.image, again.image)
        assert_array_equal(one.scan.expected_e, again.expected_e)
