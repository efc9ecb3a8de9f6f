"""Places of the lamp among the options of a ranking."""

from typing import Any

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.studies.rank import option_table
from linesim.studies.rank.space import load_space, space_from
from linesim.studies.rank.study import Ranking, rank
from linesim.studies.rank.words import answer

SPACE = load_space("sample_targets/light_space.toml")


@pytest.fixture(scope="module")
def found() -> Ranking:
    """Rank them once."""
    return rank(SPACE)


def test_the_lamp_goes_where_the_foil_mirrors(found: Ranking) -> None:
    """With least light on a foil that mirrors six times a white, bright field is the best."""
    best = found.rows[0]
    assert best.setup.light.angle_deg == best.setup.camera.angle_deg
    places = {row.setup.light.arrangement for row in found.rows}
    assert places == {"line"}


def test_bright_field_needs_least_light_and_dark_field_most(found: Ranking) -> None:
    """The order of what the foil sends back: 5.7 times a white, 0.95 and 0.36 of it."""
    least: dict[str, float] = {}
    for index in found.order.tolist():
        place = SPACE.option(index)[0].label
        light_w_m2 = float(found.figures["irradiance_target_w_m2"][index])
        least[place] = min(least.get(place, light_w_m2), light_w_m2)
    assert sorted(least, key=lambda place: least[place]) == ["bright field", "even", "dark field"]


def test_each_option_has_the_light_of_its_own_place(found: Ranking) -> None:
    """A figure of some options is that of its own budget: no other lamp shines into it."""
    for index in range(0, SPACE.count, 19):
        setup = SPACE.setup(index)
        told = float(budget(setup)["signal"]["snr_product"])
        got = float(np.ravel(found.figures["snr_product"][index])[0])
        assert got == pytest.approx(told, rel=1e-9), index


def test_a_key_is_taken_out_by_no_value() -> None:
    """A choice may leave out what the base has; a key that there is not is refused as ever."""
    lamps = {"even": {"light": {"arrangement": "even", "angle": "", "angular_width": ""}}}
    texts = {"setup": "sample_targets/foil_bright_field.toml", "choices": {"lamp": lamps}}
    space = space_from(texts)
    assert space.setup(0).light.angle_deg is None
    lamps["even"]["light"]["angel"] = ""
    with pytest.raises(InputError, match="no such key"):
        space_from(texts)


RELIEF: dict[str, Any] = {
    "setup": "sample_targets/sheet_light.toml",
    "options": {"light.illuminance": ["2 klx"]},
    "choices": {
     "light": {"bright field": {"light.angle": "20 deg"}, "dark field": {"light.angle": "36 deg"},
      "far": {"light.angle": "75 deg"}}},
    "requirement": {"snr": 0.1},
}  # fmt: skip


@pytest.mark.nightly
def test_a_groove_is_found_with_least_light_where_it_flashes() -> None:
    """Ranked by a fault with relief: dark field first, and where nothing flashes nothing passes."""
    space = space_from(RELIEF)
    ranked = rank(space, top=2)
    places = [space.option(int(index))[0].label for index in ranked.order]
    assert places[0] == "dark field"
    assert "far" not in places
    for row in ranked.rows:
        for name in ("defect_dprime", "smallest_relief_um"):
            told = float(budget(row.setup)["detection"][name])
            assert float(ranked.figures[name][row.index]) == pytest.approx(told, rel=1e-9)
    assert "a groove found from" in " ".join(answer(ranked))


def test_too_many_options_for_a_fault_with_relief_are_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The refusal says how many are left and how many may be."""
    monkeypatch.setattr(option_table, "MOST_RELIEFS", 2)
    with pytest.raises(InputError, match="with 3 options that meet all else"):
        rank(space_from(RELIEF))
