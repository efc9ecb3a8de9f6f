"""Numbers and tables of the physics page, worked out again row by row."""

import importlib.util
from collections.abc import Callable, Iterator
from functools import cache, partial
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.forward.profile import off_axis_share
from linesim.forward.spread import PERIOD_WAVES
from linesim.forward.station import station
from linesim.setup.light.spectra import LIGHT_SPEED_M_S, PLANCK_J_S, Spectrum
from linesim.setup.load import load_setup

ROOT = Path(__file__).parents[2]
PAGE = " ".join((ROOT / "linesim" / "forward" / "README.md").read_text("utf-8").split())
WORKED = ROOT / "sample_targets" / "worked_example.toml"
Row = tuple[str, Callable[[], tuple[Any, ...]]]
"""Words as they stand, each number in braces with its format; and what gives the numbers."""


class Signed(float):
    """A number that is printed with a true minus sign, as the pages have it."""

    def __format__(self, spec: str) -> str:
        """Print it."""
        return super().__format__(spec).replace("-", "−")


@cache
def bench(name: str) -> ModuleType:
    """Load one of the benchmarks, which lie outside of any package."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "bench" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def photon() -> tuple[float, float, float]:
    """Give the worked example's wavelength, energy of a photon and photons."""
    setup = load_setup(WORKED)
    power = setup.light.spectrum
    mean_nm = float(np.trapezoid(power.weight_per_nm * power.wavelength_nm, power.wavelength_nm))
    side_m = setup.camera.pixel_width_um * 1e-6
    sensor_w_m2 = budget(setup).number("signal", "irradiance_sensor_w_m2")
    energy_j = sensor_w_m2 * side_m**2 * budget(setup).number("exposure", "exposure_us") * 1e-6
    photon_j = PLANCK_J_S * LIGHT_SPEED_M_S / (mean_nm * 1e-9)
    return mean_nm, 1e19 * photon_j, energy_j / photon_j


def one_wave() -> tuple[float, float]:
    """Give what a path error of one wave blurs on the sensor [µm] and is on the target [mm]."""
    optics = station(load_setup(WORKED)).optics
    wave_um = 1000 / float(optics.cutoff_lp_mm)  # λN_w
    stop = 4.0 * (1 + 0.1)
    return 8 * wave_um, 8 * wave_um * stop / 0.1**2 / 1000


def colour_errors(name: str) -> tuple[Any, ...]:
    """Give a light's mean wavelength [nm], and what one wavelength does to the transfer."""
    light, left_out = Spectrum.named(name), bench("left_out")
    return (
        light.photon_mean_wavelength_nm,
        Signed(left_out.colour_error(light, 0, 0.5)),
        Signed(left_out.colour_error(light, 0.5, 1.2)),
    )


def band_errors(name: str, sensor: str) -> tuple[Any, ...]:
    """Give what three bands do to reflectances: rms, largest, largest of greys."""
    left_out = bench("left_out")
    silicon = (left_out.SILICON_NM, left_out.SILICON)
    error = np.abs(
        left_out.patch_errors(Spectrum.named(name), silicon if sensor == "silicon" else 0.6)
    )
    return np.sqrt(np.mean(error**2)), error.max(), error[-6:].max()


def defocus_errors(waves: float) -> tuple[Any, ...]:
    """Give the errors of a defocused lens, up to Nyquist, anywhere, and of the plain product."""
    return tuple(map(Signed, bench("left_out").defocus_errors(waves)))


def pupil_gains(m: float) -> tuple[Any, ...]:
    """Give what a pupil magnification that is not 1 does to the light. [%]."""
    gains = [((1 + m) / (1 + m / pupil)) ** 2 - 1 for pupil in (0.7, 0.85, 1.2, 1.5)]
    return tuple(Signed(100 * gain) for gain in gains)


def held_by_pixels(count: float) -> tuple[Any, ...]:
    """Give what so many reference pixels in an object pixel hold, draw, and leave as false wave."""
    kept = float(np.sinc(0.5 / count))
    return kept, kept**2, abs(kept * np.sinc(1 - 0.5 / count) * np.sinc(count - 0.5))


