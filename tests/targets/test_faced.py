"""A target that mirrors, leans or has relief, as lamp and camera see it: rows, levels, scans."""

import math
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from linesim.figures.budget import budget
from linesim.forward.reference import ArrayReference
from linesim.forward.surface import radiance_factors
from linesim.report.setup_words import job_in_words
from linesim.report.table import budget_text
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.lights import matt
from linesim.setup.load import changed, load_setup, setup_from
from linesim.setup.setup import Setup
from linesim.studies.compare.study import compare
from linesim.studies.scan.study import scan
from linesim.targets.faces.faced import FacedReference, lit_reference
from linesim.targets.load import target_reference
from tests.stations import plain_texts

ROOT = Path(__file__).parents[2]
BRIGHT = load_setup(ROOT / "sample_targets" / "foil_bright_field.toml")
DARK = load_setup(ROOT / "sample_targets" / "foil_dark_field.toml")
GLOSSY: dict[str, Any] = plain_texts(
    "Varnished board",
    target={
        "width": "8 mm",
        "height": "4 mm",
        "white_reflectance": 0.4,
        "gloss": 0.04,
        "rms_slope_across": 0.05,
        "rms_slope_along": 0.08,
    },
    transport={"speed": "1 m/s"},
    light={
        "illuminance": "80 klx",
        "arrangement": "line",
        "angle": "25 deg",
        "angular_width": "14 deg",
    },
    camera={"pixels": 96, "pixel_width": "7 um", "angle": "20 deg"},
)


def lit(setup: Setup) -> FacedReference:
    """Give the target as its lamp and camera see it."""
    found = lit_reference(setup, target_reference(setup))
    assert isinstance(found, FacedReference)
    return found


