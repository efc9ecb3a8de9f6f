"""What a measured camera is warned of: both sides of each threshold."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from linesim.files.images_out import write_tiff
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.camera.cautions import camera_cautions
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.camera.study import measure_camera

LEVELS_DN = (50, 200, 400, 600, 800, 1000, 1200, 2000, 3000, 4500)


@dataclass(frozen=True)
class Camera:
    """A camera of K 0.5 DN/e, made by hand, with what may be wrong about it."""

    lines: int = 100
    black_dn: float = 64.0
    noise_dn: float = 4.0
    levels_dn: tuple[float, ...] = LEVELS_DN
    pattern_dn: FloatArray | float = 0.0
    growth_dn: float = 2.0
    """Of the dark mean, from the short to the long exposure."""
    growth_dn2: float = 1.0
    """Of its variance; 1 DN² at 2 DN, as K 0.5 has it."""


def measured(folder: Path, camera: Camera, wavelength_nm: float | None = None) -> MeasuredCamera:
    """Write the camera's frames, and measure it."""
    rows, rng = ["file,kind,exposure_us,photons"], np.random.default_rng(4)
    shape = (camera.lines, 32)
    looks = [("flat", 100, level, 0.0, 0.0) for level in camera.levels_dn]
    looks += [("dark", 100, 0, 0.0, 0.0), ("dark", 500, 0, camera.growth_dn, camera.growth_dn2)]
    for kind, exposure, level, more_dn, more_dn2 in looks:
        for half in range(2):
            seen = camera.black_dn + more_dn + 0.5 * rng.poisson(2 * level, shape)
            seen += rng.normal(0, np.sqrt(camera.noise_dn**2 + more_dn2), shape) + camera.pattern_dn
            name = f"{len(rows)}_{half}.tif"
            write_tiff(folder / name, np.clip(np.rint(seen), 0, 4095).astype(np.uint16))
            rows.append(f"{name},{kind},{exposure},{4 * level if level else ''}")
    (folder / "series.csv").write_text("\n".join(rows), "utf-8")
    return measure_camera(folder / "series.csv", bit_depth=12, wavelength_nm=wavelength_nm)


def codes(found: MeasuredCamera) -> set[str]:
    """Name the cautions."""
    return {caution.code for caution in found.cautions}


def test_a_sound_camera_is_warned_of_little(tmp_path: Path) -> None:
    """Ten steps are few, and the light is always spoken of."""
    assert codes(measured(tmp_path, Camera(), 530)) == {"few_steps", "light_source"}


WAVES = 6.0 * np.cos(np.arange(100) / 3)[:, None] * np.ones(32)
WRONG = {
    "not_saturated": Camera(levels_dn=LEVELS_DN[:-1]),
    "few_fitted": Camera(levels_dn=(1000, 2000, 3500, 4500)),
    "few_lines": Camera(lines=99),
    "dark_clipped": Camera(black_dn=8),
    "quantisation": Camera(noise_dn=0.3),
    "dark_current_differs": Camera(growth_dn=0.0, growth_dn2=8.0),
    "lines_vary": Camera(pattern_dn=WAVES),
    "not_columns_alone": Camera(pattern_dn=WAVES * np.cos(np.arange(32) * 2.1)),
}


@pytest.mark.parametrize(("code", "camera"), WRONG.items(), ids=WRONG)
def test_what_is_wrong_is_said(code: str, camera: Camera, tmp_path: Path) -> None:
    """Each camera has one thing wrong, and is warned of it."""
    found = measured(tmp_path, camera)
    assert code in codes(found)
    assert all(each.text.endswith(".") for each in camera_cautions(found))


def test_a_dark_level_that_is_held_leaves_the_variance(tmp_path: Path) -> None:
    """8 DN² in 400 µs at K 0.5 are 32 e, 80 ke/s; the mean stands still, so the variance counts."""
    found = measured(tmp_path, WRONG["dark_current_differs"])
    current = found.dark_current_e_s
    assert current is not None
    assert current == found.transfer.figures["dark_current_variance_e_s"]
    assert current.low < 80_000 < current.high


@pytest.mark.parametrize(("wavelength_nm", "warned"), [(379, True), (380, False), (850, True)])
def test_light_that_is_not_seen(wavelength_nm: float, warned: bool, tmp_path: Path) -> None:  # noqa: FBT001 -- a column of the table
    """Outside of 380 to 780 nm the eye does not blink."""
    found = measured(tmp_path, Camera(), wavelength_nm)
    assert ("invisible_light" in codes(found)) == warned


@pytest.mark.parametrize(("wavelength_nm", "warned"), [(399, True), (400, False), (850, False)])
def test_ultraviolet_light_harms_skin_too(
    wavelength_nm: float,
    warned: bool,  # noqa: FBT001 -- a column of the table
    tmp_path: Path,
) -> None:
    """Below 400 nm, some of which is still seen."""
    found = measured(tmp_path, Camera(), wavelength_nm)
    told = {each.code: each.text for each in found.cautions}
    assert ("skin" in told.get("ultraviolet", "")) == warned
