"""Faults put into real scans: as if the faulted product had been scanned."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from linesim.dataset.background.charge import by_channel
from linesim.dataset.background.insert import Expected, inserted
from linesim.dataset.background.level import product_under, straight_between
from linesim.dataset.draw import drawn
from linesim.dataset.item import item
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.verify import verify
from linesim.defects.defective import DefectiveReference
from linesim.defects.polygons import ChangedInside, Polygon
from linesim.defects.pose import Pose
from linesim.files.images_out import write_tiff
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup
from linesim.workers.tasks import Alone
from tests.stations import plain_toml

LINES, COLUMNS, PITCH_UM = 600, 96, 25.0
GROUND = 0.35
KEYS = {
    "target.image": "flat",
    "target.pixel_size": "25 um",
    "camera.pixels": COLUMNS,
    "camera.prnu": 0.0,
    "camera.dsnu": "0 e",
    "transport.speed_ripple": 0.02,
    "light.edge_falloff": 0.2,
}
CASES: dict[str, dict[str, object]] = {
    "as it is": {},
    "dim": {"light.illuminance": "4 klx", "camera.read_noise": "40 e"},
    "binned numbers": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital",
     "light.illuminance": "10 klx"},
    "averaged": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital",
     "acquisition.binning_mode": "average"},
    "flat field": {"acquisition.flat_field": True, "camera.dark_current": "4 Me/s"},
    "colour": {"camera.kind": "prism"},
}  # fmt: skip


def scanned(keys: dict[str, object], change: float) -> tuple[Setup, Any, Any, tuple[Any, Any]]:
    """Scan an even product, and the same with a large fault; and put that fault into the scan."""
    setup = changed(sample_setup(), {**KEYS, **keys})
    side_um = float(station(setup).geometry.object_pixel_x_um)
    columns = int(station(setup).geometry.image_width_px)
    width = round(columns * side_um / PITCH_UM)
    height = round((LINES + 2) * float(station(setup).timing.line_advance_um) / PITCH_UM)
    shape = (height, width) if setup.camera.kind == "mono" else (height, width, 3)
    good = ArrayReference(data=np.full(shape, GROUND, np.float32), pixel_size_um=PITCH_UM)
    x, y = 0.3 * width * PITCH_UM, 0.4 * height * PITCH_UM
    outline = Polygon(corners_um=((-x, -y), (x, -y), (x, y), (-x, y)))
    fault = ChangedInside(kind="patch", outlines=(outline,))(change=change).at(
        Pose(x_mm=0.0, y_mm=height * PITCH_UM / 2000)
    )
    faulted = DefectiveReference(base=good, faults=(fault,))
    wanted, scan = (render(setup, each, LINES, seed) for each, seed in ((faulted, 1), (good, 2)))
    level = product_under(setup, scan.image, PITCH_UM, 16)
    with_it = DefectiveReference(base=level, faults=(fault,))
    expected = Expected(
        good_e=render(setup, level, LINES, 2).expected_e,
        faulted_e=render(setup, with_it, LINES, 2).expected_e,
    )
    return setup, wanted, scan, (expected, np.random.default_rng(5))


@pytest.mark.parametrize("change", [-0.6, 0.9])
@pytest.mark.parametrize("keys", CASES.values(), ids=CASES.keys())
def test_a_fault_in_a_scan_is_as_one_on_the_product(keys: dict[str, object], change: float) -> None:
    """
    Mean and variance inside the fault are those of a scan of the faulted product.

    Some 29 000 samples (7000 binned): means within 4.5 standard errors of both scans and of the
    level that the fault hangs on, which a bell of 3 samples leaves 9 % of each sample's noise, over
    neighbours that share it: a standard error of change times the scan's own. Variances within
    4.5 · √(2/n) of each; light that is added is rounded once more, 1/12 DN².
    """
    setup, wanted, scan, (expected, random) = scanned(keys, change)
    made = inserted(setup, scan.image, expected, random)
    lines, columns = made.shape[:2]
    rows, across = slice(lines // 6, -lines // 6), slice(columns * 2 // 7, -(columns * 2) // 7)
    one, two = (
        by_channel(image)[rows, across].astype(np.float64) for image in (wanted.image, made)
    )
    count = one[..., 0].size
    for k in range(one.shape[2]):
        # columns have levels of their own: the lamp's fall-off
        first, second = (each[..., k] - each[..., k].mean(axis=0) for each in (one, two))
        noise = first.var() * one.shape[0] / (one.shape[0] - 1)
        error = np.sqrt(noise * (2 + change**2) / count)
        assert abs(one[..., k].mean() - two[..., k].mean()) < 4.5 * error
        ratio = second.var() / (first.var() + (change > 0) / 12)
        assert ratio == pytest.approx(1, abs=4.5 * np.sqrt(2 * 2 / count))


def test_a_faults_edge_in_a_scan_is_as_blurred_as_on_the_product() -> None:
    """
    Across it, through lens and pixel, and along it, through motion: means over lines and columns.

    4.5 standard errors of some 350 lines or 50 columns, of both scans.
    """
    setup, wanted, scan, (expected, random) = scanned({}, -0.6)
    made = inserted(setup, scan.image, expected, random).astype(np.float64)
    direct = wanted.image.astype(np.float64)
    for axis, part in ((0, np.s_[120:-120, :]), (1, np.s_[:, 25:-25])):
        one, two = direct[part], made[part]
        error = np.sqrt((one.var(axis=axis) + two.var(axis=axis)) / one.shape[axis])
        apart = np.abs(one.mean(axis=axis) - two.mean(axis=axis))
        assert (apart / error).max() < 4.5
        assert np.ptp(two.mean(axis=axis)) > 100  # the edge is there


def test_samples_without_a_fault_keep_their_number() -> None:
    """Nothing is done to what the fault does not reach; at full scale the number stays in range."""
    setup, _, scan, (expected, random) = scanned({}, -0.6)
    made = inserted(setup, scan.image, expected, random)
    untouched = np.abs(expected.faulted_e - expected.good_e) < 0.01
    assert 0.3 < untouched.mean() < 0.7
    assert_array_equal(made[untouched], scan.image[untouched])
    full = np.full_like(scan.image, setup.full_scale_dn)
    brighter = Expected(good_e=expected.good_e, faulted_e=expected.good_e * 2)
    assert (inserted(setup, full, brighter, random) == setup.full_scale_dn).all()


@pytest.mark.parametrize("shape", [(5, 7), (1, 4), (3, 1)])
def test_between_samples_it_runs_straight(shape: tuple[int, int]) -> None:
    """As scipy.ndimage reads the same places one by one, beyond both ends too."""
    data = np.random.default_rng(2).normal(size=shape)
    lines, columns = (np.linspace(-2.5, n + 1.5, 23) for n in shape)
    grid = np.meshgrid(lines, columns, indexing="ij")
    wanted = map_coordinates(data, grid, order=1, mode="nearest")
    assert_allclose(straight_between(data, lines, columns), wanted, rtol=0, atol=1e-14)


def test_the_level_of_a_product_is_found() -> None:
    """
    From a scan of 0.35 that falls off to the ends: its reflectance, in the mean and everywhere.

    Relative noise of a sample over a bell of 3 samples, 1/(2√π · 3): 5 of them everywhere.
    """
    setup, _, scan, _ = scanned({}, -0.6)
    level = product_under(setup, scan.image, PITCH_UM, 16)
    signal = scan.expected_e.mean()
    noise = float(station(setup).noise_e(signal)) / signal
    assert level.data.mean() == pytest.approx(GROUND, rel=4.5 * noise / np.sqrt(scan.image.size))
    assert_allclose(level.data, GROUND, rtol=5 * noise / (2 * np.sqrt(np.pi) * 3) * 1.5)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a station, and three scans of even product that it took."""
    where = tmp_path_factory.mktemp("real")
    (where / "good").mkdir()
    (where / "station.toml").write_text(STATION, "utf-8")
    setup = plan_of(where, files=False).base
    for seed in range(3):
        data = np.full((400, 384), GROUND, np.float32)
        target = ArrayReference(data=data, pixel_size_um=PITCH_UM)
        scan: NDArray[np.uint16] = render(setup, target, 120, seed).image
        write_tiff(where / "good" / f"{seed}.tif", scan, full_scale_dn=4095)
    return where


