"""Captures of a plain camera, and setups that are to be fitted to them."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from tests.studies.plain_camera import Lies, Plain, Waves, capture, reference, station_texts, waves

FINE, RIM_PX = 8, 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A plain camera, its target, the setup that has all of its numbers, and the target for it."""

    plain: Plain
    target: Waves
    truth: Setup
    reference: NDArray[np.float32]
    lines: int

    def capture(self, seed: int, lies: Lies | None = None) -> NDArray[np.uint16]:
        """Take a picture."""
        return capture(self.target, self.plain, self.lines, seed, lies or Lies())

    def believed(self, changes: dict[str, Any]) -> Setup:
        """Give a setup that has some of the numbers wrong."""
        return changed(self.truth, changes)


def job_of(plain: Plain, lines: int, folder: Path | None = None) -> Job:
    """Make a job; detail up to the Nyquist frequency, in eighths of a pixel."""
    object_um = plain.pixel_um / plain.magnification
    target, pixel_um = waves(1, finest_per_mm=500 / object_um), object_um / FINE
    shape = (FINE * (lines + 2 * RIM_PX), FINE * (plain.pixels + 2 * RIM_PX))
    texts: dict[str, Any] = station_texts(plain, pixel_um)
    sides = {"width": f"{shape[1] * pixel_um / 1000!r} mm", "height": f"{shape[0] * pixel_um!r} um"}
    if folder is None:
        texts["target"] |= {"image": "flat", **sides}
    return Job(
        plain=plain,
        target=target,
        truth=setup_from(texts, folder),
        reference=reference(target, pixel_um, shape).astype(np.float32),
        lines=lines,
    )


# blur of 0.8 pixels; the square of an eighth, 1/768 of a pixel, is two thousandths of its square
SMALL = replace(Plain(), pixels=112, blur_um=6.0, edge_falloff=0.1)


@pytest.fixture(scope="session")
def small() -> Job:
    """Give a small job."""
    return job_of(SMALL, 112)
