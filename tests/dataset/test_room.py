"""The room on the disk: estimated high enough, and looked for before the first image."""

import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

from linesim.dataset.draw import drawn
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.room import need_bytes
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone


def test_the_estimate_covers_the_set_and_not_much_more(plan: Plan, made: Path) -> None:
    """Its files in blocks of 4096 bytes take less than the estimate, and over half of it."""
    used = sum(
        -(-path.stat().st_size // 4096) * 4096
        for name in ("images", "samples", "masks", "labels", "records")
        for path in (made / name).rglob("*.*")
    )
    assert 0.5 * need_bytes(plan) < used < need_bytes(plan)


def test_it_grows_with_samples_and_count(plan_file: Path) -> None:
    """Ten times the images, ten times the room; RGB takes three times the samples."""
    once, ten = (need_bytes(load_plan(plan_file, count=count)) for count in (64, 640))
    assert ten == pytest.approx(10 * once, rel=0.1)  # of other draws of binning
    shot = {"images": {"lines": 1000}, "faults": {"count": 0, "pinhole": {"count": 1}}}
    mono, colour = (
        need_bytes(plan_from({**shot, "vary": {"camera": {"kind": kind}}}))
        for kind in ("mono", "prism")
    )
    assert colour > 2.5 * mono


def test_a_full_disk_is_refused_before_the_start(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence says what is needed and what is free; nothing has been written."""
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=100_000))
    with pytest.raises(InputError, match=r"need some 0\.0\d+ GB, and 0\.0001 GB are free"):
        make_set(plan, tmp_path / "set", Alone())
    assert list(tmp_path.iterdir()) == []


def test_faults_lie_where_a_delayed_trigger_looks(plan_file: Path, tmp_path: Path) -> None:
    """1 ms at 1 m/s is 1 mm: faults begin there, and the piece reaches to the last line."""
    (tmp_path / "set.toml").write_text(plan_file.read_text("utf-8"), "utf-8")
    station = (plan_file.parent / "station.toml").read_text("utf-8")
    late = station.replace("[acquisition]", '[acquisition]\ntrigger_delay = "1 ms"')
    (tmp_path / "station.toml").write_text(late, "utf-8")
    plan = load_plan(tmp_path / "set.toml")
    shots = [drawn(plan, index) for index in range(plan.count)]
    places_mm = [fault.pose.y_mm for shot in shots for fault in shot.faults]
    scanned_mm = 96 * 0.075
    assert len(places_mm) > 5
    assert 1.0 <= min(places_mm) < max(places_mm) <= 1.0 + 2 * scanned_mm
    # the piece holds what 96 lines of one pixel see
    single = [each for each in shots if each.changes["acquisition.binning"] == "1x1"]
    assert min(each.piece.rows for each in single) >= (1.0 + scanned_mm) / 0.025
