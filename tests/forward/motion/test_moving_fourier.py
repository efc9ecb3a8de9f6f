"""
Motion and skew against the Fourier series of a periodic picture.

A picture that repeats is a sum of waves, and a band-limited lens passes few of them: a sample is
then an exact finite sum, Σ F(f) H(|f|) sinc(f_x w) sinc(f_y h) of the waves at the pixel's place,
with the lens's full transfer and no separable terms; its mean over the exposure is taken by Gauss's
rule: derived. The picture repeats by the period of the lens's own table, at whose frequencies
that is exact.
"""

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from linesim.forward.channels import channels
from linesim.forward.expose import exposer
from linesim.forward.reference import ArrayReference
from linesim.forward.spread import PERIOD_WAVES
from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

CELLS = 48
LINES = np.array([0, 3, 17, 30, 50])
TOLERANCE = 1e-3
"""Of white, on a picture of black and white."""
PLAIN = plain_setup(
    "Waves",
    target={"pixel_size": "25 um", "repeat": True},
    light={"spectrum": {"peak": "600 nm", "width": "2 nm"}},
    camera={"pixels": 32},
)
WAVE_UM = 1000 / float(station(PLAIN).optics.cutoff_lp_mm) / 0.1
PITCH_UM = PERIOD_WAVES * WAVE_UM / CELLS
BASE = changed(
    PLAIN,
    {
        "target.pixel_size": f"{PITCH_UM:.12g} um",
        # tiles lie alike, which makes few matrices
        "camera.pixel_width": f"{0.1 * 3 * PITCH_UM:.12g} um",
    },
)
DIAGONAL = (np.add.outer(np.arange(CELLS), np.arange(CELLS)) % 16 < 8) * 1.0
PATCHES = np.kron(np.random.default_rng(1).integers(0, 2, (12, 12)) * 1.0, np.ones((4, 4)))
PICTURES = {"diagonal": DIAGONAL, "other diagonal": DIAGONAL[:, ::-1], "patches": PATCHES}

Swing = tuple[float, float]
"""Size [um, or a share of the distance from the axis], and frequency [Hz]."""


def waves(setup: Setup, picture: FloatArray) -> Callable[[FloatArray, FloatArray], FloatArray]:
    """Give the value that a resting pixel sees at places x, y of its middle. [µm]."""
    numbers, size_um = station(setup), CELLS * setup.target.pixel_size_um
    optics, place = numbers.optics, numbers.geometry
    m = float(optics.magnification)
    number = np.arange(-int(size_um / WAVE_UM) - 1, int(size_um / WAVE_UM) + 2)
    cycles_um = number / size_um
    series = np.fft.fft2(picture)[np.ix_(number % CELLS, number % CELLS)] / CELLS**2
    # a cell is a square of its value, its middle half a cell from its corner
    cell = np.sinc(number / CELLS) * np.exp(-1j * np.pi * number / CELLS)
    across = cell * np.sinc(cycles_um * float(place.object_pixel_x_um))
    along = cell * np.sinc(cycles_um * float(place.row_side_um))
    lens = optics.mtf(np.hypot.outer(cycles_um, cycles_um) * 1000 / m)
    passed = series * lens * along[:, None] * across

    def at(x_um: FloatArray, y_um: FloatArray) -> FloatArray:
        right, down = (np.exp(2j * np.pi * np.outer(cycles_um, z)) for z in (x_um, y_um))
        return np.asarray((down * (passed @ right)).sum(axis=0).real)

    return at


def brute(setup: Setup, picture: FloatArray, wander: Swing, flutter: Swing) -> FloatArray:
    """Average what pixels see over the exposures of some lines."""
    numbers, at = station(setup), waves(setup, picture)
    width_um, side_um = (
        float(numbers.geometry.object_pixel_x_um),
        float(numbers.geometry.row_side_um),
    )
    x_um = (np.arange(setup.camera.pixels) - (setup.camera.pixels - 1) / 2) * width_um
    slope = np.tan(np.radians(setup.transport.skew_deg))
    node, weight = np.polynomial.legendre.leggauss(10)
    out = np.zeros((len(LINES), len(x_um)))
    for index, line in enumerate(LINES):
        for part, share in zip((node + 1) / 2, weight / 2, strict=True):
            time_s = line * float(numbers.timing.line_period_us) * 1e-6
            time_s += part * float(numbers.timing.exposure_us) * 1e-6
            sway, scale = (a * np.sin(2 * np.pi * g * time_s) for a, g in (wander, flutter))
            middle_um = CELLS / 2 * setup.target.pixel_size_um
            seen_um = middle_um + x_um * (1 - scale) + sway
            out[index] += share * at(seen_um, time_s * 1e6 + side_um / 2 + slope * x_um)
    return out


def modelled(setup: Setup, picture: FloatArray) -> FloatArray:
    """Take the same lines from the forward model, over what white gives."""
    channel = channels(setup, station(setup))[0]
    pitch_um = setup.target.pixel_size_um
    seen, white = (
        exposer(
            setup,
            ArrayReference(data=data.astype(np.float32), pixel_size_um=pitch_um),
            channel,
            off_axis_error=1e-4,
        ).at(0, LINES.astype(np.float64))[0]
        for data in (picture, np.ones((1, 1)))
    )
    return np.asarray(seen / white.astype(np.float64))


def worst(changes: Mapping[str, object], wander: Swing = (0, 1), flutter: Swing = (0, 1)) -> float:
    """Largest difference over all pictures."""
    setup = changed(BASE, dict(changes))
    return max(
        float(np.abs(modelled(setup, picture) - brute(setup, picture, wander, flutter)).max())
        for picture in PICTURES.values()
    )


@pytest.mark.parametrize("skew_deg", [0.1, 1.0, -4.0])
def test_a_skewed_camera(skew_deg: float) -> None:
    """Every column has its own place along travel, from a mild skew to a steep one."""
    assert worst({"transport.skew": f"{skew_deg} deg"}) < TOLERANCE


@pytest.mark.parametrize(("size_um", "frequency_hz"), [(20, 200), (200, 200), (1000, 150)])
def test_wander_while_exposed(size_um: float, frequency_hz: float) -> None:
    """A web that wanders by up to 0.94 m/s at 1 m/s smears every line aslant."""
    changes = {
        "transport.lateral_wander": f"{size_um} um",
        "transport.lateral_wander_frequency": f"{frequency_hz} Hz",
    }
    assert worst(changes, wander=(size_um, frequency_hz)) < TOLERANCE


@pytest.mark.nightly
def test_flutter_while_exposed() -> None:
    """
    At 5 mm from the axis a target that rises by 5 m/s moves sideways by 0.04 m/s.

    Its defocus, 0.2 mm, is a disc of 0.5 um on the sensor, which the sums leave out.
    """
    changes = {
        "camera.pixels": 160,
        "lens.focal_length": "60 mm",
        "transport.flutter": "0.2 mm",
        "transport.flutter_frequency": "4 kHz",
    }
    assert worst(changes, flutter=(0.2 / 660, 4000)) < TOLERANCE


def test_wander_of_a_skewed_camera() -> None:
    """Both together."""
    changes = {
        "transport.skew": "1 deg",
        "transport.lateral_wander": "100 um",
        "transport.lateral_wander_frequency": "200 Hz",
    }
    assert worst(changes, wander=(100, 200)) < TOLERANCE
