"""Many options at once know the faults of the sensor: each is judged as by itself."""

from pathlib import Path

import numpy as np
import pytest
import tomli_w

from linesim.figures.budget import budget
from linesim.studies.rank.space import space_from
from linesim.studies.rank.study import rank


def test_sizes_found_are_those_of_each_option_by_itself(tmp_path: Path) -> None:
    """Lag, crosstalk and line noise blur and drown each option's own disc, to 5e-4 of its size."""
    texts = {
        "title": "Base",
        "target": {"image": "flat", "pixel_size": "20 um"},
        "transport": {"speed": "60 m/min"},
        "lens": {"magnification": 0.1},
        "light": {"illuminance": "20 klx"},
        "camera": {"pixels": 64, "pixel_width": "7.5 um", "line_noise": "60 e"},
        "requirement": {"smallest_defect": "300 um"},
    }
    (tmp_path / "base.toml").write_text(tomli_w.dumps(texts), "utf-8")
    options = {
        "camera.lag": [0.0, 0.3],
        "camera.crosstalk": [0.0, 0.1],
        "acquisition.binning": ["1x1", "2x1"],
    }
    space = space_from({"setup": "base.toml", "options": options}, tmp_path)
    found = rank(space, top=100).size_um
    alone = [
        budget(space.setup(index)).groups["detection"]["smallest_detectable_um"]
        for index in range(space.count)
    ]
    assert len(np.unique(alone)) == space.count == 8
    assert found == pytest.approx(alone, rel=5e-4)
