"""A measured camera in words, as a section of a setup file and as a page."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from linesim.files.images_out import write_tiff
from linesim.metrics.interval import Interval
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.camera.outputs import camera_toml, write_camera
from linesim.studies.measure.camera.study import measure_camera
from linesim.studies.measure.camera.table import spoken, text

SHAPE = (24, 32)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> MeasuredCamera:
    """Measure a camera of K 0.5 DN/e, η 0.5 and 4 DN of dark noise; the dark at one exposure."""
    folder, rows = tmp_path_factory.mktemp("series"), ["file,kind,exposure_us,photons"]
    rng = np.random.default_rng(2)
    for signal_dn in (0, 100, 800, 1500, 2200, 3000, 4500):
        for half in range(2):
            seen = 64 + 0.5 * rng.poisson(2 * signal_dn, SHAPE) + rng.normal(0, 4, SHAPE)
            name = f"{signal_dn}_{half}.tif"
            write_tiff(folder / name, np.clip(np.rint(seen), 0, 4095).astype(np.uint16))
            kind = f"flat,100,{4 * signal_dn}" if signal_dn else "dark,100,"
            rows.append(f"{name},{kind}")
    (folder / "series.csv").write_text("\n".join(rows), "utf-8")
    return measure_camera(folder / "series.csv")


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ((0.09985, 0.09949, 0.10021), ("0.09985 DN", "0.09949 to 0.10021")),
        ((38357.4, 38219.2, 38495.6), ("38360 DN", "38220 to 38500")),
        ((16.0, 15.0, 17.0), ("16.0 DN", "15.0 to 17.0")),
        ((5.0, 5.0, 5.0), ("5 DN", "")),
    ],
)
def test_digits_follow_the_interval(
    ends: tuple[float, float, float], said: tuple[str, str]
) -> None:
    """Two digits of half the interval stay: 0.00036, 140 and 1.0; without one, the value."""
    value, low, high = ends
    assert spoken(Interval(value=value, low=low, high=high), "DN") == said


def with_figure(found: MeasuredCamera, name: str, figure: Interval) -> MeasuredCamera:
    """Give the camera another figure."""
    figures = {**found.transfer.figures, name: figure}
    return replace(found, transfer=replace(found.transfer, figures=figures))


def test_what_is_not_known_stands_as_a_comment(found: MeasuredCamera) -> None:
    """One dark exposure gives no dark current, and nobody told the pixel; the rest is there."""
    text = camera_toml(found)
    section = tomllib.loads(text)["camera"]
    assert set(section) == {
        "pixels", "quantum_efficiency", "read_noise", "full_well", "dsnu", "prnu", "bit_depth",
        "gain", "black_level",
    }  # fmt: skip
    assert "# dark_current: the dark was seen at one exposure only" in text
    assert "# pixel_width" in text
    assert "dark current included" in text


def test_an_efficiency_over_one_is_no_key(found: MeasuredCamera) -> None:
    """More electrons than photons: the light was told wrong, and a setup would refuse it."""
    text = camera_toml(with_figure(found, "efficiency", Interval(value=1.2, low=1.1, high=1.3)))
    assert "quantum_efficiency" not in tomllib.loads(text)["camera"]
    assert "# quantum_efficiency = 1.2000: over 1" in text


def test_without_light_there_is_no_efficiency(found: MeasuredCamera) -> None:
    """Exposure times alone give gain and range, in electrons only."""
    bare = replace(found, light=None)
    assert "# quantum_efficiency: cannot be told" in camera_toml(bare)
    assert "efficiency" not in bare.as_dict()["transfer"]  # type: ignore[operator]
    assert "photons" not in text(bare)


def test_the_page_is_a4(found: MeasuredCamera, tmp_path: Path) -> None:
    """210 x 297 mm at 150 dots an inch, to the dot; something is drawn on every tenth of it."""
    names = [path.name for path in write_camera(found, tmp_path)]
    assert names == ["camera.toml", "camera.json", "camera.png"]
    page = Image.open(tmp_path / "camera.png").convert("L")
    width, height = page.size
    assert width == pytest.approx(210 / 25.4 * 150, abs=1)
    assert height == pytest.approx(297 / 25.4 * 150, abs=1)
    strips = np.array_split(np.asarray(page), 10, axis=0)
    assert all(strip.min() < 128 for strip in strips)


def test_text_is_at_most_a_hundred_wide(found: MeasuredCamera) -> None:
    """The console's width."""
    assert max(map(len, text(found).splitlines())) <= 100


MADE = (
    ("gain_dn_e", "system gain K", "DN/e"),
    ("responsivity_dn", "responsivity R", "DN/photon"),
    ("dark_noise_e", "dark noise", "e"),
    ("dark_noise_dn", "", "DN"),
    ("black_level_dn", "black level", "DN"),
    ("saturation_e", "saturation capacity", "e"),
    ("snr_max", "largest SNR", ""),
    ("snr_max_db", "", "dB"),
    ("dynamic_range", "dynamic range", ""),
    ("dynamic_range_db", "", "dB"),
    ("threshold_e", "sensitivity threshold", "e"),
    ("threshold_light", "", "photons"),
)


def test_every_figure_has_its_label_and_unit(found: MeasuredCamera) -> None:
    """Figures made up, no two alike, each known to one; shares in percent."""
    made = found
    for number, (name, _, _) in enumerate(MADE, start=21):
        made = with_figure(made, name, Interval(value=number, low=number - 1, high=number + 1))
    made = with_figure(made, "efficiency", Interval(value=0.41, low=0.4, high=0.42))
    rows = [line.rstrip() for line in text(made).splitlines()]
    for number, (_, label, unit) in enumerate(MADE, start=21):
        value = f"{number}.0 {unit}".rstrip()
        row = f"  {label:<26}{value:<24}{number - 1}.0 to {number + 1}.0"
        assert row in rows
    assert f"  {'efficiency':<26}{'41.0 %':<24}40.0 to 42.0" in rows
    assert f"{'photon transfer':<52}95 % interval" in rows
