"""Several devices share the work: with the same bytes, or refused in one sentence."""

from pathlib import Path

import pytest
from numpy.testing import assert_array_equal

from linesim import scan, scan_to_file
from linesim.forward.device.choice import chosen, rendered_on
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.measure.detection.study import inject
from linesim.studies.scan.streamed import Manner
from linesim.studies.vary.rendered import rendered
from linesim.studies.vary.study import vary
from tests.stations import plain_setup

torch = pytest.importorskip("torch", reason="the extra torch is not installed")

BASE = plain_setup(
    "Shared",
    target={"image": "foil", "pixel_size": "25 um", "width": "20 mm", "height": "16 mm"},
    transport={"line_jitter": "5 um"},
    requirement={"smallest_defect": "300 um"},
)


def test_several_devices_give_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lines of a scan are dealt over them, and its file says nothing of their number."""
    monkeypatch.setattr("linesim.forward.device.runs._RUN_SAMPLES", 64 * BASE.camera.pixels)
    one = scan(BASE, 3, device="cpu")
    for devices in ("cpu,cpu", "cpu,cpu,cpu"):
        many = scan(BASE, 3, device=devices)
        assert_array_equal(many.image, one.image)
        assert_array_equal(many.expected_e, one.expected_e)
        assert many.metrics() == one.metrics()
    filed = scan_to_file(BASE, tmp_path / "scan.tif", 3, manner=Manner(device="cpu,cpu"))
    assert_array_equal(filed.image.rows(0, len(one.image)), one.image)


def test_points_and_defects_are_the_same_on_several_devices() -> None:
    """Whichever of them makes an image."""
    study = vary(BASE, {"light.illuminance": "20klx,40klx"}, figures=("electrons_white",))
    assert rendered(study, 3, device="cpu,cpu") == rendered(study, 3, device="cpu")
    setup = changed(BASE, {"target.image": "flat"})
    (found,), (known,) = (inject(setup, 50, 3, places=16, device=on) for on in ("cpu,cpu", "cpu"))
    assert_array_equal(found.best, known.best)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("gpu", r'^device: read "gpu"; expected numpy, cpu, cuda, "cuda:1"'),
        ("cuda:0,cuda:1", r'^device: read "cuda:1", but torch finds 1 of them here'),
        ("cpu,cuda", r'^device: "cpu" is a processor, "cuda" is .*; expected devices of one model'),
        ("cpu,", r'^device: read "cpu,"; expected numpy'),
        ("cuda:2", r'^device: read "cuda:2", but torch finds 1 of them here; expected "cuda:0"$'),
    ],
)
def test_another_device_is_refused(asked: str, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With what there is."""
    monkeypatch.setattr(torch.cuda, "is_available", lambda: True)
    monkeypatch.setattr(torch.cuda, "device_count", lambda: 1)
    monkeypatch.setattr(torch.cuda, "get_device_name", lambda _: "a card")
    with pytest.raises(InputError, match=told):
        scan(BASE, device=asked)


def test_all_devices_are_named_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """As many as torch finds; with none, what was asked for is refused."""
    monkeypatch.setattr(torch.cuda, "is_available", lambda: True)
    monkeypatch.setattr(torch.cuda, "device_count", lambda: 2)
    monkeypatch.setattr(torch.cuda, "get_device_name", lambda _: "a card")
    assert chosen("all").device == "cuda:0,cuda:1"
    assert rendered_on("cuda:0,cuda:1") == rendered_on("cuda")
    monkeypatch.setattr(torch.cuda, "is_available", lambda: False)
    with pytest.raises(InputError, match=r"finds no CUDA device here"):
        chosen("all")