def steep_places(
    heights_um: FloatArray, pitch_um: float
) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Draw 200 pixels that lean: rows, columns, and slopes of their normals across and along."""
    steep = np.hypot(*np.gradient(heights_um, pitch_um)) > 0.01
    rows, columns = np.nonzero(steep[1:-1, 1:-1])
    some = np.random.default_rng(2).choice(rows.size, 200, replace=False)
    y, x = rows[some] + 1, columns[some] + 1
    across = (heights_um[y, x - 1] - heights_um[y, x + 1]) / (2 * pitch_um)
    along = (heights_um[y - 1, x] - heights_um[y + 1, x]) / (2 * pitch_um)
    return y, x, np.stack([across, along], -1)


@pytest.mark.parametrize("setup", [BRIGHT, DARK], ids=["bright", "dark"])
def test_a_relief_is_as_bright_as_its_slopes(setup: Setup) -> None:
    """
    The table gives what the integral gives for the slopes of single pixels.

    The nearest of faces s/60 apart, s the rms slope: off by s/120 at most each way, where a lobe
    falls by at most 0.61 of its height in s: 0.5 % of a level mirror each way.
    """
    seen = lit(setup)
    assert seen.relief is not None
    y, x, slopes = steep_places(seen.relief.heights[1:-1, 1:-1].astype(float), seen.pixel_size_um)
    face = seen.face
    assert face.finish is not None
    angle = np.radians(face.view_deg)
    view = np.array([0.0, -np.sin(angle), np.cos(angle)])
    matt, gloss = radiance_factors(face.lamps[0].strip, face.finish, view, slopes)
    shares = target_reference(setup).rows(0, seen.shape[0])[y, x]
    expected = shares * matt + gloss / setup.target.white_reflectance
    peak = lit(BRIGHT).face.level[1]
    assert_allclose(seen.rows(0, seen.shape[0])[y, x], expected, rtol=0, atol=0.01 * peak)


def test_rows_are_the_same_in_any_blocks() -> None:
    """Slopes at the edge of a block look over it."""
    seen = lit(DARK)
    parts = [seen.rows(0, 7), seen.rows(7, 8), seen.rows(8, 200)]
    assert_array_equal(np.concatenate(parts), seen.rows(0, 200))


def test_a_ramp_is_a_face_that_leans(tmp_path: Path) -> None:
    """A relief that falls evenly along travel turns the normal as slope_along does."""
    rows, pitch_um, slope = 200, 20.0, 0.05
    range_um = slope * pitch_um * (rows - 1)
    ramp = np.round(np.linspace(65535, 0, rows)).astype(np.uint16)
    iio.imwrite(tmp_path / "ramp.png", np.repeat(ramp[:, None], 400, axis=1))
    base = setup_from(GLOSSY, tmp_path)
    ramped = changed(base, {"target.relief": "ramp.png", "target.relief_range": f"{range_um} um"})
    leaning = changed(base, {"target.slope_along": f"{math.degrees(math.atan(slope))!r} deg"})
    got, expected = lit(ramped).rows(50, 60), lit(leaning).rows(50, 60)
    # heights are rounded to 1/65535 of the range: slopes to 0.05 * 199/65535/2, 0.1 % of the lobe
    assert_allclose(got, expected, rtol=3e-3)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"light.angle": "50 deg"},
        {"light.arrangement": None, "light.angle": None, "light.angular_width": None},
        {"target.slope_along": "3 deg"},
        {"acquisition.binning": "2x2"},
    ],
)
def test_the_budget_of_a_glossy_face_is_its_scan(changes: dict[str, object]) -> None:
    """Electrons of the product are the mean of those expected, in its middle (light is even)."""
    setup = changed(setup_from(GLOSSY), changes)
    told = float(budget(setup)["signal"]["electrons_product"])
    found = scan(setup).expected_e
    assert_allclose(found[5:-5, 5:-5].mean(), told, rtol=1e-5)


def test_the_radiance_factor_is_a_figure() -> None:
    """Of product under its lamp, and there only where the face is not just matt."""
    setup = setup_from(GLOSSY)
    diffuse, mirrored = lit(setup).face.level
    got = float(budget(setup)["signal"]["radiance_factor"])
    assert got == pytest.approx(0.4 * diffuse + mirrored, rel=1e-12)
    assert "radiance_factor" not in budget(changed(setup, matt(setup)))["signal"]


def groove(setup: Setup) -> float:
    """Give the light of the groove across travel over that of the foil beside it."""
    image = scan(setup).expected_e
    middle = np.median(image)
    rows = image[:, 110:150].mean(axis=1)
    return float(max(rows[:60], key=lambda each: abs(each - middle)) / middle)


def test_a_scratch_turns_from_dark_to_bright() -> None:
    """In bright field a groove across travel is dark on bright, in dark field bright on dark."""
    assert groove(BRIGHT) < 0.8
    assert groove(DARK) > 1.2


def test_a_groove_along_travel_hardly_shows() -> None:
    """Its slopes turn the light sideways, where an endless lamp is still (common practice)."""
    for setup in (BRIGHT, DARK):
        image = scan(setup).expected_e
        part = image[70:100, 40:75].mean(axis=0)
        assert np.ptp(part) < 0.06 * np.median(image)


def test_people_read_where_the_lamp_stands() -> None:
    """In words on a page, and the radiance factor on the console."""
    told = " ".join(job_in_words(DARK))
    assert (
        "The light is a strip 40 deg from the normal and 10 deg wide; the camera stands at" in told
    )
    assert "at 20 deg on the other side: dark field." in told
    assert "at 20 deg on the other side: bright field." in " ".join(job_in_words(BRIGHT))
    text = budget_text(BRIGHT, budget(BRIGHT))
    assert "\n  radiance factor             5.66\n" in text


def test_variants_stand_under_their_own_lamps() -> None:
    """A comparison of lamps draws the target once, and lights it for each."""
    changes = ("light.angle=20 deg", "light.angle=40 deg")
    found = compare(BRIGHT, changes)
    bright, dark = (each.scan.expected_e.mean() for each in found.variants[1:])
    assert bright > 5 * dark


def test_a_given_array_is_lit_too() -> None:
    """Reflectances from Python take the place of the image, under the same lamp and face."""
    setup = setup_from(GLOSSY)
    given = np.full((200, 400), 0.5, np.float32)
    diffuse, mirrored = lit(setup).face.level
    got = lit_reference(setup, ArrayReference(data=given, pixel_size_um=20.0)).rows(0, 3)
    assert_allclose(got, 0.5 * diffuse + mirrored / 0.4, rtol=1e-6)
    image = scan(setup, reference=given)
    told = float(image.budget["signal"]["electrons_product"])
    assert_allclose(image.expected_e[5:-5, 5:-5].mean(), told, rtol=1e-5)


def test_a_relief_that_cannot_be_read_is_told_by_its_own_key(tmp_path: Path) -> None:
    """Cut short, or gone since the setup was read: the sentence names target.relief."""
    whole = (ROOT / "sample_targets" / "foil_relief.png").read_bytes()
    (tmp_path / "relief.png").write_bytes(whole[:20_000])
    changes = {"target.relief": "relief.png", "target.relief_range": "1 um"}
    setup = changed(setup_from(GLOSSY, tmp_path), changes)
    with pytest.raises(InputError, match=r'^target\.relief "relief\.png" is cut short'):
        budget(setup)
    (tmp_path / "relief.png").unlink()
    with pytest.raises(InputError, match=r'^target\.relief "relief\.png" does not exist'):
        budget(setup)


@pytest.mark.parametrize(
    ("heights", "range_um", "told"),
    [
        (np.zeros((10, 400), np.uint16), 1.0, "read 400 x 10 pixels, but the target has 400 x 200"),
        (np.zeros((200, 400, 3), np.uint8), 1.0, "read a colour image"),
        (
            np.tile(np.array([0, 0, 65535, 65535], np.uint16), (200, 100)),
            5000.0,
            "expected a smaller relief",
        ),
    ],
)
def test_a_relief_that_does_not_fit_is_refused(
    heights: NDArray[np.uint16], range_um: float, told: str, tmp_path: Path
) -> None:
    """With its name, what was read and what is expected."""
    iio.imwrite(tmp_path / "relief.png", heights)
    setup = changed(
        setup_from(GLOSSY, tmp_path),
        {"target.relief": "relief.png", "target.relief_range": f"{range_um} um"},
    )
    with pytest.raises(InputError, match=told):
        scan(setup)
