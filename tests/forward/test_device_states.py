"""Streams begin on a device where numpy's own begin: of any seed, stage, channel and strip."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.forward.device.states import states_of
from linesim.forward.streams import Streams


@pytest.mark.parametrize("seed", [0, 1, 2**32, 2**64 - 1, 2**128 + 7, 2**200 + 1])
@pytest.mark.parametrize(("stage", "channel"), [(1, 0), (10, 2)])
def test_states_are_numpy_s(seed: int, stage: int, channel: int) -> None:
    """Seeds of one word to seven; the states are those that numpy tells of its own streams."""
    streams, strips = Streams(seed, stage, channel), range(2**32 - 2, 2**32)
    for some in (range(3, 6), strips):
        known = [streams.of(strip).bit_generator.state["state"]["state"] for strip in some]
        assert_array_equal(states_of(streams, some).view(np.uint64), np.stack(known))
