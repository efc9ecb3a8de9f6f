"""What a ranking counts: the ends of the line, the product's texture; and what it counts once."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.batch.judged import DEMANDS, PASSED
from linesim.studies.rank.study import rank
from tests.studies.rank.spaces import SPACE, small_space


def test_an_option_whose_ends_fail_is_not_met(tmp_path: Path) -> None:
    """
    With a lamp that falls off by 0.6, an SNR that the middle has and the ends have not is missed.

    Every option's verdicts say so too, and which of them the ends decide.
    """
    space = small_space(tmp_path, SPACE, edge_falloff=0.6)
    found = rank(space)
    only_middle = 0
    for index in range(0, space.count, 5):
        verdicts = {each.requirement: each for each in budget(space.setup(index)).verdicts}
        passes = found.first[index] == PASSED
        assert passes == all(each.met for each in verdicts.values())
        lit = found.figures["snr_product"][index] >= 40
        if DEMANDS[found.first[index] % PASSED] == "snr" and lit:
            assert verdicts["snr"].where == "ends"
            only_middle += 1
    assert only_middle > 0
    for row in found.rows:
        assert row.worst("snr_product") == row.figures["snr_product_ends"] >= 40


NEAR = {
    "acquisition.binning": ["1x1", "2x2"],
    "light.illuminance": "20 klx:60 klx:log3",
    "camera.bit_depth": [12, 14, 16],
    "camera.max_line_rate": ["20 kHz", "40 kHz"],
}


def test_near_copies_are_one_row(tmp_path: Path) -> None:
    """Bits that change SNR by under 0.2 %, and a rate that nothing asks for, make no options."""
    space = small_space(tmp_path, {"options": NEAR, "requirement": {"snr": 20}})
    found = rank(space)
    # 1x1 and 2x2 in three lights each, less what clips
    assert 3 <= len(found.rows) <= 6
    for row in found.rows:
        assert row.choice["camera.max_line_rate"] == "20 kHz or 40 kHz"
        assert row.choice["camera.bit_depth"] == "12, 14 or 16"
        assert row.alternatives["camera.bit_depth"] == ("12", "14", "16")
    told = [
        (row.choice["acquisition.binning"], row.choice["light.illuminance"]) for row in found.rows
    ]
    assert len(set(told)) == len(told)
    assert len(found.order) == 6 * len(found.rows)


def test_what_differs_is_no_copy(tmp_path: Path) -> None:
    """A word of 8 bits rounds 40 ke to steps of 160 e, noise of 46 e: that costs SNR."""
    options = {"light.illuminance": ["20 klx", "30 klx"], "camera.bit_depth": [8, 14]}
    found = rank(small_space(tmp_path, {"options": options}))
    assert len(found.rows) == len(found.order) == 4


def test_a_product_with_texture_in_the_base(tmp_path: Path) -> None:
    """A dark product and its grain count for every option as they do for one."""
    asked = {
        "snr": 15,
        "smallest_defect": "220 um",
        "defect_contrast": 0.3,
        "product_reflectance": 0.3,
        "texture": {"rms": 0.06, "correlation": "0.1 mm"},
    }
    options = {"acquisition.binning": ["1x1", "2x2"], "light.illuminance": "4 klx:60 klx:log4"}
    space = small_space(tmp_path, {"options": options, "requirement": asked})
    found = rank(space)
    plain = rank(replace(space, base=changed(space.base, {"requirement.texture": None})))
    assert 0 < len(found.order) < len(plain.order)
    assert np.isfinite(found.size_um).sum() >= len(found.order)
    for index in range(space.count):
        judged = budget(space.setup(index))
        passes = found.first[index] == PASSED
        assert passes == all(each.met for each in judged.verdicts)
        if np.isfinite(found.size_um[index]):
            alone_um = judged.number("detection", "smallest_detectable_um")
            # a table in two dimensions, said to hold to a thousandth
            assert found.size_um[index] == pytest.approx(alone_um, rel=1e-3)


def test_what_the_door_refuses_is_counted(tmp_path: Path) -> None:
    """A combination that is no setup fails as such, with the door's words; all so: refused."""
    options = {
        "acquisition.binning": ["1x1", "2x2"],
        "acquisition.binning_mode": ["sum", "average"],
        "lens.f_number": [4, 5.6, 8],
    }
    found = rank(small_space(tmp_path, {"options": options}))
    assert list(found.refused.values()) == [3]
    (why,) = found.refused
    assert why.startswith('acquisition.binning_mode: read "average", but charge can only be summed')
    assert found.misses["legal_setup"] == 3
    only = {**options, "acquisition.binning": ["2x2"], "acquisition.binning_mode": ["average"]}
    with pytest.raises(InputError, match="none of the 3 options is a legal setup"):
        rank(small_space(tmp_path, {"options": only}))
