"""Places of the lamp among the options of a ranking."""

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.studies.rank.space import load_space, space_from
from linesim.studies.rank.study import Ranking, rank

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
