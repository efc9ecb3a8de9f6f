"""The lens over its field in figures: sharpness read at five places, ends judged as they are."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.defects.labels import footprints
from linesim.defects.pose import Pose
from linesim.defects.round_faults import Pinhole
from linesim.figures.budget import Budget, budget
from linesim.figures.resolution import mtf_across
from linesim.forward.lens import box_mtf, optics
from linesim.forward.profile import column_profile
from linesim.forward.reference import ArrayReference
from linesim.forward.station import station
from linesim.metrics.edge.figures import edge_response
from linesim.setup.load import changed, sample_setup
from linesim.studies.scan.study import scan
from tests.stations import plain_setup

PLACES = (-0.9, -0.45, 0.0, 0.45, 0.9)
PITCH_UM = 15.0
WINDOW = 60
WIDE = plain_setup(
    "Wide",
    target={"pixel_size": f"{PITCH_UM} um"},
    lens={"blur": ["1 um", "3 um", "7 um"]},
    light={"irradiance": "40 W/m^2", "illuminance": None},
    camera={"pixels": 1600},
    acquisition={"lines": 80},
)


def test_edges_at_five_places_have_the_mtf_of_their_place() -> None:
    """
    Slanted edges by ISO 12233 read the closed form there, to 0.01 at any frequency up to Nyquist.

    The reference's own pixels, two boxes, are undone.
    """
    columns, rows = 8000, 420
    x_um = (np.arange(columns) + 0.5 - columns / 2) * PITCH_UM
    lean_um = np.tan(np.radians(5.0)) * (np.arange(rows) - rows / 2) * PITCH_UM
    target = np.full((rows, columns), 0.1, dtype=np.float32)
    for place in PLACES:
        past_um = x_um[None, :] - place * 60_000 - lean_um[:, None]
        inside = np.abs(x_um - place * 60_000) < WINDOW / 2 * 75 + 2000
        covered = np.clip(past_um / PITCH_UM + 0.5, 0, 1)
        target[:, inside] = 0.1 + 0.8 * covered[:, inside]
    reference = ArrayReference(data=target, pixel_size_um=PITCH_UM)
    seen = scan(WIDE, reference=reference).expected_e
    image = np.rint(60_000 * seen / seen.max()).astype(np.uint16)
    for place in PLACES:
        first = round(800 + 800 * place) - WINDOW // 2
        found = edge_response(
            image[:, first : first + WINDOW], pixel_pitch=(75.0, 75.0), limits=(0, 65535)
        )
        frequency = np.asarray(found.frequency_per_unit)
        wanted = frequency <= 1 / 150
        own = box_mtf(frequency * PITCH_UM) ** 2
        numbers = changed_lens(place)
        told = mtf_across(numbers, 1000 * frequency[wanted])
        assert_allclose((np.asarray(found.mtf) / own)[wanted], told, rtol=0, atol=0.01)


def changed_lens(place: float) -> Any:  # noqa: ANN401 -- a station
    """Put the lens of one place into the middle."""
    setup = changed(WIDE, {"lens.blur": f"{float(optics(WIDE, place).blur_um)!r} um"})
    return station(setup)


def told(changes: dict[str, Any]) -> Budget:
    """Give the figures of the sample with changes."""
    wanted = {"requirement.smallest_defect": "400 um", "light.illuminance": "8 klx"}
    return budget(changed(sample_setup(), {**wanted, **changes}))


@pytest.mark.parametrize(
    ("over", "end"),
    [
        ({"lens.blur": ["1 um", "3 um", "8 um"]}, {"lens.blur": "8 um"}),
        ({"lens.defocus": ["-9 mm", "-5 mm", "0 mm", "4 mm", "6 mm"]}, {"lens.defocus": "-9 mm"}),
        (
            {"lens.blur_along": ["1 um", "9 um", "6 um"], "lens.blur_across": "1 um"},
            {"lens.blur_along": "9 um", "lens.blur_across": "1 um"},
        ),
    ],
    ids=["blur", "tilt", "worst at 0.7"],
)
def test_figures_of_the_ends_are_those_of_such_a_lens(
    over: dict[str, Any], end: dict[str, Any]
) -> None:
    """Sharpness and detection at the worst place are those of a lens that is so everywhere."""
    found, alone = told(over), told(end)
    for name in ("mtf_nyquist_x", "mtf_nyquist_y", "mtf50_x_lp_mm", "mtf50_y_lp_mm"):
        assert found["resolution"][f"{name}_ends"] == pytest.approx(
            alone["resolution"][name], rel=1e-6
        )
    for name in ("defect_dprime", "smallest_detectable_um", "detection_rate"):
        assert found["detection"][f"{name}_ends"] == pytest.approx(
            alone["detection"][name], rel=1e-6
        )
    (verdict,) = (each for each in found.verdicts if each.requirement == "smallest_defect")
    assert verdict.where == "ends"
    assert verdict.got == found["detection"]["smallest_detectable_um_ends"]


def test_an_even_lens_has_no_figures_of_the_ends() -> None:
    """Where the lens is the same all along there is nothing else to tell."""
    assert not any(name.endswith("_ends") for name in told({})["resolution"])


def test_relative_illumination_is_the_light_of_the_columns() -> None:
    """
    The maker's curve takes the place of cos⁴: 1, 0.9 and 0.6 at the middle, 0.7 and the end.

    SNR at the ends is that of so much less light; one number falls with the square of the height.
    """
    setup = changed(sample_setup(), {"lens.relative_illumination": [1.0, 0.9, 0.6]})
    share = column_profile(setup, 2001)
    assert_allclose(share[[1000, 1700, 2000]], [1.0, 0.9, 0.6], atol=2e-3)
    assert_allclose(share, share[::-1], rtol=1e-12)
    signal = budget(setup)["signal"]
    assert signal["electrons_white_ends"] == pytest.approx(0.6 * signal["electrons_white"], 1e-3)
    one = changed(sample_setup(), {"lens.relative_illumination": 0.6})
    place = 2 * (np.arange(2001) + 0.5) / 2001 - 1
    assert_allclose(column_profile(one, 2001), 1 - 0.4 * place**2, rtol=1e-12)


def test_soft_and_distorted_ends_are_cautioned() -> None:
    """Ends under half as sharp, and ends that look beside their place, each have a sentence."""
    codes = [
        {each.code for each in told(changes).cautions}
        for changes in (
            {"lens.blur": ["0 um", "0 um", "4 um"]},
            {"lens.blur": ["0 um", "0 um", "1 um"]},
            {"lens.distortion": 0.01},
            {"lens.distortion": 0.0001},
        )
    ]
    assert ["soft_ends" in each for each in codes] == [True, False, False, False]
    assert ["distortion" in each for each in codes] == [False, False, True, False]


def test_distortion_changes_the_field_that_is_seen() -> None:
    """A barrel of 2 % sees 1/0.98 of the field, a cushion less."""
    even, barrel, cushion = (
        float(told({"lens.distortion": each})["geometry"]["field_of_view_mm"])
        for each in (0.0, -0.02, [0, 0.01, 0.02])
    )
    assert (barrel, cushion) == pytest.approx((even / 0.98, even / 1.02), rel=1e-12)


def test_labels_lie_where_a_distorting_lens_puts_the_fault() -> None:
    """A disc near the end of the line has its label where x/(m (1 + D)) is the disc's place."""
    setup = changed(WIDE, {"lens.blur": "1 um", "lens.distortion": -0.03, "acquisition.lines": 60})
    reference = ArrayReference(data=np.ones((300, 8000), dtype=np.float32), pixel_size_um=PITCH_UM)
    place = Pose(x_mm=50.0, y_mm=2.25)
    (label,) = footprints(setup, reference, 60, 0).labels(
        Pinhole(diameter_um=900.0, change=0.5).at(place)
    )
    share = label.mask.sum(axis=0)
    centre = label.first_column + (np.arange(len(share)) + 0.5) @ share / share.sum()
    # x = 50 mm (1 + D), D = -0.03 (x/60 mm)², three rounds of a sum that contracts
    x_mm = 50.0
    for _ in range(30):
        x_mm = 50.0 * (1 - 0.03 * (x_mm / 60) ** 2)
    assert centre == pytest.approx(800 + x_mm / 0.075, abs=0.05)
