"""``linesim measure camera``: what it writes and prints, and what it refuses."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from linesim.files.images_out import write_tiff
from linesim.files.samples_in import load_samples
from linesim.studies.measure.camera import table
from linesim.studies.measure.camera.outputs import camera_toml
from linesim.studies.measure.camera.study import measure_camera

HEAD = "file,kind,exposure_us,photons\n"
SHAPE = (24, 32)
OPTIONS = ("--wavelength", "530 nm", "--pixel", "7.5 um")


def frame(signal_dn: float, seed: int) -> np.ndarray:
    """Draw a frame of a plain camera: K 0.5 DN/e, 4 DN of dark noise, black at 64 DN, 12 bit."""
    rng = np.random.default_rng(seed)
    seen = 64 + 0.5 * rng.poisson(2 * signal_dn, SHAPE) + rng.normal(0, 4, SHAPE)
    return np.asarray(np.clip(np.rint(seen), 0, 4095), dtype=np.uint16)


def write_series(folder: Path, levels: tuple[float, ...] = (50, 1000, 2000, 3000, 4500)) -> None:
    """Write frames and series.csv into a folder: steps of light, and the dark at two exposures."""
    rows = []
    for place, level in enumerate(levels):
        for half in range(2):
            name = f"flat_{place}_{half}.tif"
            write_tiff(folder / name, frame(level, 10 * place + half))
            rows.append(f"{name},flat,100,{4 * level}")
    for place, exposure in enumerate((100, 1000)):
        for half in range(2):
            name = f"dark_{place}_{half}.tif"
            write_tiff(folder / name, frame(0, 1000 + 10 * place + half))
            rows.append(f"{name},dark,{exposure},")
    (folder / "series.csv").write_text(HEAD + "\n".join(rows) + "\n", "utf-8")


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the drawing of the page to the test of the page."""
    monkeypatch.setattr("linesim.studies.measure.camera.outputs.camera_page", lambda _: b"undrawn")


