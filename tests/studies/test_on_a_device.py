"""
Every command with a device gives the numpy path's images, but for a share that is known.

The noise is numpy's own; the expected electrons differ by d, some 10⁻⁷ of white. Noise spreads a
number evenly between the steps that it falls between, so a sample lands on another side of a step
with probability K|d|, K in DN/e: of N samples N K mean|d| differ, and those by 1 DN. Counts that
are rounded to whole electrons before do so as often, for K is below 1 here. So many rare events
scatter by their root; 4.5 of it are allowed.
"""

from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from typer.testing import CliRunner

from linesim import compare, scan, scan_to_file
from linesim.cli.app import app
from linesim.forward.capture import Capturer
from linesim.forward.device.choice import chosen
from linesim.forward.device.drawn import Draw, draw_on
from linesim.forward.device.noise import Noise
from linesim.forward.device.scans import device_runs
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.measure.detection.study import inject
from linesim.studies.scan.streamed import Manner
from linesim.studies.scan.study import Scan
from linesim.studies.vary.rendered import rendered
from linesim.studies.vary.study import vary
from tests.stations import plain_setup

torch = pytest.importorskip("torch", reason="the extra torch is not installed")


@pytest.fixture(autouse=True)
def _one_thread() -> Iterator[None]:
    """Let torch leave the other cores to the other tests."""
    before = torch.get_num_threads()
    torch.set_num_threads(1)
    yield
    torch.set_num_threads(before)


DEVICES = ["cpu", *(["cuda"] if torch.cuda.is_available() else [])]
BASE = plain_setup(
    "Either way",
    target={"image": "foil", "pixel_size": "25 um", "width": "20 mm", "height": "16 mm"},
    transport={"line_jitter": "5 um"},
    camera={"black_level": "64 DN"},
    requirement={"smallest_defect": "300 um"},
)
CAMERAS: dict[str, dict[str, object]] = {
    "read noise of its own draw": {"camera.read_noise": "2 e", "light.illuminance": "10 klx"},
    "numbers of 2x2": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
    "three lines": {"camera.kind": "three-line", "camera.line_spacing": "15 um"},
    "line noise, taps and a bend": {
        "camera.line_noise": "4 e",
        "camera.taps": {"count": 4, "gain_step": 0.01, "offset_step": "4 e"},
        "camera.linearity_error": 0.01,
    },
    "lag": {"camera.lag": 0.02},
    "flat field": {"acquisition.flat_field": True, "light.edge_falloff": 0.2},
}
NOT_CARRIED: dict[str, dict[str, object]] = {
    "transport.skew": {"transport.skew": "0.1 deg"},
    "transport.lateral_wander": {"transport.lateral_wander": "0.2 mm",
     "transport.lateral_wander_frequency": "3 Hz"},
    "transport.flutter": {"transport.flutter": "0.5 mm", "transport.flutter_frequency": "3 Hz",
     "lens.focal_length": "60 mm"},
}  # fmt: skip


def assert_alike(found: Scan, known: Scan) -> None:
    """Hold the share that differs against what the expected electrons leave to differ."""
    apart = found.image.astype(np.int64) - known.image
    setup = known.setup
    # a flat field multiplies a column by up to what its light has lost, and a step with it
    lost = setup.light.edge_falloff if setup.acquisition.flat_field else 0.0
    most_gain = 1.1 / (1 - lost)
    gain_dn_e = most_gain * float(station(setup).sensor.conversion.gain_dn_e)
    off_dn = gain_dn_e * np.abs(found.expected_e.astype(np.float64) - known.expected_e)
    most = off_dn.sum() + 4.5 * np.sqrt(off_dn.sum()) + 1
    assert known.image.std() > 5
    assert np.count_nonzero(apart) <= most <= 3e-3 * apart.size + 1
    assert np.abs(apart).max() <= np.ceil(most_gain) - (lost == 0)


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("change", [{}, *CAMERAS.values()], ids=["as it is", *CAMERAS])
def test_a_scan_is_numpy_s_but_for_rounding(change: dict[str, object], device: str) -> None:
    """Also of cameras whose second half no kernel knows: that half is numpy's."""
    setup = changed(BASE, change)
    known, found = scan(setup, 3), scan(setup, 3, device=device)
    assert_alike(found, known)
    assert (known.device, found.device) == (None, device)


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize(
    "change", [{}, {"acquisition.flat_field": True}], ids=["plain", "flat field"]
)
def test_noise_drawn_on_a_device_is_numpy_s(change: dict[str, object], device: str) -> None:
    """From the same words: over whole strips and a part, over several pieces of each strip."""
    setup = changed(BASE, {"camera.pixels": 5001, "camera.read_noise": "12 e", **change})
    flat = ArrayReference(data=np.full((300, 400), 0.5, np.float32), pixel_size_um=25.0)
    known = render(setup, flat, 150, 3)
    runs = device_runs(setup, flat, 3, device)
    (renderer,), (keep,) = runs.renderers, runs.halves
    half, on = renderer.channels[0], renderer.device
    seen_e = torch.as_tensor(known.expected_e).to(on)
    for first in (0, 64):
        draw = draw_on(half.noise, keep, range(first, 150), (1, 5001), on)
        assert draw is not None
        assert draw.noise.is_far(float(seen_e.max()))
        image = draw.numbers(seen_e[first:])
        apart = np.abs(image.cpu().numpy().astype(np.int64) - known.image[first:])
        # the same electrons: what differs is float32's last bit of some 10⁴ e, 5·10⁻⁴ e
        assert np.count_nonzero(apart) < 5e-4 * apart.size
        assert apart.max() <= 1


