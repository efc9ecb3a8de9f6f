"""Captures by a camera that shares no code with linesim, held against the prediction of a setup."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from linesim.setup.errors import InputError
from linesim.studies.measure.against.agreement import Agreement
from linesim.studies.measure.against.study import compared
from tests.studies.measure.plain_captures import (
    FAULTS,
    LINES,
    PLAIN,
    SIDE_UM,
    Bench,
    bench,
    captured,
    drawn_lies,
    geometry_of,
)
from tests.studies.plain_camera import Lies, capture, waves

LIMITS = {
    "scale_along": 0.0005,
    "scale_across": 0.0005,
    "rotation_deg": 0.01,
    "shear_deg": 0.01,
    "shift_along_px": 0.02,
    "shift_across_px": 0.02,
}
"""How far off a geometry may be; what an acceptance of a station needs, our choice."""


@pytest.fixture(scope="module")
def own() -> Bench:
    """Give one target and its prediction for all tests of this module."""
    return bench(1)


def agreement(own: Bench, fault: str, seed: int) -> tuple[Agreement, Lies]:
    """Hold a capture with a fault, at a drawn place, against the prediction."""
    lies = drawn_lies(np.random.default_rng(seed))
    image = captured(own, fault, seed, lies)
    return compared(own.prediction, own.setup, image).agreement, lies


def check_place(found: Agreement, lies: Lies) -> None:
    """Where it was told to lie: to the limits, and to five of the errors that are told."""
    assert found.geometry.mirrored == lies.mirror
    for name, truth in geometry_of(lies).items():
        told = found.geometry.figures[name]
        assert told.value == pytest.approx(truth, abs=LIMITS[name]), name
        assert abs(told.value - truth) < 5 * told.sd + LIMITS[name] / 10, name


@pytest.mark.nightly
@pytest.mark.parametrize("seed", range(3))
def test_a_capture_is_found_wherever_it_lies(own: Bench, seed: int) -> None:
    """Shifted, turned, stretched, mirrored: to 0.02 px, 0.01 degrees, 0.0005, and no alarm."""
    found, lies = agreement(own, "none", seed)
    check_place(found, lies)
    assert found.findings == ()


@pytest.mark.nightly
@pytest.mark.parametrize("fault", [name for name in FAULTS if name != "none"])
def test_what_is_wrong_is_named(own: Bench, fault: str) -> None:
    """One fault at a time, at a place of its own: its finding, and no other."""
    found, _ = agreement(own, fault, 20)
    assert [sentence.partition(":")[0] in FAULTS[fault][1] for sentence in found.findings] == [True]


@pytest.mark.nightly
def test_a_ripple_is_told_with_its_size_and_frequency(own: Bench) -> None:
    """Speed by 3 % at 200 Hz: lines swing by a v / (2π g), 0.32 of a line, and that is said."""
    found, _ = agreement(own, "ripple", 21)
    (said,) = found.findings
    assert "at 2" in said
    share = float(said.partition("transport.speed_ripple = ")[2].split()[0])
    assert share == pytest.approx(0.03, rel=0.05)
    hertz = float(said.partition("lines at ")[2].split()[0])
    assert hertz == pytest.approx(200, rel=0.05)


def test_geometry_is_explained_in_the_stations_terms(own: Bench) -> None:
    """
    Two per cent more travel a line, a line off square by half a degree: keys and values.

    And mirrored, shifted: to 0.02 px, 0.01 degrees, 0.0005, as at the drawn places of the night;
    and no alarm.
    """
    across_um, along_um = -4.3 * SIDE_UM, 6.6 * SIDE_UM
    lies = Lies(turn_deg=0.5, scale=0.98, mirror="across", across_um=across_um, along_um=along_um)
    found = compared(own.prediction, own.setup, captured(own, "none", 3, lies)).agreement
    check_place(found, lies)
    assert found.findings == ()
    said = " ".join(found.explanations)
    assert "Magnification: the target is 2.0" in said
    magnification = 0.1 * found.geometry.figures["scale_across"].value  # 0.10204, as held above
    assert f"lens.magnification = {magnification:.5g}," in said
    assert 'transport.skew = "0.50 deg"' in said
    assert "Line rate" not in said


@pytest.mark.nightly
def test_another_target_is_refused(own: Bench) -> None:
    """A capture of other waves is not judged, and the sentence says why."""
    image = captured(bench(7), "none", 1, Lies())
    with pytest.raises(InputError, match=r"image: (does not look like|cannot be brought)"):
        compared(own.prediction, own.setup, image)


def test_detail_of_another_product_is_no_noise_and_no_blur(own: Bench) -> None:
    """A third of the detail is not the target's: that is said, and nothing of sharpness."""
    other = waves(9, finest_per_mm=450 / SIDE_UM, rms=0.05)
    both: dict[str, Any] = {
        name: np.concatenate([getattr(own.target, name), getattr(other, name)])
        for name in ("amplitude", "across_per_mm", "along_per_mm", "phase")
    }
    image = capture(replace(own.target, **both), PLAIN, LINES, 1, Lies())
    found = compared(own.prediction, own.setup, image).agreement.findings
    assert found[0].startswith("Other detail: ")
    assert not any(each.startswith(("Lens", "Motion", "Read noise", "Line")) for each in found)


@pytest.mark.nightly
def test_200_captures_without_a_fault_raise_no_alarm() -> None:
    """At random places, a target for each ten: 95 % and more without a finding, all found."""
    quiet = 0
    for block in range(20):
        own = bench(100 + block)
        for seed in range(10 * block, 10 * block + 10):
            found, lies = agreement(own, "none", seed)
            quiet += not found.findings
            assert found.geometry.mirrored == lies.mirror
            for name, truth in geometry_of(lies).items():
                assert found.geometry.figures[name].value == pytest.approx(truth, abs=LIMITS[name])
    assert quiet >= 190


@pytest.mark.nightly
@pytest.mark.parametrize("fault", [name for name in FAULTS if name != "none"])
def test_50_captures_with_a_fault_have_it_named(fault: str) -> None:
    """At random places, a target for each ten: nine of ten with that finding."""
    named = 0
    for block in range(5):
        own = bench(200 + block)
        for seed in range(10 * block, 10 * block + 10):
            found, _ = agreement(own, fault, seed)
            heads = [sentence.partition(":")[0] for sentence in found.findings]
            named += any(head in FAULTS[fault][1] for head in heads)
    assert named >= 45
