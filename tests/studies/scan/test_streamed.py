"""A scan written strip by strip is the scan that fits into memory, byte by byte."""

import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import tifffile

from linesim.cli import main
from linesim.files import growing_tiff as growth
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.outputs import write_filed, write_scan
from linesim.studies.scan.streamed import Manner, is_long, scan_to_file
from linesim.studies.scan.study import scan
from linesim.targets import windowed as windows
from linesim.workers.tasks import Progress
from tests.stations import plain_setup

BASE = plain_setup(
    "A long foil",
    target={
        "image": "foil",
        "pixel_size": "30 um",
        "width": "6 mm",
        "height": "5 mm",
        "repeat": True,
    },
    transport={"speed": "1 m/s", "line_jitter": "5 um"},
    light={"illuminance": "60 klx"},
    camera={"pixels": 80},
    acquisition={"lines": 500},
)
COLOUR = changed(
    BASE,
    {
        "target.image": "tile",
        "camera.kind": "three-line",
        "camera.rows": 3,
        "camera.line_spacing": "15 um",
        "camera.bit_depth": 8,
        "camera.prnu": 0.01,
        "acquisition.lines": 200,
    },
)
FLAT = changed(BASE, {"target.image": "flat", "transport.line_jitter": "0 um"})
EDGE = changed(
    BASE,
    {
        "target.image": "edge",
        "target.repeat": False,
        "light.illuminance": "1 Mlx",
        "camera.full_well": "400 ke",
    },
)


@pytest.mark.parametrize(
    "setup", [BASE, COLOUR, FLAT, EDGE], ids=["mono", "8 bit colour", "flat", "edge"]
)
def test_same_files(setup: Setup, tmp_path: Path) -> None:
    """Samples, figures and setup are those of a scan in memory, whatever the number of threads."""
    folder = tmp_path / "streamed"
    write_scan(scan(setup, seed=4), tmp_path / "held")
    found = scan_to_file(setup, folder / "scan.tif", seed=4, manner=Manner(workers=3))
    write_filed(found, folder)
    for name in ("scan.tif", "metrics.json", "setup.toml"):
        assert (folder / name).read_bytes() == (tmp_path / "held" / name).read_bytes(), name
    names = {"scan.tif", "metrics.json", "setup.toml", "preview.png"}
    assert {each.name for each in folder.iterdir()} == names


class StopError(Exception):
    """Stands in for a run that breaks off."""


def stopped_at(line: int) -> Progress:
    """Give a listener that breaks a run off."""

    def tell(done: int, _total: int) -> None:
        if done >= line:
            raise StopError

    return tell


@pytest.fixture
def noted_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Note every strip as it is done."""
    monkeypatch.setattr(growth, "_PAUSE_S", 0.0)


@pytest.mark.usefixtures("noted_at_once")
def test_gone_on_with(tmp_path: Path) -> None:
    """Broken off twice and gone on with: the same bytes, and no strip is rendered twice."""
    path, seen = tmp_path / "scan.tif", []
    for line in (128, 320):
        with pytest.raises(StopError):
            scan_to_file(BASE, path, progress=stopped_at(line), manner=Manner(resume=True))
        assert not path.exists()
    scan_to_file(BASE, path, manner=Manner(resume=True), progress=lambda done, _: seen.append(done))
    assert seen == [384, 448, 500]
    once = tmp_path / "once.tif"
    scan_to_file(BASE, once)
    assert path.read_bytes() == once.read_bytes()


@pytest.mark.usefixtures("noted_at_once")
def test_another_run_is_not_gone_on_with(tmp_path: Path) -> None:
    """Another seed, another light, other lines: refused by name; a new title is no other run."""
    path = tmp_path / "scan.tif"
    with pytest.raises(StopError):
        scan_to_file(BASE, path, progress=stopped_at(128))
    for setup, seed, what in (
        (BASE, 1, "seed 0 then, 1 now"),
        (changed(BASE, {"light.illuminance": "61 klx"}), 0, "another setup"),
        (changed(BASE, {"acquisition.lines": 501}), 0, "lines 500 then, 501 now"),
    ):
        with pytest.raises(InputError, match=f"begun otherwise .*{what}"):
            scan_to_file(setup, path, seed, manner=Manner(resume=True))
    with pytest.raises(InputError, match="broken off after 128 of 500 lines"):
        scan_to_file(BASE, path)
    scan_to_file(changed(BASE, {"title": "Renamed"}), path, manner=Manner(resume=True))


def test_a_target_that_changes_meanwhile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A target read by rows must stay: another file under its name is refused, not mixed in."""
    monkeypatch.setattr(windows, "LEAST_PIXELS", 1)
    monkeypatch.setattr(windows, "_BLOCK_BYTES", 50_000)
    codes = np.random.default_rng(9).integers(0, 65535, (2000, 100)).astype(np.uint16)
    for name in ("web.tif", "other.tif"):
        tifffile.imwrite(tmp_path / name, codes)
    texts = {
        "title": "Changed",
        "target": {"image": "web.tif", "pixel_size": "60 um"},
        "transport": {"speed": "1 m/s"},
        "lens": {"magnification": 0.1},
        "light": {"illuminance": "60 klx"},
        "camera": {"pixels": 80, "pixel_width": "7.5 um"},
    }

    def swap(done: int, _total: int) -> None:
        if done == 64:
            (tmp_path / "other.tif").replace(tmp_path / "web.tif")

    with pytest.raises(InputError, match=r'"web.tif" was changed while it was read'):
        scan_to_file(
            setup_from(texts, folder=tmp_path),
            tmp_path / "scan.tif",
            progress=swap,
            manner=Manner(workers=1),
        )
    assert not (tmp_path / "scan.tif").exists()