STATION = plain_toml("Station of the scans", target={"pixel_size": "25 um"}, camera={"pixels": 128})


def plan_of(where: Path, *, files: bool = True, **parts: Any) -> Plan:  # noqa: ANN401 -- a plan's tables
    """Plan images of the scans."""
    texts: dict[str, Any] = {
        "setup": "station.toml",
        "count": 6,
        "images": {"lines": 96, "good_share": 0.5},
        "faults": {"kinds": ["spot"], "spot": {"count": 2, "width": "0.6 mm", "height": "0.6 mm"}},
    }
    if files:
        texts["background"] = {"images": "good/*.tif", "images_each": 2}
    return plan_from({**texts, **parts}, where)


def test_good_images_are_pieces_of_the_scans(folder: Path) -> None:
    """Number for number; with a fault, all but its surroundings."""
    plan = plan_of(folder)
    for index in range(6):
        shot, made = drawn(plan, index), item(plan, index)
        scan = shot.piece.cut(plan.scene(shot.scene))
        same = made.image == scan
        assert made.image.shape == (96, 128)
        if not shot.faults:
            assert same.all()
            assert not made.mask.any()
        else:
            assert 0.8 < same.mean() < 1
            assert made.labelled
            assert (same[made.mask > 0]).mean() < 0.2
            darker = made.image[made.mask > 0].mean() - scan[made.mask > 0].mean()
            assert darker < -20


