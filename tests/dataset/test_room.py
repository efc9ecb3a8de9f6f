"""The room on the disk: estimated high enough, and looked for before the first image."""

import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

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
        for name in ("images", "masks", "labels", "records")
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
