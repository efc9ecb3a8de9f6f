"""A captured image against the prediction: nothing off when nothing is, else the right thing."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from scipy.ndimage import gaussian_filter
from skimage import data
from typer.testing import CliRunner

from linesim.cli.app import app
from linesim.figures.safety import MACHINERY
from linesim.metrics.scene.compared import has_structure, jackknife, shifted
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.load import changed, load_setup
from linesim.setup.resolve import resolved_text
from linesim.studies.measure.against import table
from linesim.studies.measure.against.agreement import Agreement, Difference
from linesim.studies.measure.against.study import measure_against
from linesim.studies.scan.study import scan

# scikit-image's photograph of gravel (CC0), as target of 2 pixels an object pixel
GRAVEL = changed(
    load_setup(Path(__file__).parents[3] / "sample_targets" / "gravel_belt.toml"),
    {"lens.blur": "3 um"},
)


def grey(found: Agreement) -> tuple[Difference, ...]:
    """Give the figures of the only channel."""
    return found.differences["grey"]


def shift(found: Agreement) -> tuple[float, float]:
    """Give the place of the image, in lines and columns."""
    figures = found.geometry.figures
    return figures["shift_along_px"].value, figures["shift_across_px"].value


def against(changes: dict[str, Any], seed: int = 5) -> Agreement:
    """Compare a scan of a changed station with the prediction of the unchanged one."""
    return measure_against(GRAVEL, scan(changed(GRAVEL, changes), seed).image)


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_off_where_nothing_is(seed: int) -> None:
    """A scan of the predicted station: each figure within 5 of its own errors, no finding."""
    found = against({}, seed)
    assert found.findings == () == found.explanations
    assert {each.name for each in grey(found)} >= {
        "electrons_white", "noise_white_e", "snr_white", "mtf50_x_lp_mm", "mtf50_y_lp_mm",
        "black_dn", "light_ends", "column_pattern", "line_light",
    }  # fmt: skip
    assert max(abs(each.sigma) for each in grey(found)) < 5
    assert shift(found) == pytest.approx((0.0, 0.0), abs=0.01)


@pytest.mark.parametrize(
    ("changes", "word", "off"),
    [
        ({"lens.blur": "6 um"}, "Lens", {"mtf50_x_lp_mm", "mtf50_y_lp_mm"}),
        ({"light.illuminance": "2.4 klx"}, "Light", {"electrons_white", "snr_white"}),
        ({"camera.read_noise": "25 e"}, "Read noise", {"noise_white_e", "dark_noise_e"}),
        # 18 % more number for an electron: as bright as more light, but noisier
        ({"camera.gain": "0.12 DN/e"}, "Gain", {"electrons_white", "gain_dn_e"}),
        ({"camera.black_level": 60}, "Black level", {"black_dn"}),
        ({"light.edge_falloff": 0.05}, "Fall-off", {"light_ends"}),
        ({"camera.prnu": 0.015}, "Columns", {"column_pattern"}),
        ({"light.flicker": 0.03, "light.flicker_frequency": "300 Hz"}, "Line light",
         {"line_light"}),
        # lines swing by a v / (2π g), 0.24 of a line
        ({"transport.speed_ripple": 0.03, "transport.ripple_frequency": "100 Hz"}, "Line places",
         set()),
        ({"acquisition.exposure": "60 us", "light.illuminance": "10 klx"}, "Motion",
         {"mtf50_y_lp_mm"}),
    ],
)  # fmt: skip
def test_what_is_off_is_named(changes: dict[str, Any], word: str, off: set[str]) -> None:
    """Blur, light, read noise, gain, black, fall-off, streaks, flicker, pace, motion: by name."""
    found = against(changes)
    assert {each.name for each in grey(found) if each.is_off} >= off
    heads = {sentence.partition(":")[0] for sentence in found.findings}
    # with less motion blur the light was raised by hand, and not to the digit
    assert heads - ({"Light", "Signal"} if word == "Motion" else set()) == {word}


def test_the_blur_found_is_the_blur_put_in() -> None:
    """
    Twice the lens's blur: MTF50 measured is that of the blurred station's own closed form.

    Within 5 errors and 2 %, since the fit's Gaussian is exact but the blur folds with the samples.
    """
    found = against({"lens.blur": "6 um"})
    own = measure_against(changed(GRAVEL, {"lens.blur": "6 um"}), scan(GRAVEL, 1).image)
    for name in ("mtf50_x_lp_mm", "mtf50_y_lp_mm"):
        seen, other = (
            next(each for each in grey(one) if each.name == name) for one in (found, own)
        )
        assert seen.measured.value == pytest.approx(other.predicted, rel=0.02)
        assert seen.predicted != other.predicted


def test_an_image_that_starts_later_is_brought_into_register() -> None:
    """The same scan cut by seven lines at its start, and three columns' rim: found again."""
    image = scan(GRAVEL, 3).image
    late = image[7:]
    found = measure_against(GRAVEL, late)
    assert shift(found) == pytest.approx((-7.0, 0.0), abs=0.02)
    assert found.findings == () == found.explanations


