"""Captures by the plain camera of ``tests/studies/plain_camera.py``, and that camera's setup."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.forward.reference import ArrayReference
from linesim.setup.load import setup_from
from linesim.setup.setup import Setup
from linesim.studies.measure.against.predicted import Prediction, prediction
from tests.studies.plain_camera import Lies, Plain, Waves, capture, reference, station_texts, waves

LINES, FINE, MARGIN_PX = 192, 6, 40
"""Reference pixels in an object pixel: what they lose at MTF50, 1 %, is allowed for."""
PLAIN = Plain(pixels=192)
SIDE_UM = PLAIN.pixel_um / PLAIN.magnification
DEPTH_MM = (
    2 * PLAIN.pixel_um * PLAIN.f_number * (1 + PLAIN.magnification) / PLAIN.magnification**2 / 1000
)
"""Depth of field, 2cN(1 + m)/m² with c the pixel."""
FAULTS: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
    "none": ({}, ()),
    "light": ({"irradiance_w_m2": 0.9 * PLAIN.irradiance_w_m2}, ("Light", "Signal")),
    "read noise": ({"read_noise_e": 2 * PLAIN.read_noise_e}, ("Read noise",)),
    "focus": ({"defocus_mm": DEPTH_MM / 2}, ("Lens",)),
    "black": ({"black_dn": PLAIN.black_dn + 10}, ("Black level",)),
    "ripple": ({"ripple": 0.03, "ripple_hz": 200.0}, ("Line places",)),
}
"""What differs from the setup, and how the finding begins that names it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """A target, the setup that knows it, and its prediction."""

    target: Waves
    setup: Setup
    prediction: Prediction


def bench(seed: int) -> Bench:
    """Draw a target, and write the plain camera down as a setup."""
    target = waves(seed, finest_per_mm=450 / SIDE_UM)
    shape = (FINE * (LINES + 2 * MARGIN_PX), FINE * (PLAIN.pixels + 2 * MARGIN_PX))
    drawn = ArrayReference(
        data=reference(target, SIDE_UM / FINE, shape).astype(np.float32),
        pixel_size_um=SIDE_UM / FINE,
    )
    texts: dict[str, Any] = station_texts(PLAIN, SIDE_UM / FINE)
    texts["target"] |= {"image": "flat", "width": "1 mm", "height": "1 mm"}
    setup = setup_from(texts)
    return Bench(target=target, setup=setup, prediction=prediction(setup, drawn))


def drawn_lies(rng: np.random.Generator) -> Lies:
    """Draw a place: a degree, a per cent, and 15 samples either way, mirrored or not."""
    return Lies(
        across_um=rng.uniform(-15, 15) * SIDE_UM,
        along_um=rng.uniform(0, 30) * SIDE_UM,
        turn_deg=rng.uniform(-1, 1),
        scale=1 + rng.uniform(-0.01, 0.01),
        drift=rng.uniform(-0.01, 0.01),
        mirror=str(rng.choice(["no", "across", "along", "both"])),
    )


def captured(own: Bench, fault: str, seed: int, lies: Lies) -> NDArray[np.uint16]:
    """Take a picture with something wrong."""
    return capture(own.target, replace(PLAIN, **FAULTS[fault][0]), LINES, seed, lies)


def geometry_of(lies: Lies) -> dict[str, float]:
    """
    Say where the picture lies.

    Column j of line i looks at i·a·(1, drift) + (j − middle)·p·scale·(sin, cos) of the turn, along
    and across; what is seen of the target is the inverse of that.
    """
    turn = np.deg2rad(lies.turn_deg)
    there = np.array([
        [1.0, np.sin(turn) * lies.scale], [lies.drift, np.cos(turn) * lies.scale],
    ])  # fmt: skip
    travel, line = np.linalg.inv(there).T
    rotation = np.arctan2(travel[1], travel[0])
    middle = (LINES - 1) / 2
    return {
        "scale_along": float(np.hypot(*travel)),
        "scale_across": float(np.hypot(*line)),
        "rotation_deg": float(np.rad2deg(rotation)),
        "shear_deg": float(-np.rad2deg(np.arctan2(line[0], line[1]) + rotation)),
        "shift_along_px": -lies.along_um / SIDE_UM,
        "shift_across_px": -lies.across_um / SIDE_UM - lies.drift * (middle + 0.5),
    }
