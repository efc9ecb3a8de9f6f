"""Any figure may be limited, and a key that stands for another takes its place."""

from pathlib import Path

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup
from linesim.studies.batch.limits import limits_of
from linesim.studies.rank.space import load_space, space_from
from linesim.studies.rank.study import rank
from linesim.studies.vary.study import vary

SPACE = {
    "options": {
        "lens.f_number": [2.8, 4.0, 5.6, 8.0],
        "acquisition.binning": ["1x1", "2x2"],
        "light.illuminance": "20 klx:80 klx:log8",
    },
    "requirement": {"smallest_defect": "500 um", "snr": 20},
}


def test_a_limit_on_a_figure_leaves_what_keeps_it() -> None:
    """Of the passing options those stay whose own budget has no more of it, and no others."""
    free = rank(space_from(SPACE))
    most = float(np.median(free.figures["data_rate_mb_s"]))
    kept = rank(space_from({**SPACE, "limits": {"most_data_rate": f"{most} MB/s"}}))
    within = free.figures["data_rate_mb_s"][free.order] <= most
    assert 0 < len(kept.order) < len(free.order)
    assert set(kept.order.tolist()) == set(free.order[within].tolist())
    assert kept.misses["limits"] > 0


def test_limits_name_lengths_on_the_sensor_and_light_in_lux() -> None:
    """What no budget names may be limited too: the sensor's line, working distance, lux."""
    asked = {"most_sensor_length": "5 mm", "most_illuminance": "30 klx"}
    assert rank(space_from({**SPACE, "limits": asked})).misses["limits"] == 64  # 7.68 mm long
    (light,), faults = limits_of({"most_illuminance": "30 klx"}, sample_setup())
    assert (light.figure, light.wanted, faults) == ("illuminance_lx", 30_000.0, [])


def test_a_setup_file_in_place_of_a_space_is_told(tmp_path: Path) -> None:
    """One sentence, not one for each of its sections."""
    path = tmp_path / "station.toml"
    path.write_text("[lens]\nmagnification = 0.1\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"^space \".*station.toml\" is a setup file; expected"):
        load_space(path)


def test_a_range_takes_the_place_of_what_it_stands_for() -> None:
    """A base that gives the magnification may be varied over working distance or field of view."""
    base = changed(sample_setup(), {"lens.focal_length": "60 mm"})
    found = vary(
        base, {"lens.working_distance": "300 mm:900 mm:lin2"}, figures=("electrons_white",)
    )
    values = np.squeeze(found.curves[0].figures["electrons_white"])
    alone = [
        budget(changed(base, {"lens.magnification": m}))["signal"]["electrons_white"]
        for m in (60 / 240, 60 / 840)
    ]
    assert values.tolist() == pytest.approx(alone, rel=1e-12)


def test_a_working_distance_needs_a_lens() -> None:
    """Without a focal length, or nearer than that, it is refused."""
    away = {"lens.magnification": None, "lens.working_distance": "50 mm"}
    with pytest.raises(InputError, match=r"lens.working_distance: .*expected a lens.focal_length"):
        changed(sample_setup(), away)
    with pytest.raises(InputError, match=r"a lens of 60 mm makes no picture of what is nearer"):
        changed(sample_setup(), {**away, "lens.focal_length": "60 mm"})