def test_a_set_of_scans_verifies_and_says_what_it_is(folder: Path, tmp_path: Path) -> None:
    """Made, checked, made again; the card does not call the product simulated."""
    plan = plan_of(folder)
    make_set(plan, tmp_path / "set", Alone())
    assert verify(tmp_path / "set", 2).faults == ()
    assert fingerprint(load_plan(tmp_path / "set" / "plan.toml")) == fingerprint(plan)
    card = (tmp_path / "set" / "README.md").read_text("utf-8")
    assert "**Simulated faults in real scans.**" in card


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({"background": {"images": "bad/*.tif"}}, r"background\.images: read"),
        ({"background": {}}, r"background\.images: read"),
        ({"background": {"images": "good/*.tif", "count": 3}}, r"background\.count: read 3"),
        ({"vary": {"light.illuminance": "3 klx"}}, "vary: read .* taken by one station"),
        ({"scenes": {"kind": "foil"}}, "scenes: read"),
        ({"nuisances": {"dust": 1}}, "nuisances: read"),
    ],
)
def test_a_faulty_background_is_refused(folder: Path, parts: dict[str, Any], said: str) -> None:
    """One sentence: key, what was read, what is expected."""
    with pytest.raises(InputError, match=said):
        plan_of(folder, **parts)


def test_scans_of_another_station_are_refused(folder: Path) -> None:
    """Too few lines, other columns, or numbers that the camera does not have."""
    with pytest.raises(InputError, match="120 lines, but the station has 128"):
        item(plan_of(folder, images={"lines": 300}), 0)
    (folder / "other.toml").write_text(STATION.replace("128", "64"), "utf-8")
    with pytest.raises(InputError, match="128 samples a line"):
        item(plan_of(folder, setup="other.toml"), 0)
    (folder / "eight.toml").write_text(f"{STATION}bit_depth = 8\n", "utf-8")
    with pytest.raises(InputError, match="the station delivers 255 at most"):
        item(plan_of(folder, setup="eight.toml"), 0)
