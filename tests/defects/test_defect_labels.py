"""Labels: the area of the fault, in the place where the image shows it, whatever happens."""

import os
from math import pi

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.defects.defective import DefectiveReference, FaultMask
from linesim.defects.fault import Fault
from linesim.defects.labels import Footprints, Label, footprints
from linesim.defects.line_faults import Scratch
from linesim.defects.pose import Pose
from linesim.defects.round_faults import Pinhole
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup
from linesim.targets.coverage import disc

SIDE_UM = 75.0
"""Object pixel of the sample's camera: 7.5 µm at a magnification of 0.1."""
PLACES = 3000 if "LINESIM_NIGHTLY" in os.environ else 300
MATCHED_HZ = 1e6 / SIDE_UM  # of 1000 mm/s


def station(**keys: object) -> Setup:
    """Take the sample's station with 64 pixels, in an even light, and change it."""
    small = {"target.image": "flat", "target.width": "6 mm", "camera.pixels": 64}
    return changed(sample_setup(), {**small, **{k.replace("__", "."): v for k, v in keys.items()}})


def target(rows: int = 800, columns: int = 400, pitch_um: float = 15.0) -> ArrayReference:
    """Make an even target."""
    return ArrayReference(data=np.full((rows, columns), 0.5, np.float32), pixel_size_um=pitch_um)


def whole(labels: tuple[Label, ...], shape: tuple[int, ...]) -> ImageArray:
    """Lay labels into the image."""
    image = np.zeros(shape[:2], dtype=np.float32)
    for label in labels:
        lines, columns = label.mask.shape
        into = image[label.first_line :, label.first_column :][:lines, :columns]
        np.maximum(into, label.mask, out=into)
    return image


@pytest.mark.parametrize("coverage", [0.5, 1.0, 2.0])
def test_a_label_has_the_area_of_the_disc(coverage: float) -> None:
    """
    Sum of the mask x object pixel x line advance is pi r² in the mean over 300 places.

    Within 1 %, and within 4.5 standard errors of these places. Each sample weighs its own
    footprint, and footprints set side by side, overlapping or apart, weigh every place alike in
    the mean: this is exact for any shape.
    """
    rate = f"{coverage * MATCHED_HZ} Hz"
    setup = station(acquisition__line_rate=rate, acquisition__exposure="10 us")
    seen = footprints(setup, target(), 300, 0)
    random, areas = np.random.default_rng(7), []
    for x_mm, y_mm in random.uniform((-1.5, 2.0), (1.5, 9.0), (PLACES, 2)):
        fault = Pinhole(diameter_um=200.0, change=-0.5).at(Pose(x_mm=x_mm, y_mm=y_mm))
        areas.append(sum(label.mask.sum(dtype=np.float64) for label in seen.labels(fault)))
    found = np.array(areas) * SIDE_UM * SIDE_UM / coverage / (pi * 100**2)
    assert found.mean() == pytest.approx(1, abs=0.01)
    # samples at rest side by side leave nothing to chance; what is left is rounding
    assert abs(found.mean() - 1) < 4.5 * found.std() / np.sqrt(PLACES) + 1e-5


@pytest.mark.parametrize("diameter_um", [40.0, 260.0, 700.0])
def test_a_label_is_the_disc_on_the_cameras_own_grid(diameter_um: float) -> None:
    """
    Each sample is the closed form `targets.coverage.disc`, in samples: an independent path.

    Reference pixels end where samples do. What is left: a point of 1/1024 instead of none at both
    ends, and 0.1 µm of travel in 0.1 µs, 1.3e-3 of a sample; float32 beside.
    """
    setup = station(acquisition__exposure="0.1 us")
    pose = Pose(x_mm=0.2713, y_mm=5.6389)
    fault = Pinhole(diameter_um=diameter_um, change=-0.5).at(pose)
    found = whole(footprints(setup, target(), 150, 0).labels(fault), (150, 64))
    left, top = np.meshgrid(np.arange(64.0) - 32, np.arange(150.0))
    left, top = left - 1000 * pose.x_mm / SIDE_UM, top - 1000 * pose.y_mm / SIDE_UM
    wanted = disc(left, top, diameter_um / 2 / SIDE_UM)
    assert_allclose(found, wanted, rtol=0, atol=3.5e-3)