@pytest.mark.usefixtures("undrawn")
def test_what_it_leaves_and_says(run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
    """A section, figures and a page; on the console each group, its meaning and the cautions."""
    write_series(tmp_path)
    code, out = run("measure", "camera", "series.csv", *OPTIONS)
    assert code == 0
    folder = tmp_path / "outputs" / "series"
    assert sorted(path.name for path in folder.iterdir()) == [
        "camera.json",
        "camera.png",
        "camera.toml",
    ]
    for said in (
        "system gain K",
        "efficiency at 530 nm",
        "dark current, by mean",
        "saturation: the last step at which no more than 0.2 %",
        "with a free offset, as Release 4.0 words it",
        "by the form of Release 3",
        "few_steps",
        "IEC 62471",
        "wrote camera.toml, camera.json, camera.png in outputs/series/",
    ):
        assert said in " ".join(out.split()), said
    assert max(map(len, out.splitlines())) <= 100


def test_a_figure_lies_between_its_ends(tmp_path: Path) -> None:
    """In every group; the gain is the one that the frames were drawn with."""
    write_series(tmp_path)
    found: dict[str, Any] = dict(measure_camera(tmp_path / "series.csv").as_dict())
    assert found["range"]["saturation_rule"] == "share"
    assert len(found["steps"]) == 7
    for group in ("transfer", "dark", "range", "linearity", "pattern"):
        for name, (low, high) in found["intervals"][group].items():
            assert low <= found[group][name] <= high, name
    low, high = found["intervals"]["transfer"]["gain_dn_e"]
    # 0.5 within 4.5 standard errors, which are 1/1.96 of half the interval
    assert found["transfer"]["gain_dn_e"] == pytest.approx(0.5, abs=4.5 * (high - low) / 3.92)


@pytest.mark.usefixtures("undrawn")
def test_json_is_the_file(run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
    """One object on stdout, that of camera.json."""
    write_series(tmp_path)
    code, out = run("measure", "camera", "series.csv", "--json", "--out", "here")
    assert code == 0
    assert out == (tmp_path / "here" / "camera.json").read_text("utf-8")


@pytest.mark.nightly
def test_the_same_frames_give_the_same_bytes(
    run: Callable[..., tuple[int, str]], tmp_path: Path
) -> None:
    """Measuring again changes no byte of any file."""
    write_series(tmp_path)
    for name in ("one", "two"):
        assert run("measure", "camera", "series.csv", *OPTIONS, "--out", name)[0] == 0
    for name in ("camera.toml", "camera.json", "camera.png"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_exposure_times_alone_are_light_enough(tmp_path: Path) -> None:
    """Without a column of light, longer is brighter: gain and range, but no efficiency."""
    rows = ["file,kind,exposure_us"]
    for place, exposure in enumerate((10, 100, 200, 300, 450)):
        for half in range(2):
            for kind, level in (("flat", 10 * exposure), ("dark", 0)):
                name = f"{kind}_{place}_{half}.tif"
                write_tiff(tmp_path / name, frame(level, len(rows)))
                rows.append(f"{name},{kind},{exposure}")
    (tmp_path / "times.csv").write_text("\n".join(rows), "utf-8")
    found: dict[str, Any] = dict(measure_camera(tmp_path / "times.csv").as_dict())
    low, high = found["intervals"]["transfer"]["gain_dn_e"]
    assert found["transfer"]["gain_dn_e"] == pytest.approx(0.5, abs=4.5 * (high - low) / 3.92)
    assert "quantum_efficiency" not in found["transfer"]
    assert found["range"]["saturation_e"] == pytest.approx(6000, rel=0.1)
    assert not any("photons" in name for name in found["range"])


def test_a_lens_cap_that_never_came_off(tmp_path: Path) -> None:
    """A series that does not saturate says that its range is a lower limit, and gives no well."""
    write_series(tmp_path, (50, 500, 1000, 1500))
    found = measure_camera(tmp_path / "series.csv", bit_depth=12)
    out, text = table.text(found), camera_toml(found)
    assert "not_saturated" in out
    assert "at least" in out
    assert "# full_well: more than" in text
    assert "\nfull_well" not in text
    assert "# pixel_width" in text
    assert "depth_guessed" not in out


Spoil = Callable[[str], str]


def swap(one: str, other: str) -> Spoil:
    """Give a function that lets two names change places."""
    return lambda text: text.replace(one, "@").replace(other, one).replace("@", other)


REFUSED: dict[str, tuple[Spoil, tuple[str, ...], str]] = {
    "no wavelength": (
        lambda text: text.replace("photons", "irradiance_w_m2"),
        ("--pixel", "7.5 um"),
        "--wavelength: nothing was read, but an irradiance needs it",
    ),
    "no pixel": (
        lambda text: text.replace("photons", "irradiance_w_m2"),
        ("--wavelength", "530 nm"),
        "--pixel: nothing was read, but an irradiance needs it",
    ),
    "no unit": (str, ("--pixel", "7.5"), '--pixel: read "7.5", but the unit is missing'),
    "no light": (str, ("--wavelength", "5 m"), '--wavelength: read "5 m", but'),
    "height alone": (str, ("--pixel-height", "9 um"), "--pixel-height: a height was read, but no"),
    "missing file": (
        lambda text: text.replace("flat_1_0", "flat_1_9"),
        (),
        'line 4: file "flat_1_9.tif" does not exist',
    ),
    "no dark": (
        lambda text: text.replace(",dark,100,", ",dark,99,"),
        (),
        "there are no dark frames at 100 us",
    ),
    "another light": (
        swap("flat_1_1", "flat_2_1"),
        (),
        "the frames are said to be of the same light, but their means go from",
    ),
    "wrong depth": (str, ("--bit-depth", "10"), "holds the sample 4095 DN, but 10 bit end at"),
    "flat for dark": (swap("flat_1", "dark_0"), (), "lines 2, 3: the flat frames are darker than"),
    "dim for bright": (
        swap("flat_1", "flat_2"),
        (),
        "but lines 4, 5 with no more light have 2000 DN; expected more signal from more light",
    ),
    "only bright ones": (
        lambda text: "".join(
            line for line in text.splitlines(keepends=True) if not re.match("flat_[0123]", line)
        ),
        (),
        "even the dimmest step is saturated; expected evenly lit frames from dim to saturated",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("spoil", "options", "told"), REFUSED.values(), ids=REFUSED)
def test_what_is_refused(
    spoil: Spoil, options: tuple[str, ...], told: str, here: Path, refused: Callable[..., str]
) -> None:
    """A sentence on stderr, exit code 2, and nothing written."""
    write_series(here)
    table = here / "series.csv"
    table.write_text(spoil(table.read_text("utf-8")), "utf-8")
    assert told in refused("measure", "camera", "series.csv", *options)


def test_frames_that_do_not_fit_are_told_together(here: Path, refused: Callable[..., str]) -> None:
    """A smaller frame, one of 8 bit, one in colour and one that is no image: four sentences."""
    write_series(here)
    write_tiff(here / "flat_0_0.tif", frame(50, 1)[:, :-1])
    write_tiff(here / "flat_1_0.tif", np.full(SHAPE, 200, dtype=np.uint8))
    write_tiff(here / "flat_2_0.tif", np.full((*SHAPE, 3), 900, dtype=np.uint16))
    (here / "dark_0_0.tif").write_bytes(b"II*\0nothing")
    told = refused("measure", "camera", "series.csv").splitlines()
    assert len(told) == 4
    for part in (
        '"flat_0_0.tif" has 24 lines of 31 pixels, but other frames have 24 of 32',
        '"flat_1_0.tif" holds samples of 8 bit, but 12 bit are taken for all',
        '"flat_2_0.tif" is a colour image; expected one channel',
        'dark_0_0.tif"',
    ):
        assert any(part in line for line in told), part


def test_samples_that_were_shifted_up(tmp_path: Path) -> None:
    """Twelve bits in the upper part of sixteen: the same camera, told in a caution."""
    write_series(tmp_path)
    plain = measure_camera(tmp_path / "series.csv").as_dict()
    for path in tmp_path.glob("*.tif"):
        write_tiff(path, load_samples(path).image_dn * np.uint16(16))
    shifted = measure_camera(tmp_path / "series.csv")
    assert "samples_shifted" in [caution.code for caution in shifted.cautions]
    assert "depth_guessed" not in [caution.code for caution in shifted.cautions]
    assert shifted.frames.word.bit_depth == 12
    for group in ("transfer", "dark", "range", "pattern", "steps"):
        assert shifted.as_dict()[group] == plain[group]
