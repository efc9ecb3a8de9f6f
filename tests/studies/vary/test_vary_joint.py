"""All demands along a range together, against the verdicts of the budget at its ends."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from linesim.figures.budget import budget
from linesim.figures.verdicts import Verdict, worst_state
from linesim.forward.reference import Reference
from linesim.setup.load import changed, setup_from
from linesim.studies.vary.study import Varied, vary
from linesim.targets.levels import Levels, levels_of
from tests.stations import plain_setup

BASE = plain_setup(
    "Joint",
    target={"width": "10 mm", "height": "5 mm"},
    light={"illuminance": "4 klx"},
    camera={"read_noise": "20 e", "prnu": 0.005},
    requirement={"snr": 20},
)


def judged_at(found: Varied, value: float) -> dict[str, Verdict]:
    """Judge one point by itself."""
    verdicts = budget(found.curves[0].space.at([[value]]).setup(0)).verdicts
    return {verdict.requirement: verdict for verdict in verdicts}


LINE = {
    "requirement.smallest_defect": "400 um",
    "requirement.detection_rate": 0.9,
    "requirement.product_reflectance": 0.4,
    "camera.max_line_rate": "30 kHz",
    "camera.link": "12 MB/s",
    "light.illuminance": "12 klx",
    "light.edge_falloff": 0.3,
    "lens.focal_length": "12 mm",
}


@pytest.mark.parametrize(
    ("texts", "keys", "sides"),
    [
        ({"light.illuminance": "0.1klx:400klx:log9"}, {}, ("snr", "clipping")),
        ({"transport.speed": "2m/min:400m/min:log9"}, {}, ("clipping", "snr")),
        ({"lens.f_number": "0.8:16:log9"}, {}, ("clipping", "snr")),
        ({"transport.speed": "20m/min:400m/min:log9"}, {"requirement.snr": 1}, (None, "link")),
        ({"camera.read_noise": "1e:400e:log9"}, {}, (None, "snr")),
        ({"acquisition.exposure": "20us:200us:lin9"}, {}, ("snr", "exposure")),
    ],
)
def test_everything_holds_where_the_budget_says_so(
    texts: dict[str, str], keys: dict[str, object], sides: tuple[str | None, str | None]
) -> None:
    """A millionth inside each end all verdicts are met; outside, the one named is not."""
    found = vary(changed(BASE, {**LINE, **keys}), texts)
    (joint,) = found.joints
    (held,) = joint.held
    ends = ((held.below, held.span.low, 1 + 1e-6), (held.above, held.span.high, 1 - 1e-6))
    told = tuple(None if demand is None else demand.requirement for demand, _, _ in ends)
    assert told == sides
    for demand, end, inwards in ends:
        inside = judged_at(found, end if demand is None else end * inwards)
        assert worst_state(tuple(inside.values())) == "met"
        if demand is not None:
            outside = judged_at(found, end / inwards)
            assert not outside[demand.requirement].met


def test_the_levels_of_an_image_are_looked_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many points: quantiles of an image cost more than all figures of a point."""
    rng = np.random.default_rng(3)
    Image.fromarray(rng.integers(90, 110, (300, 300), dtype=np.uint8)).save(tmp_path / "web.png")
    sections = {**BASE.texts, "target": {"image": "web.png", "pixel_size": "20 um"}}
    setup = setup_from(sections, tmp_path)
    looks: list[object] = []

    def counted(reference: Reference) -> Levels:
        looks.append(reference)
        return levels_of(reference)

    monkeypatch.setattr("linesim.targets.load.levels_of", counted)
    found = vary(setup, {"target.white_reflectance": "0.3:0.9:lin40"})
    assert found.curves[0].figures["snr_product"].shape == (40, 1)
    assert len(looks) == 1
    vary(setup, {"target.pixel_size": "15um:30um:lin7"})
    assert len(looks) == 1