def middle(image: ImageArray) -> FloatArray:
    """Give the centre of what is in an image: line, column."""
    weights = image.astype(np.float64)
    return np.array([np.average(part, weights=weights) for part in np.indices(image.shape)])


TROUBLE = {
    "at ease": {},
    "half the rate": {"acquisition__line_rate": f"{MATCHED_HZ / 2} Hz"},
    "twice the rate": {"acquisition__line_rate": f"{MATCHED_HZ * 2} Hz"},
    "skew": {"transport__skew": "3 deg"},
    "ripple": {"transport__speed_ripple": 0.2, "transport__ripple_frequency": "150 Hz"},
    "jitter": {"transport__line_jitter": "30 um"},
    "wander": {"transport__lateral_wander": "400 um",
     "transport__lateral_wander_frequency": "60 Hz"},
    "flutter": {"transport__flutter": "2 mm", "transport__flutter_frequency": "90 Hz",
     "lens__focal_length": "60 mm"},
    "wrong clock": {"transport__assumed_speed": "66 m/min"},
    "binning of rows": {"acquisition__binning": "2x2"},
    "binning of lines": {"acquisition__binning": "2x2", "acquisition__binning_along": "lines",
     "acquisition__binning_domain": "digital"},
    "numbers binned": {"acquisition__binning": "2x1", "acquisition__binning_domain": "digital"},
    "stages": {"camera__tdi_stages": 16, "transport__assumed_speed": "61 m/min"},
    "uneven light": {"light__edge_falloff": 0.4, "light__flicker": 0.2,
     "light__flicker_frequency": "700 Hz"},
    "prism": {"camera__kind": "prism"},
    "three lines": {"camera__kind": "three-line", "camera__line_spacing": "30 um"},
    "three lines, skew": {"camera__kind": "three-line", "camera__line_spacing": "30 um",
     "transport__skew": "4 deg", "acquisition__colour_alignment": "none"},
}  # fmt: skip


def seen_change(setup: Setup, fault: Fault, lines: int) -> ImageArray:
    """Render a target with and without the fault: the share of light it takes from each sample."""
    base = target()
    with_it = DefectiveReference(base=base, faults=(fault,))
    one, two = (render(setup, each, lines, 3).expected_e for each in (base, with_it))
    change = (1 - two.astype(np.float64) / one) / 0.5
    return np.asarray(change if change.ndim == 2 else change.mean(axis=2), dtype=np.float32)


@pytest.mark.parametrize("keys", TROUBLE.values(), ids=TROUBLE.keys())
def test_a_label_lies_where_the_image_shows_the_fault(keys: dict[str, object]) -> None:
    """
    Same centre and same light as the change in the noise-free image, with the lens and all.

    The lens spreads evenly to all sides, so it moves no centre, and 20 samples from the border no
    light is lost. Lines that lie unevenly weigh a point by their density, which the lens averages
    over some 60 µm: jitter of 30 µm, one of 0.4 of a sample in each of six lines, leaves 0.4 % of
    the light, ripple and gaps 0.01 sample of the centre. 0.02 and 1 % hold them; a label that left
    the trouble out would lie beside by 0.04 sample (jitter), 0.05 (flutter), 0.5 (skew), 5 (ripple,
    wander, wrong clock).
    """
    setup = station(**keys)
    fault = Pinhole(diameter_um=420.0, change=-0.5).at(Pose(x_mm=0.71, y_mm=3.523))
    change = seen_change(setup, fault, 180)
    mask = whole(footprints(setup, target(), 180, 3).labels(fault), change.shape)
    assert mask.max() <= 1
    assert_allclose(middle(mask), middle(change), rtol=0, atol=0.02)
    assert mask.sum() == pytest.approx(change.sum(), rel=0.01)
    # blurred by some half a sample each way, it is the same picture
    assert np.corrcoef(mask.ravel(), change.ravel())[0, 1] > 0.99


@pytest.mark.parametrize("keys", TROUBLE.values(), ids=TROUBLE.keys())
def test_a_sample_wholly_inside_is_covered_once(keys: dict[str, object]) -> None:
    """A share is 1 in the middle of a large fault, in any light and motion: float32 weights."""
    setup = station(**keys)
    fault = Pinhole(diameter_um=3000.0, change=-0.5).at(Pose(x_mm=0.0, y_mm=4.5))
    labels = footprints(setup, target(), 180, 3).labels(fault)
    mask = whole(labels, (180, 64))
    line, column = np.rint(middle(mask)).astype(int)
    assert_allclose(mask[line - 2 : line + 3, column - 4 : column + 5], 1, rtol=0, atol=2e-6)


