"""A setup fitted to a capture of a plain camera, from the command line to the setup that runs."""

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import tifffile
from typer.testing import CliRunner

from linesim.cli.app import app
from linesim.setup.arguments import copied
from linesim.setup.errors import InputError
from linesim.setup.load import changed, load_setup, setup_from
from linesim.setup.resolve import resolved_text
from linesim.studies.fit.study import fit
from linesim.studies.fit.words import answer
from linesim.studies.scan.study import scan
from tests.studies.plain_camera import Lies, capture

if TYPE_CHECKING:
    from tests.studies.fit.conftest import Job

WRONG: dict[str, Any] = {
    "light.irradiance": "50 W/m^2",
    "camera.gain": "0.11 DN/e",
    "camera.black_level": "60 DN",
    "lens.blur": "4.5 um",
    "camera.prnu": 0.003,
    "light.edge_falloff": 0.0,
    # the truth has the rate of 1000 mm/s in Hz; believed in 1010 the clock would run faster
    "acquisition.line_rate": "matched",
    "transport.assumed_speed": "1010 mm/s",
}
KEYS = (
    "light.irradiance",
    "camera.gain",
    "camera.black_level",
    "lens.blur",
    "camera.prnu",
    "light.edge_falloff",
    "transport.assumed_speed",
    "transport.skew",
)
LIES = Lies(along_um=130.0, across_um=-40.0, turn_deg=0.2)


