"""The second half is a tuple of stages: one more is put in by hand, and nothing else changes."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from numpy.typing import NDArray

from linesim.forward.capture import Capturer
from linesim.forward.digitise import Digitise
from linesim.forward.reference import ArrayReference
from linesim.forward.render import Halves, both_halves, delivered_strip
from linesim.forward.stage import Samples, Stage
from linesim.setup.load import changed
from tests.stations import plain_setup

STRIP = 64
BASE = plain_setup(
    "Stages",
    target={"pixel_size": "40 um"},
    light={"irradiance": "20 W/m^2", "illuminance": None},
    camera={
        "pixels": 48,
        "full_well": "20 ke",
        "gain": "0.125 DN/e",
        "black_level": "64 DN",
        "dsnu": "4 e",
        "prnu": 0.01,
    },
)
TARGET = ArrayReference(
    data=np.random.default_rng(4).random((160, 100)).astype(np.float32), pixel_size_um=40.0
)
WAYS: dict[str, dict[str, object]] = {
    "one pixel": {},
    "charge": {"acquisition.binning": "2x2", "camera.binned_full_well": "30 ke"},
    "numbers": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
    "lines": {
        "acquisition.binning": "1x2",
        "acquisition.binning_domain": "digital",
        "acquisition.binning_along": "lines",
    },
    "colours": {"camera.kind": "prism"},
    "stages of delay": {"camera.tdi_stages": 4},
}


@dataclass(frozen=True, slots=True)
class Pedestal(Stage):
    """Some electrons more in every reading."""

    charge_e: float

    def __call__(self, samples: Samples, _: int) -> Samples:
        """Add them."""
        samples += np.float32(self.charge_e)
        return samples


def with_stage(keep: Capturer, stage: Stage) -> Capturer:
    """Put a stage right before the conversion."""
    at = next(k for k, each in enumerate(keep.stages) if isinstance(each, Digitise))
    return replace(keep, stages=(*keep.stages[:at], stage, *keep.stages[at:]))


def two_strips(halves: Halves) -> NDArray[np.uint16]:
    """Deliver 100 lines."""
    strips = [(0, 0, STRIP), (1, STRIP, 100)]
    return np.concatenate([delivered_strip(halves, 7, each) for each in strips])


@pytest.mark.parametrize("way", sorted(WAYS))
def test_electrons_added_in_a_stage_of_ones_own_move_the_image_alone(way: str) -> None:
    """80 e before the conversion are 10 DN at 0.125 DN/e, once a reading that is summed: exact."""
    setup = changed(BASE, WAYS[way])
    halves = both_halves(setup, TARGET, 7)
    more = [(see, with_stage(keep, Pedestal(80.0))) for see, keep in halves]
    before, after = (two_strips(each).astype(np.int64) for each in (halves, more))
    binning = setup.acquisition.binning
    readings = binning.across * binning.along if "digital" in str(WAYS[way]) else 1
    assert before.min() > 0
    assert after.max() < setup.full_scale_dn
    assert_array_equal(after - before, 10 * readings)


def test_a_stage_among_the_first_keeps_every_other_draw() -> None:
    """Zero electrons more between shot and read noise: drawn apart, but with the same streams."""
    setup = changed(BASE, {"camera.read_noise": "12 e"})
    ((see, keep),) = both_halves(setup, TARGET, 7)
    apart = replace(keep, stages=(*keep.stages[:2], Pedestal(0.0), *keep.stages[2:]))
    after_it = replace(keep, stages=(*keep.stages[:4], Pedestal(0.0), *keep.stages[4:]))
    one, other = (two_strips([(see, each)]) for each in (apart, after_it))
    assert_array_equal(one, other)
    assert np.mean(one != two_strips([(see, keep)])) > 0.5  # fused where nothing lies between


def test_a_stage_that_a_device_does_not_know_is_numpy_s() -> None:
    """It draws for none of such a camera, so that no picture lacks an effect unseen."""
    pytest.importorskip("torch")
    import torch  # noqa: PLC0415 -- an extra

    from linesim.forward.device.noise import noise_on  # noqa: PLC0415 -- needs torch

    ((_, keep),) = both_halves(BASE, TARGET, 7)
    assert noise_on(keep, torch.device("cpu")).for_kernel()
    assert not noise_on(with_stage(keep, Pedestal(1.0)), torch.device("cpu")).for_kernel()
