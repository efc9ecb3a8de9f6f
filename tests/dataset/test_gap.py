"""The gap report: what is put between a set and its counterpart is what is proposed."""

import json
from pathlib import Path

import numpy as np
import pytest
import skimage.data

from linesim.cli import main
from linesim.dataset.gap.figures import figures_of, fine_sigma_px
from linesim.dataset.gap.gap import Gap, gap_text, measure_gap
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import plan_from
from linesim.files.images_out import write_png, write_tiff
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.errors import InputError
from linesim.setup.load import changed, load_setup
from linesim.workers.tasks import Alone
from tests.stations import plain_toml

STATION = plain_toml(
    "Gravel",
    target={"pixel_size": "100 um", "encoding": "linear"},
    lens={"magnification": 0.05, "blur": "2 um"},
    light={"illuminance": "30 klx"},
    camera={"pixels": 192, "prnu": 0.004},
)
REAL = {
    "light.illuminance": "42 klx",
    "camera.read_noise": "60 e",
    "camera.prnu": 0.03,
    "camera.pattern_seed": 3,
    "lens.blur": "6 um",
}


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[Gap, Gap, Path]:
    """Make a set of good images, and 6 images of the same product at a station that differs."""
    where = tmp_path_factory.mktemp("gap")
    (where / "station.toml").write_text(STATION, "utf-8")
    gravel = np.asarray(skimage.data.gravel())  # type: ignore[no-untyped-call]
    gravel = np.rint(90 + 0.15 * gravel).astype(np.uint8)  # a gentle texture, as of a coating
    write_png(where / "gravel.png", gravel)
    texts = {
        "setup": "station.toml",
        "count": 6,
        "images": {"good_share": 1.0, "lines": 192},
        "scenes": {"files": ["gravel.png"]},
    }
    make_set(plan_from(texts, where), where / "set", Alone())
    setup = load_setup(where / "station.toml")
    real = []
    for keys, name in ((REAL, "real"), ({}, "same")):
        for k in range(6):
            piece = np.roll(gravel, 37 * k, axis=0)[:, 20 * k : 20 * k + 300] / 255
            target = ArrayReference(data=piece.astype(np.float32), pixel_size_um=100.0)
            scan = render(changed(setup, keys), target, 192, 100 + k).image
            write_tiff(where / f"{name}{k}.tif", scan, full_scale_dn=4095)
            real.append(where / f"{name}{k}.tif")
    return measure_gap(where / "set", real[:6]), measure_gap(where / "set", real[6:]), where


def test_what_differs_is_proposed(found: tuple[Gap, Gap, Path]) -> None:
    """
    Light x 1.4, read noise 60 e, PRNU 3 %, blur 6 µm: each within its range or near an end.

    Levels are medians of pieces of even texture: 2 %. Texture near half the sampling rate counts as
    noise, and is softer in the real images: 20 %. A PRNU of 192 columns is known to 5 % by 1/√(2n),
    by its robust spread to 8 %, less what the bell takes along: 25 %. The blur's formula takes the
    middles of its bands, and what noise there is in texture: 15 %.
    """
    ranges = {each.key: each.text for each in found[0].proposals}
    truth = {"light.illuminance": (42e3, 0.02), "camera.read_noise": (60, 0.2)}
    truth |= {"camera.prnu": (0.03, 0.25), "lens.blur": (6.0, 0.15)}
    assert set(ranges) == set(truth)
    for key, (value, slack) in truth.items():
        low, high = (float(end.split()[0]) for end in ranges[key].split(":"))
        assert low * (1 - slack) < value < high * (1 + slack), key


def test_nothing_is_proposed_where_nothing_differs(found: tuple[Gap, Gap, Path]) -> None:
    """The same station on other pieces: at most its light, by how bright the pieces are."""
    assert {each.key for each in found[1].proposals} <= {"light.illuminance"}


def test_the_report_says_what_to_write_into_a_plan(found: tuple[Gap, Gap, Path]) -> None:
    """Figures of both, and lines for [vary]."""
    told = gap_text(found[0])
    assert "6 good images of the set, 6 real ones" in told
    assert 'light.illuminance = "' in told
    assert "ranges to try in [vary]:" in told


def test_white_noise_is_what_it_is() -> None:
    """5 DN rms each way to 1 %, columns of 2 % of the level; no texture to tell sharpness by."""
    random = np.random.default_rng(1)
    columns = 1 + 0.02 * random.standard_normal(512)
    image = np.rint(400 * columns + 5 * random.standard_normal((1024, 512)) + 32).astype(np.uint16)
    look = figures_of(image, 32.0)
    # 5² and 1/12 of rounding; 4.5/√(2 · 524288 / 1.5) = 0.5 %
    assert look.along_dn == pytest.approx(np.sqrt(25 + 1 / 12), rel=0.01)
    assert look.level_dn == pytest.approx(400, rel=0.01)
    # a bell of 8 columns takes part of the spread with it, and 512 columns leave 4.5 · 5 %
    assert look.columns == pytest.approx(0.02, rel=0.25)
    assert np.isnan(look.fine_across)


def test_a_bell_is_found_by_what_it_dims() -> None:
    """Power falls by exp(-(2πfσ)²): 0.7 px from two bands' middles, there and back."""
    squares = np.array([(1 / 8 + 1 / 4) / 2, (1 / 32 + 1 / 12) / 2]) ** 2
    ratio = np.exp(-4 * np.pi**2 * 0.49 * (squares[0] - squares[1]))
    assert fine_sigma_px(1.0, ratio) == pytest.approx(0.7)
    assert fine_sigma_px(0.5, 1.0) == 0


def test_what_is_no_set_is_refused(tmp_path: Path) -> None:
    """A folder with nothing in it."""
    with pytest.raises(InputError, match="holds no set"):
        measure_gap(tmp_path, [])


def test_images_that_tell_nothing_are_refused(found: tuple[Gap, Gap, Path]) -> None:
    """Black, clipped or tiny real images: no light is proposed from them."""
    where = found[2]
    for name, image in {
        "black": np.zeros((100, 100), np.uint16),
        "white": np.full((100, 100), 4095, np.uint16),
        "tiny": np.full((5, 100), 500, np.uint16),
    }.items():
        write_tiff(where / f"{name}.tif", image, full_scale_dn=4095)
    bad = [where / f"{name}.tif" for name in ("black", "white", "tiny")]
    with pytest.raises(InputError) as refusal:
        measure_gap(where / "set", bad)
    assert len(refusal.value.faults) == 3
    assert "neither black nor clipped" in refusal.value.faults[0]


def test_the_command_gives_figures_and_lines_for_a_plan(
    found: tuple[Gap, Gap, Path],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """As text and as one JSON object, the same proposals."""
    where = found[2]
    real = [str(where / f"real{k}.tif") for k in range(6)]
    told = []
    for more in ([], ["--json"]):
        monkeypatch.setattr(
            "sys.argv", ["linesim", "measure", "gap", str(where / "set"), *real, *more]
        )
        with pytest.raises(SystemExit) as ended:
            main()
        assert not ended.value.code
        told.append(capsys.readouterr().out)
    proposals = json.loads(told[1])["proposals"]
    assert [each["key"] for each in proposals] == [each.key for each in found[0].proposals]
    assert all(f'{each["key"]} = "{each["text"]}"' in told[0] for each in proposals)
    assert json.loads(told[1])["set"]["p50"]["level_dn"] == found[0].simulated[1].level_dn