def test_a_target_larger_than_held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tiled TIFF read by rows gives the scan of the same target held, past its end as well."""
    codes = np.random.default_rng(8).integers(0, 65535, (400, 300)).astype(np.uint16)
    tifffile.imwrite(tmp_path / "web.tif", codes, tile=(64, 64), compression="zlib")
    setup = setup_from(
        {
            "title": "From a file",
            "target": {"image": "web.tif", "pixel_size": "25 um", "repeat": True},
            "transport": {"speed": "1 m/s", "skew": "0.5 deg"},
            "lens": {"magnification": 0.1},
            "light": {"illuminance": "60 klx"},
            "camera": {"pixels": 80, "pixel_width": "7.5 um"},
            "acquisition": {"lines": 300},
        },
        folder=tmp_path,
    )
    held = scan(setup)
    monkeypatch.setattr(windows, "LEAST_PIXELS", 1)
    monkeypatch.setattr(windows, "_BLOCK_BYTES", 50_000)
    other = changed(setup, {"title": "By rows"})  # opened anew
    found = scan_to_file(other, tmp_path / "scan.tif")
    np.testing.assert_array_equal(found.image.rows(0, 300), held.image)
    assert scan(other).budget.as_dict() == held.budget.as_dict()


class Counted(ArrayReference):
    """A target that knows how many rows were asked for."""

    asked: list[int] = []  # noqa: RUF012 -- emptied by the test

    def rows(self, first: int, last: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
        """Count and give."""
        self.asked.append(last - first)
        return super().rows(first, last)


def test_the_seam_of_a_repeat_costs_nothing() -> None:
    """Where a repeating target begins again, no more rows are read than elsewhere."""
    data = np.random.default_rng(0).random((3000, 200), dtype=np.float32)
    setup = changed(BASE, {"acquisition.lines": 64, "transport.line_jitter": "0 um"})
    for start in (0, 2900):
        Counted.asked.clear()
        moved = np.roll(data, start, axis=0)
        seen = Counted(data=moved, pixel_size_um=30.0)
        image = render(setup, seen, 64, 0).image
        if start == 0:
            plain, rows = image, sum(Counted.asked)
        else:
            assert sum(Counted.asked) == rows
    assert plain.shape == image.shape


def test_memory_does_not_grow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three times the lines, the same memory at its peak, to 5 %; a scan held takes 0.5 MB more."""
    monkeypatch.setattr("linesim.metrics.flat.tally.BLOCK_SAMPLES", 50_000)
    wide = changed(BASE, {"camera.pixels": 200})
    peaks = []
    for lines in (640, 640, 1920):  # the first fills what stays in caches
        tracemalloc.start()
        long = changed(wide, {"acquisition.lines": lines})
        scan_to_file(long, tmp_path / f"{lines}.tif", manner=Manner(workers=1))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[2] < 1.05 * peaks[1]


def test_long_scans_are_told_by_their_samples() -> None:
    """More than 2²⁸ samples are written strip by strip."""
    assert not is_long(changed(BASE, {"acquisition.lines": (1 << 28) // 80}))
    assert is_long(changed(BASE, {"acquisition.lines": (1 << 28) // 80 + 1}))


def test_pages_of_a_long_scan_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A report needs the whole scan; it is told before anything is rendered."""
    out = str(tmp_path / "out")
    monkeypatch.setattr(sys, "argv", ["linesim", "scan", "--stream", "--report", "--out", out])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "--report: asked for a scan that is written strip by strip" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