def crosstalk(percent: float) -> tuple[Any, ...]:
    """Give the MTF at Nyquist, and the blur in its place. [px]."""
    return 1 - 4 * percent / 100, np.sqrt(2 * percent / 100)


def period_errors(waves: float) -> tuple[Any, ...]:
    """Give what a finite period of the lens spread leaves."""
    return tuple(bench("lens_terms").period_errors(waves))


def light_tables() -> Iterator[Row]:
    """Give the rows of the tables of colour and of defocus."""
    for name in ("LED-B3", "D65", "A"):
        yield f"| {name} | {{:.0f}} | {{:.4f}} | {{:.3f}} |", partial(colour_errors, name)
    for name, sensor in (
        ("LED-B3", "even efficiency"),
        ("LED-B3", "silicon"),
        ("D65", "silicon"),
        ("A", "silicon"),
    ):
        cells = "{:.3f} | {:.3f} | {:.3f}"
        yield f"| {name} | {sensor} | {cells} |", partial(band_errors, name, sensor)
    for waves in (0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0):
        cells = "{:.3f} | {:.3f} | {:+.2f}"
        yield f"| {waves:g} | {8 * waves:g} | {cells} |", partial(defocus_errors, waves)


def other_tables() -> Iterator[Row]:
    """Give the rows of the tables of the pupil, of pixels, of crosstalk and of the period."""
    for m, digits in ((0.02, 1), (0.1, 1), (0.5, 0), (1.0, 0)):
        yield f"| {m:g} | {' | '.join([f'{{:+.{digits}f}} %'] * 4)} |", partial(pupil_gains, m)
    for count in (1.5, 2.0, 3.0, 4.0, 6.0):
        yield f"| {count:g} | {{:.3f}} | {{:.3f}} | {{:.3f}} |", partial(held_by_pixels, count)
    for percent in (0.5, 1, 2, 5):
        yield f"| {percent:g} % | {{:.2f}} | {{:.2f}} px |", partial(crosstalk, percent)
    for waves, told in ((20, "20"), (40, "40 (as built)"), (80, "80")):
        yield f"| {told} | {{:.4f}} | {{:.4f}} |", partial(period_errors, waves)


def falloff() -> tuple[float, ...]:
    """Give what cos⁴ leaves off axis."""
    x_um = 1e3 * np.tan(np.radians([5, 10, 15, 20, 30]))
    return tuple(off_axis_share(x_um, 0.0, 1.0).tolist())


ROWS: tuple[Row, ...] = (
    ("| LED-B3 gives {:.2f} lm/W |", lambda: (Spectrum.named("LED-B3").efficacy_lm_w,)),
    ("mean wavelength by power {:.2f} nm | hc/λ = {:.4f}·10⁻¹⁹ J | {:.1f} photons |", photon),
    ("one wave is {:.0f} µm on the sensor and {:.1f} mm on the target", one_wave),
    ("after a period of {:.0f} λN_w ({:.0f} µm on the sensor at f/4)",
     lambda: (PERIOD_WAVES, PERIOD_WAVES * one_wave()[0] / 8)),
    ("cos⁴ alone leaves {:.3f}, {:.3f}, {:.3f}, {:.3f} and {:.3f} at 5", falloff),
    ("{:.2f} µm at 1 m/s, 5 %, 100 Hz and 75 µs",
     lambda: (0.05 * 2 * np.pi * 100 * 1e6 * 75e-6**2 / 8,)),
    *light_tables(),
    *other_tables(),
)  # fmt: skip


@pytest.mark.filterwarnings("ignore:Aligning")  # of a library, to its own grid
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_a_row_is_what_comes_out(row: Row) -> None:
    """The words stand on the page with the numbers that the program gives now."""
    words, values = row
    now = words.format(*values())
    assert now in PAGE, f'linesim/forward/README.md has another number; it is now "{now}"'


def test_the_table_of_binning_is_what_comes_out() -> None:
    """All rows of ``tests.bench.binning_table``, to the last digit."""
    rows = bench("binning_table").table()
    assert [row for row in rows if row not in PAGE] == []