@pytest.fixture(scope="module")
def folder(small: "Job", tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the target, the setup with wrong numbers, and a capture; fit the one to the other."""
    folder = tmp_path_factory.mktemp("fit")
    tifffile.imwrite(folder / "target.tif", small.reference)
    tifffile.imwrite(folder / "capture.tif", small.capture(5, LIES))
    texts = copied(small.believed({**WRONG, "title": "Plain"}).texts)
    texts["target"] |= {"image": "target.tif", "width": None, "height": None}
    text = resolved_text(setup_from(texts, folder), folder)
    (folder / "setup.toml").write_text(text, "utf-8")
    done = CliRunner().invoke(
        app,
        [
            "fit",
            str(folder / "setup.toml"),
            str(folder / "capture.tif"),
            "--keys",
            ",".join(KEYS),
            "--out",
            str(folder / "out"),
            "--report",
            "--json",
        ],
    )
    assert done.exit_code == 0, done.output
    (folder / "printed.json").write_text(done.stdout, "utf-8")
    return folder


def read(folder: Path) -> Any:  # noqa: ANN401 -- JSON
    """Read what was printed; NaN and infinities are no JSON."""

    def refuse(name: str) -> None:
        raise ValueError(name)

    return json.loads((folder / "printed.json").read_text("utf-8"), parse_constant=refuse)


def test_the_truth_is_found(small: "Job", folder: Path) -> None:
    """Each key within 4.5 standard errors, by its 95 % interval of 1.96 to both sides."""
    found, plain = read(folder), small.plain
    truth = {
        "light.irradiance": plain.irradiance_w_m2,
        "camera.gain": plain.gain_dn_e,
        "camera.black_level": plain.black_dn,
        "lens.blur": plain.blur_um,
        "camera.prnu": plain.prnu,
        "light.edge_falloff": plain.edge_falloff,
        "transport.assumed_speed": plain.speed_mm_s,
        "transport.skew": LIES.turn_deg,
    }
    for name, value in truth.items():
        each = found["keys"][name]
        reach = 4.5 / 1.96 * max(each["high"] - each["value"], each["value"] - each["low"])
        assert each["value"] == pytest.approx(value, abs=reach), name
    assert found["left"] == {}
    assert found["settled"]


def test_the_place_is_found(small: "Job", folder: Path) -> None:
    """To 0.02 samples and 0.0005 of scale, of what the plain camera was told."""
    (one,) = read(folder)["captures"]
    side_um = small.plain.pixel_um / small.plain.magnification
    # lines lie as far apart as the fitted clock has them, and are counted from its first
    speed = read(folder)["keys"]["transport.assumed_speed"]["value"]
    advance_um, middle = side_um * small.plain.speed_mm_s / speed, (small.lines - 1) / 2
    along_um = (middle + one["along_px"]) * advance_um - middle * side_um
    assert along_um / side_um == pytest.approx(LIES.along_um / side_um, abs=0.02)
    assert one["across_px"] == pytest.approx(LIES.across_um / side_um, abs=0.02)
    assert one["scale_across"] == pytest.approx(1.0, abs=5e-4)


def test_noise_alone_is_left(folder: Path) -> None:
    """Squares of what is left over the noise: 1 within 4.5 errors √(2/n), less two a column."""
    (one,) = read(folder)["captures"]
    count = one["lines_fitted"] * one["columns_fitted"]
    freedom = 1 - 2 / one["lines_fitted"]
    assert one["misfit_before"] > 1.5
    assert freedom - 4.5 * np.sqrt(2 / count) < one["misfit_after"] ** 2
    assert one["misfit_after"] ** 2 < 1 + 4.5 * np.sqrt(2 / count)


def test_what_is_written_runs(folder: Path) -> None:
    """The fitted setup loads and has the fitted values; page and changes lie beside it."""
    found, fitted = read(folder), load_setup(folder / "out" / "fitted.toml")
    assert fitted.lens.blur_um == pytest.approx(found["keys"]["lens.blur"]["value"], rel=1e-5)
    assert json.loads((folder / "out" / "fit.json").read_text("utf-8")) == found
    assert "noise alone" in (folder / "out" / "report.html").read_text("utf-8")
    rows = (folder / "out" / "changes.csv").read_text("utf-8").splitlines()
    assert len(rows) == 1 + len(KEYS)
    assert str(folder) not in (folder / "out" / "fit.json").read_text("utf-8")


def test_keys_that_do_the_same_are_named(small: "Job") -> None:
    """Light and transmission multiply the same: the later one stays, and its partner is named."""
    setup = changed(small.truth, {"light.irradiance": "55 W/m^2"})
    found = fit(
        setup,
        [small.capture(6)],
        keys=["light.irradiance", "lens.transmission"],
        reference=small.reference,
    )
    (left,) = found.left
    assert (left.name, left.partners) == ("lens.transmission", ("light.irradiance",))
    assert left.correlation == pytest.approx(1.0)
    (told,) = found.found
    assert answer(found)[0].startswith("The one key that the capture tells, light.irradiance, is ")
    assert told.interval.value == pytest.approx(small.plain.irradiance_w_m2, rel=0.005)
    assert found.after.lens.transmission == setup.lens.transmission


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (["lens.blurs"], "did you mean lens.blur"),
        (["transport.encoder_step"], "transport.speed"),
        (["light.illuminance"], "no one number"),
        ([], "expected keys"),
        ([" ", ""], "expected keys"),
    ],
)
def test_other_keys_are_refused(small: "Job", keys: list[str], said: str) -> None:
    """What no fit finds, or this setup does not have, is refused in a sentence."""
    with pytest.raises(InputError, match=said):
        fit(small.truth, [small.capture(1)], keys=keys, reference=small.reference)


@pytest.mark.parametrize(
    ("taken", "said"),
    [
        ({2: {"acquisition.exposure": "50 us"}}, "read image 2; expected 1, as one image"),
        ({1: {"lens.blur": "3 um"}}, "of image 1: read lens.blur, which is to be fitted"),
    ],
)
def test_what_is_said_of_captures_is_refused_by_its_option(
    small: "Job", taken: dict[int, dict[str, object]], said: str
) -> None:
    """A capture that is not there, a key that is fitted: the option's name and what was read."""
    with pytest.raises(InputError, match=f"--taken.*{said}"):
        fit(small.truth, [small.capture(1)], keys=["lens.blur"], conditions=taken)


@pytest.mark.parametrize(
    ("shape", "said"),
    [((60, 60, 3), "one channel"), ((64, 400), "delivers 112"), ((9, 9), "9 x 9")],
)
def test_other_images_are_refused(small: "Job", shape: tuple[int, ...], said: str) -> None:
    """Colour, a wider line, next to nothing: refused before anything is fitted."""
    image = np.full(shape, 400, dtype=np.uint16)
    with pytest.raises(InputError, match=said):
        fit(small.truth, [image], reference=small.reference)


def test_what_is_far_off_is_refused(small: "Job") -> None:
    """Ten times the light, and no key that could say so: a sentence, not noise made of it."""
    setup = changed(small.truth, {"light.irradiance": "600 W/m^2"})
    with pytest.raises(InputError, match="times the noise"):
        fit(setup, [small.capture(7)], keys=["lens.blur"], reference=small.reference)


@pytest.mark.nightly
def test_several_captures_tell_what_one_does_not(small: "Job") -> None:
    """
    Two exposures of one target: each key within 4.5 standard errors, black better than by one.

    The second is taken at half the exposure, which is said; so black is what both have in common.
    """
    plain = replace(small.plain, exposure_us=small.plain.exposure_us / 2)
    half = capture(small.target, plain, small.lines, 12)
    wrong = {"light.irradiance": "52 W/m^2", "camera.black_level": "60 DN"}
    taken = {2: {"acquisition.exposure": f"{plain.exposure_us!r} us"}}
    names = ["light.irradiance", "camera.black_level", "lens.blur"]
    setup, images = changed(small.truth, wrong), [small.capture(11), half]
    alone = fit(setup, images[:1], keys=names, reference=small.reference)
    both = fit(setup, images, keys=names, conditions=taken, reference=small.reference)
    truth = (small.plain.irradiance_w_m2, small.plain.black_dn, small.plain.blur_um)
    for each, value in zip(both.found, truth, strict=True):
        reach = 4.5 / 1.96 * (each.interval.high - each.interval.low) / 2
        assert each.interval.value == pytest.approx(value, abs=reach), each.name
    widths = [one.found[1].interval.high - one.found[1].interval.low for one in (alone, both)]
    assert widths[1] < widths[0]


def test_a_speed_ripple_is_found_with_its_frequency(small: "Job") -> None:
    """Speed by 2 % at 300 Hz, of which the setup knows nothing: to a tenth, and to a twentieth."""
    plain = replace(small.plain, ripple=0.02, ripple_hz=300.0)
    found = fit(
        small.truth,
        [capture(small.target, plain, small.lines, 13)],
        keys=["light.irradiance", "transport.speed_ripple"],
        reference=small.reference,
    )
    assert found.after.transport.speed_ripple == pytest.approx(0.02, rel=0.1)
    assert found.after.transport.ripple_frequency_hz == pytest.approx(300, rel=0.05)


def test_what_is_out_of_focus_is_found(small: "Job") -> None:
    """Half a depth of field off: the distance within 4.5 standard errors, whichever its sign."""
    away_mm = 3.0
    found = fit(
        changed(small.truth, {"lens.defocus": "1 mm"}),
        [capture(small.target, replace(small.plain, defocus_mm=away_mm), small.lines, 14)],
        keys=["light.irradiance", "lens.defocus"],
        reference=small.reference,
    )
    each = next(one for one in found.found if one.name == "lens.defocus")
    reach = 4.5 / 1.96 * (each.interval.high - each.interval.low) / 2
    assert abs(each.interval.value) == pytest.approx(away_mm, abs=reach)
    assert reach < away_mm


@pytest.mark.nightly
def test_a_larger_part_that_could_lie_anywhere_is_refused() -> None:
    """Of dim foil with little detail, a quarter: refused, not fitted to a chance."""
    dim = load_setup(Path(__file__).parents[3] / "sample_targets" / "foil_dim.toml")
    with pytest.raises(InputError, match="cannot be brought into register"):
        fit(dim, [scan(dim, 0).image[60:160, 60:180]])


def test_a_part_that_could_lie_anywhere_is_refused(tmp_path: Path) -> None:
    """Of dim foil with little detail, a small part: refused, not fitted to a chance."""
    dim = load_setup(Path(__file__).parents[3] / "sample_targets" / "foil_dim.toml")
    image = scan(dim, 0).image
    for part in [image[:40, :50]]:
        with pytest.raises(InputError, match="cannot be brought into register"):
            fit(dim, [part])
    (tmp_path / "fitted.toml").write_text(resolved_text(dim, tmp_path), "utf-8")
    tifffile.imwrite(tmp_path / "scan.tif", image)
    asked = [
        "fit",
        str(tmp_path / "fitted.toml"),
        str(tmp_path / "scan.tif"),
        "--out",
        str(tmp_path),
    ]
    done = CliRunner().invoke(app, asked)
    assert isinstance(done.exception, InputError)
    assert "would replace the setup that was read" in str(done.exception)