@pytest.mark.parametrize(
    "change", [{}, {"light.illuminance": "400 klx"}], ids=["far", "near wells"]
)
def test_a_device_that_draws_makes_the_same_scan(
    change: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a graphics processor does it, run by run; where wells are near its numbers are left."""
    setup, drawn = changed(BASE, {"camera.read_noise": "12 e", **change}), list[range]()

    def told(
        noise: Noise,
        keep: Capturer,
        lines: range,
        *rest: Any,  # noqa: ANN401 -- shape and device
        queue: int,
    ) -> Draw | None:
        drawn.append(lines)
        return draw_on(noise, keep, lines, *rest, queue=queue)

    monkeypatch.setattr("linesim.forward.device.runs.draws_on", lambda _: True)
    monkeypatch.setattr("linesim.forward.device.runs._RUN_SAMPLES", 3 * 64 * 256)
    monkeypatch.setattr("linesim.forward.device.runs.draw_on", told)
    found = scan(setup, 3, device="cpu")
    assert_alike(found, scan(setup, 3))
    assert drawn == [range(192), range(192, len(found.image))]


def test_near_its_wells_numpy_draws() -> None:
    """There a count is cut off before it is read; and with little read noise too."""
    flat = ArrayReference(data=np.full((300, 400), 0.5, np.float32), pixel_size_um=25.0)
    for change, begun in (
        ({"light.illuminance": "400 klx"}, True),
        ({"camera.read_noise": "3 e"}, False),
    ):
        runs = device_runs(changed(BASE, change), flat, 3, "cpu")
        (renderer,), (keep,) = runs.renderers, runs.halves
        draw = draw_on(renderer.channels[0].noise, keep, range(64), (1, 256), renderer.device)
        assert (draw is not None) == begun
        peak_e = float(renderer.windows([0], 64, [3]).pixels_e(0).max())
        assert draw is None or not draw.noise.is_far(peak_e)


def test_a_record_says_what_made_the_image() -> None:
    """One key, and none on the numpy path, whose files stay as they are."""
    known, found = scan(BASE).metrics(), scan(BASE, device="cpu").metrics()
    told = found.pop("rendered_on")
    assert told == {"device": "cpu", "torch": version("torch")}
    assert list(found) == list(known)


def test_a_long_scan_is_written_run_by_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In runs of three strips, or all at once: the same bytes. What is gone on with is the same."""
    whole = scan(BASE, 3, device="cpu").image
    monkeypatch.setattr("linesim.forward.device.runs._RUN_SAMPLES", 3 * 64 * whole.shape[1])
    by = Manner(device="cpu")
    filed = scan_to_file(BASE, tmp_path / "scan.tif", 3, manner=by)
    assert_array_equal(filed.image.rows(0, len(whole)), whole)
    assert filed.metrics()["rendered_on"] == scan(BASE, 3, device="cpu").metrics()["rendered_on"]

    def stop(done: int, _: int) -> None:
        if done >= 128:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        scan_to_file(BASE, tmp_path / "broken.tif", 3, manner=by, progress=stop)
    with pytest.raises(InputError, match=r"^--resume: .* \(another --device\)"):
        scan_to_file(BASE, tmp_path / "broken.tif", 3, manner=Manner(resume=True))
    filed = scan_to_file(BASE, tmp_path / "broken.tif", 3, manner=Manner(resume=True, device="cpu"))
    assert_array_equal(filed.image.rows(0, len(whole)), whole)


def test_a_comparison_is_numpy_s_but_for_rounding() -> None:
    """Every variant of it."""
    found, known = (compare(BASE, ("1x1", "2x2"), 3, device=on) for on in ("cpu", "numpy"))
    for one, other in zip(found.variants, known.variants, strict=True):
        assert_alike(one.scan, other.scan)
        assert "rendered_on" in one.scan.metrics()


def test_rendered_points_are_numpy_s_but_for_rounding() -> None:
    """A few samples in ten thousand, 1 DN off: a hundredth of what noise leaves uncertain."""
    asked = {"light.illuminance": "20klx,40klx"}
    study = vary(BASE, asked, figures=("electrons_white", "snr_white", "mtf50_y_lp_mm"))
    found, known = (rendered(study, 3, device=on) for on in ("cpu", None))
    assert len(found) == len(known) == 6
    for one, other in zip(found, known, strict=True):
        assert abs(one.estimate.value - other.estimate.value) < 0.01 * other.estimate.sd


def test_injected_defects_are_numpy_s_but_for_rounding() -> None:
    """Outputs are in standard deviations of their noise, which a step of a sample barely moves."""
    setup = changed(BASE, {"target.image": "flat"})
    (found,), (known,) = (inject(setup, 24, 3, places=16, device=on) for on in ("cpu", None))
    for name in ("with_defect", "without", "best"):
        apart = np.abs(getattr(found, name) - getattr(known, name))
        assert apart.mean() < 0.01
        assert apart.max() < 1
    assert abs(found.peaks - known.peaks) <= 1


@pytest.mark.parametrize(("key", "change"), NOT_CARRIED.items(), ids=NOT_CARRIED)
def test_what_is_not_carried_is_told_first(key: str, change: dict[str, object]) -> None:
    """By its key, where the device was asked for; numpy carries it."""
    setup = changed(BASE, change)
    with pytest.raises(InputError, match=rf"^{key}: read .*, but the torch path"):
        scan(setup, device="cpu")
    with pytest.raises(InputError, match=rf"^{key}: read"):
        compare(setup, ("1x1", "2x2"), device="cpu")
    assert chosen("numpy", [setup]).device is None


def test_auto_takes_numpy_where_torch_cannot(monkeypatch: pytest.MonkeyPatch) -> None:
    """And says why: no torch, no device, a key."""
    monkeypatch.setattr(torch.cuda, "is_available", lambda: True)
    monkeypatch.setattr(torch.cuda, "device_count", lambda: 1)
    assert chosen("auto", [BASE]).device == "cuda"
    skewed = chosen("auto", [BASE, changed(BASE, NOT_CARRIED["transport.skew"])])
    assert skewed.device is None
    assert skewed.why.startswith("device: auto takes the numpy path, for transport.skew: read 0.1")
    monkeypatch.setattr(torch.cuda, "is_available", lambda: False)
    assert chosen("auto").why.endswith("finds no CUDA device here")
    monkeypatch.setattr("linesim.forward.device.choice.find_spec", {}.get)
    assert 'pip install "linesim[torch]"' in chosen("auto").why
    with pytest.raises(InputError, match=r'torch is not installed .* "linesim\[torch\]"$'):
        scan(BASE, device="cpu")


def test_a_key_that_many_stations_vary_is_told_once() -> None:
    """A set of ten thousand images would fill the screen."""
    skewed = [changed(BASE, {"transport.skew": f"{k} deg"}) for k in (1, 2, 3)]
    with pytest.raises(InputError) as told:
        chosen("cpu", [*skewed, changed(skewed[0], {"transport.lateral_wander": "1 mm"})])
    assert [each.partition(":")[0] for each in told.value.faults] == [
        "transport.skew",
        "transport.lateral_wander",
    ]


def test_a_command_without_its_device_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit code 2 by way of a refusal, before a folder is made; with auto it goes on."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(torch.cuda, "is_available", lambda: False)
    lone = (
        "scan",
        "compare",
        "measure detection",
        "dataset --count 1",
        "vary --render lens.blur=1um",
    )
    for words in lone:
        refused = CliRunner().invoke(app, [*words.split(), "--device", "cuda"])
        assert isinstance(refused.exception, InputError)
        assert 'read "cuda", but torch' in str(refused.exception)
    unused = CliRunner().invoke(app, ["vary", "lens.blur=1um", "--device", "cpu"])
    assert str(unused.exception).startswith("--device: read without --render")
    assert list(tmp_path.iterdir()) == []
