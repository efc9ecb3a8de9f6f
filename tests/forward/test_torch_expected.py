"""
Before the noise, the device way gives numpy's expected electrons.

The tables are the same and in float32; the products add some hundred numbers in another order. A
sum of n terms of one sign errs by at most n ε of itself in any order, ε = 6·10⁻⁸, and by about
√n ε: 75 rows and then 75 columns give 10⁻⁶ at the worst typical sum. 10⁻⁵ of each value, plus 10⁻⁶
of white for values that lens terms of either sign make small, leaves room and tells a weight wrong
in its fifth digit.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.forward.device.render import DeviceReference, device_renderer
from linesim.forward.device.scans import render_by
from linesim.forward.reference import ArrayReference
from linesim.forward.render import Rendered, render
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.targets.faces.faced import FacedReference, lit_reference
from linesim.targets.load import target_reference
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
LINES = 150
BASE = plain_setup(
    "On a device",
    target={"pixel_size": "18.75 um"},
    lens={"focal_length": "60 mm"},
    light={"illuminance": "100 klx"},
    camera={"pixels": 96, "full_well": "100 ke"},
    acquisition={"exposure": "20 us"},
)
COLOURS: dict[str, object] = {
    "camera.kind": "three-line",
    "camera.line_spacing": "15 um",
    "acquisition.colour_alignment": "fractional",
}
CASES: dict[str, dict[str, object]] = {
    "plain": {},
    "one reference pixel in 3.3": {"target.pixel_size": "22.7 um"},
    "coarser than the pixels": {"target.pixel_size": "110 um"},
    "repeating": {"target.repeat": True},
    "jitter": {"transport.line_jitter": "20 um"},
    "ripple": {"transport.speed_ripple": 0.05, "transport.ripple_frequency": "300 Hz"},
    "flicker": {"light.flicker": 0.2, "light.flicker_frequency": "900 Hz"},
    "fall-off": {"light.edge_falloff": 0.4},
    "stages": {"camera.tdi_stages": 8},
    "charge of 2x2": {"acquisition.binning": "2x2"},
    "numbers of 2x2": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
    "lines of 1x2": {"acquisition.binning": "1x2", "acquisition.binning_along": "lines",
     "acquisition.binning_domain": "digital"},
    "three lines": COLOURS,
    # cells of the target stand for its pixels then
    "a wide blur": {"lens.blur": "75 um"},
    "a wide blur of a repeat": {"lens.blur": "75 um", "target.repeat": True},
    "a wide blur of three lines, joined": {**COLOURS, "lens.blur": "150 um",
     "acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
}  # fmt: skip


def target(setup: Setup, *, colours: int = 0) -> ArrayReference:
    """Make grains and a black bar, smaller than the field across and along: borders show."""
    pitch_um = setup.target.pixel_size_um
    side = round(96 * 75 / pitch_um), round(90 * 75 / pitch_um)
    data = np.random.default_rng(7).random((*side, colours) if colours else side)
    data[side[0] // 3 : side[0] // 2, side[1] // 4 : side[1] // 2] = 0.0
    return ArrayReference(data=data.astype(np.float32), pixel_size_um=pitch_um)


def assert_same_light(found: ImageArray, known: Rendered) -> None:
    """Compare expected electrons."""
    white_e = float(known.expected_e.max())
    assert known.expected_e.std() > 0.05 * white_e
    assert_allclose(found, known.expected_e, rtol=1e-5, atol=1e-6 * white_e)


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("change", CASES.values(), ids=CASES.keys())
def test_expected_electrons_are_those_of_numpy(change: dict[str, object], device: str) -> None:
    """Every kind of camera, light and motion that the device way carries."""
    setup = changed(BASE, change)
    seen = target(setup)
    found = render_by(device)(setup, seen, LINES, 3)
    assert_same_light(found.expected_e, render(setup, seen, LINES, 3))


def test_plain_torch_serves_where_there_is_a_kernel() -> None:
    """The way can be chosen; on the device at hand both ways see the same light."""
    seen = target(BASE)
    made = device_renderer(BASE, seen, device=DEVICES[-1], method="products")
    found = made.windows([0], LINES, [0]).pixels_e(0)[0, 0]
    assert_same_light(found.cpu().numpy(), render(BASE, seen, LINES, 0))


@pytest.mark.parametrize("device", DEVICES)
def test_a_colour_target_is_seen_by_every_channel(device: str) -> None:
    """Each channel weighs the bands of the target as numpy does."""
    setup = changed(BASE, COLOURS)
    seen = target(setup, colours=3)
    found, known = (by(setup, seen, 40, 0) for by in (render_by(device), render))
    assert found.image.shape == known.image.shape
    assert_same_light(found.expected_e, known)


@pytest.mark.parametrize("device", DEVICES)
def test_windows_lie_where_their_lines_do(device: str) -> None:
    """Windows in any order, overlapping or not, see what the whole scan sees."""
    setup = changed(BASE, {"target.pixel_size": "22.7 um"})
    seen = target(setup)
    known = render(setup, seen, LINES, 0).expected_e
    firsts = [90, 3, 40, 41]
    done = device_renderer(setup, seen, device=device).windows(firsts, 37, [0] * 4)
    for index, first in enumerate(firsts):
        part = Rendered(image=np.zeros(1, np.uint16), expected_e=known[first : first + 37])
        assert_same_light(done.pixels_e(0)[0, index].cpu().numpy(), part)


@pytest.mark.parametrize("device", DEVICES)
def test_a_reference_on_the_device_stays_there(device: str) -> None:
    """No second copy is made of a target of one band."""
    data = torch.rand((200, 300), device=device)
    seen = DeviceReference(data=data, pixel_size_um=BASE.target.pixel_size_um)
    made = device_renderer(BASE, seen, device=device, method="products")
    assert made.channels[0].sampler.plane.data_ptr() == data.data_ptr()
    assert_allclose(seen.rows(3, 5), data[3:5].cpu().numpy(), rtol=0)


def test_the_precision_of_torch_is_left_as_it_was() -> None:
    """Coarse products that a training run has allowed are neither used nor forbidden for good."""
    seen = target(BASE)
    torch.set_float32_matmul_precision("medium")
    try:
        made = device_renderer(BASE, seen, device=DEVICES[-1], method="products")
        found = made.windows([0], LINES, [0]).pixels_e(0)[0, 0]
        assert torch.get_float32_matmul_precision() == "medium"
    finally:
        torch.set_float32_matmul_precision("highest")
    assert_same_light(found.cpu().numpy(), render(BASE, seen, LINES, 0))


@pytest.mark.parametrize(
    ("key", "value"), [("skew", "0.1 deg"), ("lateral_wander", "0.2 mm"), ("flutter", "0.5 mm")]
)
def test_what_bends_lines_is_refused(key: str, value: str) -> None:
    """The sentence names the key and what was read."""
    setup = changed(BASE, {f"transport.{key}": value})
    with pytest.raises(
        InputError, match=rf"^transport\.{key}: read [0-9.]+ \w+, but the torch path"
    ):
        device_renderer(setup, target(BASE), device="cpu")


def test_a_way_or_device_that_is_not_there_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """No traceback of another library: the sentence says what to do."""
    monkeypatch.setattr(torch.cuda, "is_available", lambda: False)
    with pytest.raises(InputError, match=r'^device: read "cuda", .* expected "cpu"$'):
        device_renderer(BASE, target(BASE))
    monkeypatch.setattr("linesim.forward.device.choice.find_spec", {}.get)
    with pytest.raises(InputError, match=r'pip install "linesim\[torch\]"$'):
        device_renderer(BASE, target(BASE), device="cpu")
    monkeypatch.undo()
    monkeypatch.setattr(
        "linesim.forward.device.render.find_spec", lambda name: None if name == "triton" else name
    )
    with pytest.raises(InputError, match=r'^method: read "kernels"'):
        device_renderer(BASE, target(BASE), device="cpu", method="kernels")


WAVY: dict[str, Any] = {
    "title": "Waves",
    "target": {"image": "flat", "pixel_size": "40 um", "width": "12 mm", "height": "3.2 mm",
     "relief": "waves.png", "relief_range": "30 um", "gloss": 0.4, "rms_slope": 0.05},
    "transport": {"speed": "60 m/min"},
    "light": {"irradiance": "60 W/m^2", "arrangement": "line", "angle": "20 deg",
     "angular_width": "12 deg"},
    "camera": {"pixels": 90, "pixel_width": "7 um", "angle": "20 deg"},
}  # fmt: skip


@pytest.mark.parametrize("lens", [{}, {"focal_length": "20 mm"}])
def test_relief_is_lit_alike_on_a_device(lens: dict[str, Any], tmp_path: Path) -> None:
    """The same tables give the same radiance factors, bit by bit on this processor."""
    waves = np.sin(np.arange(300) / 9)[None] + np.cos(np.arange(80) / 5)[:, None]
    iio.imwrite(tmp_path / "waves.png", np.uint16(65535 * (waves + 2) / 4))
    setup = setup_from({**WAVY, "lens": {"magnification": 0.06, **lens}}, tmp_path)
    seen = lit_reference(setup, target_reference(setup))
    assert isinstance(seen, FacedReference)
    on_it = seen.on_device(torch.device("cpu"), lambda part: torch.tensor(part.rows(0, 80)))
    assert on_it is not None
    assert (on_it.numpy() == seen.rows(0, 80)).all()