def test_a_label_has_no_empty_border() -> None:
    """Each side of the rectangle holds something, and the rectangle lies in the image."""
    setup = station(transport__skew="3 deg")
    scratch = Scratch(length_um=3000.0, width_um=60.0, change=0.5, bend=0.1)
    place = Pose(x_mm=0.2, y_mm=4.0, turn_deg=50.0)
    (label,) = footprints(setup, target(), 150, 0).labels(scratch.at(place))
    for side in (label.mask[0], label.mask[-1], label.mask[:, 0], label.mask[:, -1]):
        assert side.max() > 0
    assert label.first_line + label.mask.shape[0] <= 150
    assert label.first_column + label.mask.shape[1] <= 64


def test_a_fault_beside_the_scan_has_no_label() -> None:
    """Outside of the field of view, after the last line, between two lines, off the target."""
    setup = station(acquisition__line_rate="2 kHz", acquisition__exposure="5 us")
    seen = footprints(setup, target(), 10, 0)
    places = [(2.7, 2.0), (0.0, 6.5), (0.0, 2.3), (9.0, 2.0)]  # lines 500 µm apart, 80 µm tall
    for x_mm, y_mm in places:
        fault = Pinhole(diameter_um=100.0, change=0.5).at(Pose(x_mm=x_mm, y_mm=y_mm))
        assert seen.labels(fault) == ()
    on_line = Pinhole(diameter_um=100.0, change=0.5).at(Pose(x_mm=0.0, y_mm=2.0))
    assert len(seen.labels(on_line)) == 1


def test_a_repeated_target_repeats_its_faults() -> None:
    """A target of 1.5 x 3 mm in a frame of 4.8 x 11.25 mm: one label an appearance."""
    setup = station(target__repeat=True)
    base = target(rows=200, columns=100)
    fault = Pinhole(diameter_um=300.0, change=-0.5).at(Pose(x_mm=0.1, y_mm=1.0))
    seen = footprints(setup, base, 150, 0)
    labels = seen.labels(fault)
    assert len(labels) == 3 * 4
    areas = [label.mask.sum(dtype=np.float64) * SIDE_UM * SIDE_UM for label in labels]
    assert_allclose(areas, pi * 150**2, rtol=2e-3)
    # line k sees up to 75 (k + 2) µm, with its travel; the fault begins at 850 µm, and 40 lines on
    assert sorted({label.first_line for label in labels}) == [10, 50, 90, 130]


def test_a_border_that_goes_on_is_labelled_as_it_goes_on() -> None:
    """A fault cut by the reference's side is seen on to the edge of the frame, and so labelled."""
    setup = station()
    base = target(columns=200)  # 3 mm of the 4.8 mm that the camera sees
    fault = Pinhole(diameter_um=600.0, change=-0.5).at(Pose(x_mm=1.5, y_mm=4.0))
    (label,) = footprints(setup, base, 150, 0).labels(fault)
    assert label.first_column + label.mask.shape[1] == 64
    assert label.mask[label.mask.shape[0] // 2, -1] == pytest.approx(1, abs=2e-6)


def test_only_the_strip_needed_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of 300 µm on a target of 6 m: some 40 rows of it are asked for."""
    asked: list[int] = []
    rows = FaultMask.rows

    def counted(mask: FaultMask, first: int, last: int) -> ImageArray:
        asked.append(last - first)
        return rows(mask, first, last)

    monkeypatch.setattr(FaultMask, "rows", counted)
    long = ArrayReference(data=np.broadcast_to(np.float32(0.5), (400_000, 400)), pixel_size_um=15.0)
    seen: Footprints = footprints(station(), long, 2000, 0)
    fault = Pinhole(diameter_um=300.0, change=-0.5).at(Pose(x_mm=0.0, y_mm=100.0))
    assert len(seen.labels(fault)) == 1
    # 20 rows of the fault, 5 of a sample and 5 of its travel each way, in tiles of four lines
    assert 30 <= sum(asked) <= 80
