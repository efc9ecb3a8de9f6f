"""
Charge left behind by the stages of time-delay integration, against what this project did not write.

The negative binomial distribution is scipy's. A sensor whose wells are moved by hand, stage by
stage, is derived. exp(-mε(1 - cos 2πfd)) for m transfers is from memory of textbooks on
charge-coupled devices.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import nbinom

from linesim.forward.sensor.carried import charge_transfer_mtf, trail

CASES = [(4, 0.01), (64, 0.003), (512, 0.01)]
LEFT_OUT = 2e-5
"""Shares later than all but 1e-5 are left out, and the others fill up to 1."""


@pytest.mark.parametrize(("stages", "loss"), CASES)
def test_late_charge_is_negative_binomial(stages: int, loss: float) -> None:
    """Of k stays before m transfers are done, by scipy, on the mean over m = 1 to n."""
    shares = np.array(trail(0.0, loss, stages))
    late = np.arange(len(shares))[:, None]
    each = np.asarray(nbinom.pmf(late, np.arange(1, stages + 1), 1 - loss))
    told = each.mean(axis=1)
    assert_allclose(shares, told, rtol=0, atol=LEFT_OUT)
    assert shares.sum() == pytest.approx(1, rel=1e-12)


@pytest.mark.parametrize(("stages", "loss"), CASES[:2])
def test_wells_moved_by_hand_give_the_same(stages: int, loss: float) -> None:
    """One bright line passes the stages; each step leaves a share of every well where it is."""
    wells, out = np.zeros(stages), []
    for step in range(stages + 20):
        if step < stages:
            wells[step] += 1 / stages  # the bright line lies on this stage now
        moved, left = (1 - loss) * wells, loss * wells
        out.append(moved[-1])
        wells = left + np.concatenate([[0.0], moved[:-1]])
    delivered = np.array(out[stages - 1 :])
    shares = np.array(trail(0.0, loss, stages))
    assert_allclose(shares, delivered[: len(shares)], rtol=0, atol=LEFT_OUT)


def test_small_losses_have_the_transfer_of_textbooks() -> None:
    """
    The mean over m of exp(-mε(1 - cos θ)), which leaves out 2nd order: (nε)² at most.

    At its highest frequency exp(-2mε), and with all n transfers exp(-2nε) is the lower bound.
    """
    stages, loss, cycles = 256, 1e-5, np.linspace(0, 0.5, 11)
    each = np.arange(1, stages + 1)[:, None]
    told = np.exp(-each * loss * (1 - np.cos(2 * np.pi * cycles))).mean(axis=0)
    found = charge_transfer_mtf(loss, stages, cycles)
    assert_allclose(found, told, rtol=0, atol=(stages * loss) ** 2)
    assert np.all(found >= np.exp(-stages * loss * (1 - np.cos(2 * np.pi * cycles))))
    assert found[-1] < np.exp(-stages * loss / 2)
