"""When a target's own texture is told of."""

from typing import Any

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.figures.level_cautions import seen_rms
from linesim.figures.product import own_texture
from linesim.forward.station import station
from linesim.setup.load import changed, setup_from
from linesim.studies.scan.study import scan
from linesim.targets.foil import foil
from linesim.targets.load import target_size

Changes = dict[str, Any]
BASE = setup_from(
    {
        "title": "Cautions",
        "target": {"image": "flat", "pixel_size": "18.75 um", "width": "30 mm", "height": "20 mm"},
        "transport": {"speed": "1 m/s"},
        "lens": {"magnification": 0.1, "f_number": 4.0},
        "light": {"irradiance": "100 W/m^2"},
        "camera": {
            "pixels": 256,
            "pixel_width": "7.5 um",
            "read_noise": "20 e",
            "full_well": "20 ke",
            "black_level": "0 DN",
        },
        "acquisition": {"lines": 100},
    }
)
FOIL: Changes = {
    "target.image": "foil",
    "target.pixel_size": "20 um",
    "requirement.smallest_defect": "300 um",
}


def codes(changes: Changes) -> set[str]:
    """Codes of all cautions of a variant."""
    return {caution.code for caution in budget(changed(BASE, changes)).cautions}


def test_a_texture_over_the_noise_is_told() -> None:
    """In much light the foil's own pattern is more than the noise; in little it is not."""
    assert "texture_over_noise" in codes({**FOIL, "light.irradiance": "400 W/m^2"})
    assert "texture_over_noise" not in codes({**FOIL, "light.irradiance": "4 W/m^2"})


@pytest.mark.parametrize(
    "changes",
    [
        {"requirement.texture": "target"},
        {"requirement.smallest_defect": None},
        {"target.image": "flat", "target.pixel_size": "18.75 um"},
    ],
)
def test_a_texture_is_told_only_where_it_is_missed(changes: Changes) -> None:
    """Not where it is counted, where nothing is looked for on it, or where there is none."""
    assert "texture_over_noise" not in codes({**FOIL, "light.irradiance": "400 W/m^2", **changes})


def test_the_texture_is_as_strong_as_in_a_rendered_scan() -> None:
    """
    The share that is told is the spread of the samples about the even product, noise taken off.

    The scan of the foil without faults in so much light that its noise is a tenth of the texture;
    the measured power leaves slow changes out (tiles of 64 pixels), so the two agree to 25 %.
    """
    setup = changed(BASE, {**FOIL, "light.irradiance": "400 W/m^2"})
    texture = own_texture(target_size(setup))
    assert texture is not None
    told = seen_rms(station(setup), texture)
    plain = foil(width_mm=20.0, height_mm=12.0, pixel_size_um=20.0, faults=False)
    lit = changed(setup, {"acquisition.lines": 150, "camera.full_well": "400 ke"})
    image = scan(lit, reference=plain.rows(0, plain.shape[0])).expected_e
    # pieces of 17 samples are a tile of 64 pixels of 20 um each
    pieces = image[:136, :255].reshape(8, 17, 15, 17)
    spread = pieces.std(axis=(1, 3)) / pieces.mean(axis=(1, 3))
    assert float(np.median(spread)) == pytest.approx(told, rel=0.25)
