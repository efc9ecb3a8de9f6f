"""One setup and one seed give one image, whoever works on it and however long the scan is."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.forward.capture import capturer
from linesim.forward.channels import channels
from linesim.forward.collect import pattern
from linesim.forward.expose import exposer
from linesim.forward.reference import ArrayReference
from linesim.forward.render import Rendered, render
from linesim.forward.station import station
from linesim.forward.streams import stream
from linesim.forward.transport import STRIP_LINES
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

BASE = plain_setup(
    "Bytes",
    target={"pixel_size": "25 um", "repeat": True},
    transport={"speed_ripple": 0.02, "ripple_frequency": "90 Hz", "line_jitter": "4 um"},
    lens={"magnification": 0.0977},
    camera={"pixels": 150, "prnu": 0.01, "dsnu": "5 e", "dark_current": "1 Me/s"},
)
TARGET = ArrayReference(
    data=np.random.default_rng(8).random((700, 600)).astype(np.float32), pixel_size_um=25.0
)

# each takes another way through the code: joined pixels, pixels kept apart, all counts dark
SETUPS = {
    "1x1": {},
    "2x2": {"acquisition.binning": "2x2"},
    "kept apart": {
        "acquisition.binning": "2x2",
        "camera.full_well": "8 ke",
        "camera.binned_full_well": "20 ke",
    },
    "dark": {"light.illuminance": "100 lx"},
}


def rendered(setup: Setup, lines: int, *, seed: int = 3, workers: int | None = None) -> Rendered:
    """Render the random target."""
    return render(setup, TARGET, lines, seed, workers=workers)


@pytest.mark.parametrize("name", sorted(SETUPS))
def test_workers_change_no_byte(name: str) -> None:
    """One, two and three threads."""
    setup = changed(BASE, SETUPS[name])
    one, *others = [rendered(setup, 300, workers=workers) for workers in (1, 2, 3)]
    for other in others:
        assert_array_equal(other.image, one.image)
        assert_array_equal(other.expected_e, one.expected_e)


@pytest.mark.parametrize("name", sorted(SETUPS))
def test_a_longer_scan_starts_with_the_same_lines(name: str) -> None:
    """128 lines, whole strips, are the first 128 of 1000."""
    setup = changed(BASE, SETUPS[name])
    short, long = rendered(setup, 128), rendered(setup, 1000)
    assert_array_equal(long.image[:128], short.image)
    assert_array_equal(long.expected_e[:128], short.expected_e)


def test_a_strip_can_be_made_alone() -> None:
    """Strip 2 by itself is lines 128 to 192 of the scan."""
    whole, numbers = rendered(BASE, 256), station(BASE)
    (mono,) = channels(BASE, numbers)
    expected = exposer(BASE, TARGET, mono).strip(3, 2 * STRIP_LINES, 3 * STRIP_LINES)
    assert_array_equal(expected[0], whole.expected_e[128:192])
    image = capturer(BASE, 3, 0, physical=False).strip(expected, 2)
    assert_array_equal(image, whole.image[128:192])


def test_a_run_twice_is_the_same_and_another_seed_is_not() -> None:
    """Noise and jitter follow the seed."""
    first, again, other = (rendered(BASE, 64, seed=seed) for seed in (3, 3, 4))
    assert_array_equal(again.image, first.image)
    assert np.mean(other.image != first.image) > 0.9
    assert np.mean(other.expected_e != first.expected_e) > 0.9  # jitter moves the lines


def test_the_input_is_left_alone() -> None:
    """A target that must not be written to is rendered all the same."""
    data = np.random.default_rng(8).random((100, 100)).astype(np.float32)
    data.setflags(write=False)
    render(BASE, ArrayReference(data=data, pixel_size_um=25.0), 64, 3)


def test_every_strip_has_streams_of_its_own() -> None:
    """First draws of stages 1 to 4, channels 0 to 2 and strips 0 to 49: all different."""
    drawn = {
        float(stream(3, stage, channel, strip).random())
        for stage in range(1, 5)
        for channel in range(3)
        for strip in range(50)
    }
    assert len(drawn) == 4 * 3 * 50


def test_strips_are_not_correlated() -> None:
    """Noise of two strips on an even target: correlation within 4/√n of nothing."""
    setup = changed(BASE, {"camera.prnu": 0.0, "camera.dsnu": "0 e", "target.repeat": False})
    even = ArrayReference(data=np.ones((10, 10), dtype=np.float32), pixel_size_um=25.0)
    image = np.asarray(render(setup, even, 256, 3).image, dtype=np.float64)
    strips = (image - image.mean()).reshape(4, -1)
    correlation = np.corrcoef(strips)[np.triu_indices(4, 1)]
    assert np.abs(correlation).max() < 4 / np.sqrt(strips.shape[1])


def test_the_pattern_belongs_to_the_camera() -> None:
    """PRNU and DSNU: the same for every seed, another for every `pattern_seed`."""
    still = {
        "camera.read_noise": "0 e",
        "camera.prnu": 0.05,
        "camera.dsnu": "0 e",
        "camera.dark_current": "0 e/s",
        "transport.line_jitter": "0 um",
    }
    even = ArrayReference(data=np.ones((10, 10), dtype=np.float32), pixel_size_um=25.0)
    columns = {}
    for seed, pattern_seed in ((1, 0), (2, 0), (1, 7)):
        setup = changed(BASE, {**still, "camera.pattern_seed": pattern_seed})
        image = render(setup, even, 512, seed).image
        mean = image.mean(axis=0, dtype=np.float64)
        columns[seed, pattern_seed] = mean / mean.mean()
    same = np.corrcoef(columns[1, 0], columns[2, 0])[0, 1]
    other = np.corrcoef(columns[1, 0], columns[1, 7])[0, 1]
    # shot noise of 512 lines at 4000 e is 0.0007 beside a pattern of 0.05
    assert same > 0.999
    assert abs(other) < 4 / np.sqrt(150)


def test_binning_variants_share_the_pattern() -> None:
    """The joined pattern is the mean of the physical pixels' response and the sum of offsets."""
    alone = pattern(BASE, 0)
    pair = pattern(changed(BASE, {"acquisition.binning": "2x2"}), 0)
    assert_array_equal(pair.response[:1], alone.response)  # the first row is the same sensor row
    joined = pair.joined(2)
    np.testing.assert_allclose(
        joined.response[0], pair.response.reshape(2, 75, 2).mean(axis=(0, 2)), rtol=1e-12
    )
    np.testing.assert_allclose(
        joined.offset_e[0], pair.offset_e.reshape(2, 75, 2).sum(axis=(0, 2)), rtol=1e-12
    )


def test_pattern_has_its_size() -> None:
    """1 % and 5 e over 8000 columns: within 4/√(2·8000) of it; n joined: PRNU/√n, DSNU·√n."""
    wide = changed(BASE, {"camera.pixels": 8000, "acquisition.binning": "2x2"})
    drawn = pattern(wide, 0)
    for found, joined in ((drawn, 1), (drawn.joined(2), 4)):
        tolerance = 4 / np.sqrt(2 * found.response.size)
        assert found.response.std() == pytest.approx(0.01 / np.sqrt(joined), rel=tolerance)
        assert found.offset_e.std() == pytest.approx(5.0 * np.sqrt(joined), rel=tolerance)
