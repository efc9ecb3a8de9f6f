"""A scan that would not fit is refused before it begins, with what it needs and what there is."""

import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.compare.study import compare
from linesim.studies.scan import memory
from linesim.studies.scan.memory import available, refuse_too_large
from linesim.studies.scan.study import needed, scan
from linesim.targets.load import target_reference, target_size
from tests.stations import plain_setup

BASE = plain_setup(
    "Memory",
    target={"pixel_size": "40 um", "width": "80 mm", "height": "20 mm"},
    camera={"pixels": 1024},
    acquisition={"lines": 256},
)


@pytest.fixture
def poor(monkeypatch: pytest.MonkeyPatch) -> Callable[[int], None]:
    """Give a function that leaves so many bytes."""

    def leave(count: int) -> None:
        monkeypatch.setattr(memory, "available", lambda: count)

    return leave


@pytest.fixture(scope="module")
def loaded() -> None:
    """Load what measuring loads when it is first needed, an edge most: no scan takes that again."""
    scan(changed(BASE, {"target.image": "edge", "camera.pixels": 512}), workers=1)


@pytest.mark.usefixtures("loaded")
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"target.image": "edge"},
        {"acquisition.exposure": "5 ms"},
        {"lens.f_number": 22},
        {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
        {"camera.kind": "prism"},
        {"transport.lateral_wander": "100 um", "acquisition.lines": 128},
        {"target.image": "foil", "target.pixel_size": "20 um", "lens.blur": "0.2 mm"},
    ],
    ids=["flat", "edge", "long exposure", "f/22", "digital", "prism", "wander", "wide blur"],
)
def test_a_scan_takes_no_more_than_was_said(changes: dict[str, object]) -> None:
    """Traced at its peak; what is not counted (rows of tables, small arrays) is under 1 MB."""
    setup = changed(BASE, changes)
    scan(changed(setup, {"acquisition.lines": 2}), workers=1)  # what stays in caches
    target_reference(changed(BASE, {"target.image": "bars"}))  # the only target that is held
    asked, _ = needed(setup, target_size(setup), workers=1)
    tracemalloc.start()
    found = scan(setup, workers=1)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < asked.total + 1e6
    assert asked.result == found.image.nbytes + found.expected_e.nbytes


def test_pixels_that_stand_for_cells_are_not_counted() -> None:
    """
    Under a blur of a thousand pixels what is held is that of cells, and so is what is counted.

    Traced, of a flat target, which costs nothing to hold; with every pixel it were 725 MB.
    """
    wide = {"target.pixel_size": "10 um", "lens.blur": "1 mm"}
    setup = changed(BASE, wide)
    asked, _ = needed(setup, target_size(setup), workers=1)
    scan(changed(setup, {"acquisition.lines": 2}), workers=1)
    tracemalloc.start()
    scan(setup, workers=1)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < asked.total < 2 * peak


@pytest.mark.parametrize("image", ["flat", "edge"])
def test_a_target_far_wider_than_the_line_is_told(image: str, poor: Callable[[int], None]) -> None:
    """Neither fewer lines nor a stream help there: the sentence names the width that is seen."""
    poor(1_000_000_000)
    wide = changed(BASE, {"target.image": image, "target.width": "900 m"})
    with pytest.raises(
        InputError, match=r"expected a smaller target\.width \(the line sees 76\.8 mm"
    ):
        scan(wide)


@pytest.mark.parametrize("image", ["foil", "sheet"])
def test_a_scene_far_wider_than_the_line_is_told(image: str) -> None:
    """Its first rows are drawn to look at: they are refused before memory is taken for them."""
    wide = changed(BASE, {"target.image": image, "target.width": "900 m"})
    with pytest.raises(
        InputError, match=r'read "900 m", .* expected little more than the line sees, 76\.8 mm'
    ):
        target_size(wide)


def test_what_does_not_fit_is_refused(poor: Callable[[int], None]) -> None:
    """A byte less than needed: needed and available in the sentence; with force it runs."""
    asked, shape = needed(BASE, target_size(BASE))
    poor(asked.total)
    assert scan(BASE).image.shape == shape
    poor(asked.total - 1)
    with pytest.raises(InputError, match=r"need .* GB of memory .* is available; .* --force"):
        scan(BASE)
    assert scan(BASE, force=True).image.shape == shape


def test_a_comparison_counts_all_its_scans(poor: Callable[[int], None]) -> None:
    """Room for each scan alone is not enough for two side by side."""
    one, shape = needed(BASE, target_size(BASE))
    poor(one.total + one.result // 8)
    with pytest.raises(InputError, match="of memory"):
        compare(BASE, ("1x1", "2x1"))
    poor(one.total)
    compare(BASE, ("1x1", "2x1"), force=True)
    refuse_too_large([one], shape)


def test_a_view_too_wide_is_refused_too(poor: Callable[[int], None]) -> None:
    """Few lines of long travel: it is the reference seen while exposed that does not fit."""
    poor(1_000_000_000)
    long = changed(BASE, {"acquisition.exposure": "1000 s"})
    with pytest.raises(InputError, match=r"shorter acquisition\.length or exposure"):
        scan(long)


def group(root: Path, name: str, most: str, now: int, cached: int) -> None:
    """Write the files of a control group, version 2."""
    folder = root / name
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "memory.max").write_text(f"{most}\n", "ascii")
    (folder / "memory.current").write_text(f"{now}\n", "ascii")
    (folder / "memory.stat").write_text(f"anon 5\ninactive_file {cached}\n", "ascii")


def test_control_groups_limit_what_is_available(tmp_path: Path) -> None:
    """Of a group and those above it: limit less use, what files cache given back (cgroup v2)."""
    root, own = tmp_path / "cgroup", tmp_path / "own"
    own.write_text("0::/job/step\n", "ascii")
    group(root, "job/step", "max", 900, 0)
    group(root, "job", "1000", 700, 250)
    assert min(memory.groups_left(root, own)) == 550
    own.write_text("4:memory:/other\n0::/job\n", "ascii")
    assert min(memory.groups_left(root, own)) == 550
    assert memory.groups_left(root, tmp_path / "none") == []


def test_there_is_some_memory_here() -> None:
    """Neither nothing nor without end, on a system that tells."""
    assert 1_000_000 < available() <= 1 << 60