def test_a_flat_target_gives_signal_and_noise_alone() -> None:
    """Without detail there is nothing to say of sharpness, and nothing is off."""
    flat = changed(GRAVEL, {"target.image": "flat", "acquisition.lines": 300})
    found = measure_against(flat, scan(flat, 2).image)
    assert [each.name for each in grey(found)] == [
        "electrons_white", "noise_white_e", "snr_white", "light_ends", "light_right_left",
        "column_pattern", "line_light",
    ]  # fmt: skip
    assert found.findings == ()
    assert not found.detailed
    assert "scale_along" not in found.as_dict()


def test_bright_light_is_cautioned_of_here_too() -> None:
    """As everywhere where a station is told of; none of it where the light is dim."""
    even = {"target.image": "flat", "target.white_reflectance": 0.3, "acquisition.lines": 190}
    flat = changed(GRAVEL, even)
    assert measure_against(flat, scan(flat, 1).image).cautions == ()
    bright = changed(flat, {"light.illuminance": "400 klx", "lens.f_number": 45.0})
    found = measure_against(bright, scan(bright, 1).image)
    assert [each.code for each in found.cautions] == ["bright_light", "heat_on_stop"]
    told = found.as_dict()["cautions"]
    assert told == [each.as_dict() for each in found.cautions]
    text = " ".join(table.text(found, "Gravel").split())
    assert "bright_light: 1262 W/m²" in text
    assert MACHINERY in text


@pytest.mark.parametrize(
    ("image", "told"),
    [
        (np.full((300, 300), 500, dtype=np.uint16), "300 x 300"),
        (np.full((300, 256), 500, dtype=np.uint16), "does not look like the setup's target"),
        (np.full((100, 256), 500, dtype=np.uint16), "100 x 256"),
        (np.full((300, 256, 3), 500, dtype=np.uint16), "300 x 256 x 3"),
        (np.full((300, 256), 4095, dtype=np.uint16), "end of the scale"),
    ],
)
def test_an_image_of_another_camera_is_refused(image: np.ndarray[Any, Any], told: str) -> None:
    """Width, channels, size and clipping are judged before anything is compared."""
    with pytest.raises(InputError, match=told):
        measure_against(GRAVEL, image)


@pytest.mark.nightly
def test_a_colour_capture_is_judged_colour_by_colour() -> None:
    """
    A three-line camera on a web whose speed swings by 10 % at 60 Hz: what all colours share once.

    Each row sees a strip at its own time, so that lines are followed through softened images.
    """
    folder = Path(__file__).parents[3] / "sample_targets"
    setup = changed(
        load_setup(folder / "tile_three_line.toml"),
        {"camera.pixels": 200, "acquisition.lines": 300},
    )
    swing = {"transport.speed_ripple": 0.1, "transport.ripple_frequency": "60 Hz"}
    found = measure_against(setup, scan(changed(setup, swing), 2).image)
    assert list(found.differences) == ["red", "green", "blue"]
    (shared,) = [each for each in found.findings if "Line places" in each]
    assert shared.startswith("red, green, blue: Line places")
    told = float(shared.partition("transport.speed_ripple = ")[2].split()[0])
    assert told == pytest.approx(0.1, rel=0.05)
    assert {each.name for each in found.differences["blue"]} > {"electrons_white", "mtf50_x_lp_mm"}


def photograph() -> FloatArray:
    """Give scikit-image's gravel (CC0) as numbers, somewhat soft."""
    taken = data.gravel()  # type: ignore[no-untyped-call]
    return np.asarray(gaussian_filter(taken.astype(np.float64), 0.7))


def test_an_image_moves_by_part_of_a_sample() -> None:
    """A sine of 32 samples moves by what is asked; far from the rim, to a hundredth."""
    x = np.arange(256) * 2 * np.pi / 32
    moved = shifted(np.sin(x)[None, :] + np.zeros((96, 1)), 0.0, 0.37)
    truth = np.sin(x - 0.37 * 2 * np.pi / 32)
    assert np.abs(moved[48, 32:-32] - truth[32:-32]).max() < 0.01


def test_the_jackknife_of_a_mean_is_its_standard_error() -> None:
    """Of values that differ from band to band alone: s/√n, over the bands that differ."""
    values = np.random.default_rng(1).normal(size=6)
    parts = np.stack([np.repeat(values[:, None], 4, axis=1), np.ones((6, 4))], axis=2)
    (mean,) = jackknife(parts, lambda total: total[:1] / total[1])
    assert mean.value == pytest.approx(values.mean())
    assert mean.sd == pytest.approx(values.std(ddof=1) / np.sqrt(6))


def test_structure_is_told_from_noise() -> None:
    """A photograph has detail, an even area none."""
    assert has_structure(photograph(), 4.0)
    assert not has_structure(np.full((200, 200), 7.0), 4.0)


def test_a_folder_of_captures_is_held_against_one_setup(tmp_path: Path) -> None:
    """Each capture by its name, what is none with its sentence; one finding is enough to fail."""
    dim = changed(GRAVEL, {"light.illuminance": "2.2 klx"})
    for name, setup in {"a": GRAVEL, "b": dim}.items():
        tifffile.imwrite(tmp_path / f"{name}.tif", scan(setup, 6).image)
    (tmp_path / "c.png").write_bytes(b"none")
    told = tmp_path / "setup.toml"
    told.write_text(resolved_text(GRAVEL, tmp_path), "utf-8")
    asked = ["measure", "against", str(told), str(tmp_path), "--json", "--strict"]
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 1
    found = json.loads(done.stdout)
    heads = [[each.partition(":")[0] for each in one["findings"]] for one in found["captures"]]
    assert heads == [[], ["Light"]]
    assert list(found["refused"]) == ["c.png"]


@pytest.mark.parametrize("seed", [0, 1])
def test_streaks_in_dim_light_are_those_predicted(seed: int) -> None:
    """Coated foil in too little light, its margins bright: DSNU weighs most where it is dim."""
    dim = load_setup(Path(__file__).parents[3] / "sample_targets" / "foil_dim.toml")
    image = scan(dim, seed).image
    found = measure_against(dim, image)
    assert found.findings == ()
    (columns,) = [each for each in grey(found) if each.name == "column_pattern"]
    assert abs(columns.sigma) < 4


@pytest.mark.nightly
def test_a_part_that_could_lie_anywhere_is_not_judged() -> None:
    """Hardly any detail over its noise: no place is found, and a sentence says so."""
    dim = load_setup(Path(__file__).parents[3] / "sample_targets" / "foil_dim.toml")
    with pytest.raises(InputError, match="cannot be brought into register"):
        measure_against(dim, scan(dim, 0).image[30:200, 20:200])
