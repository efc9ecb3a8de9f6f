"""A file that grows: the bytes of one written at once, whoever wrote which lines when."""

import errno
import json
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from linesim.files import growing_tiff as growth
from linesim.files.growing_tiff import growing_tiff, settle
from linesim.files.images_out import write_tiff
from linesim.files.unfinished import Planned
from linesim.setup.errors import InputError

IMAGE = np.random.default_rng(1).integers(0, 4096, (300, 40)).astype(np.uint16)


def planned(folder: Path, image: np.ndarray[Any, Any] = IMAGE, seed: int = 0) -> Planned:
    """Plan a file for an image."""
    return Planned(
        path=folder / "scan.tif",
        shape=image.shape,
        kind=image.dtype,
        full_scale_dn=4095,
        like={"setup": "abc", "seed": seed},
    )


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    """Break a run off after 128 of 300 lines were noted, and 200 written."""

    def run() -> None:
        with growing_tiff(planned(tmp_path), resume=False) as file:
            file.put(0, IMAGE[:128])
            file.record(128)
            file.put(128, IMAGE[128:200])
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run()
    return tmp_path


@pytest.mark.parametrize("shape", [(300, 40), (300, 40, 3)])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_same_bytes_as_at_once(tmp_path: Path, shape: tuple[int, ...], kind: type) -> None:
    """Lines put in any order make the file that `write_tiff` makes."""
    image: np.ndarray[Any, Any] = np.random.default_rng(2).integers(0, 256, shape).astype(kind)
    with growing_tiff(planned(tmp_path, image), resume=False) as file:
        for first in (256, 0, 128, 64, 192):
            file.put(first, image[first : first + 64])
    settle(tmp_path / "scan.tif")
    write_tiff(tmp_path / "once.tif", image, full_scale_dn=4095)
    assert (tmp_path / "scan.tif").read_bytes() == (tmp_path / "once.tif").read_bytes()
    assert sorted(each.name for each in tmp_path.iterdir()) == ["once.tif", "scan.tif"]


def test_goes_on_where_it_was(broken: Path) -> None:
    """A run broken off leaves nothing under the final name, and is gone on with from its note."""
    assert not (broken / "scan.tif").exists()
    with growing_tiff(planned(broken), resume=True) as file:
        assert file.done == 128
        file.put(128, IMAGE[128:])
    write_tiff(broken / "once.tif", IMAGE, full_scale_dn=4095)
    assert (broken / "scan.tif").read_bytes() == (broken / "once.tif").read_bytes()


def test_resume_with_nothing_there_begins(tmp_path: Path) -> None:
    """As with a set: where nothing lies, it begins."""
    with growing_tiff(planned(tmp_path), resume=True) as file:
        assert file.done == 0
        file.put(0, IMAGE)
    assert (tmp_path / "scan.tif").exists()


def refused(plan: Planned, *, resume: bool, force: bool = False) -> str:
    """Open a file that shall be refused, and give the sentence."""
    with pytest.raises(InputError) as caught, growing_tiff(plan, resume=resume, force=force):
        pass
    return str(caught.value)


def test_nothing_is_lost_by_oversight(broken: Path) -> None:
    """Without --resume, with another seed, or with a file cut short: a sentence, and all stays."""
    before = (broken / "scan.unfinished.tif").read_bytes()
    assert "broken off after 128 of 300 lines; expected --resume" in refused(
        planned(broken), resume=False
    )
    assert "begun otherwise (seed 0 then, 1 now)" in refused(planned(broken, seed=1), resume=True)
    shorter = planned(broken, IMAGE[:200])
    assert "begun otherwise (lines 300 then, 200 now)" in refused(shorter, resume=True)
    assert (broken / "scan.unfinished.tif").read_bytes() == before
    for damaged in (before[:-1], bytes(256) + before[256:]):
        (broken / "scan.unfinished.tif").write_bytes(damaged)
        assert "is not as it was made" in refused(planned(broken), resume=True)


@pytest.mark.parametrize(
    "note",
    [
        "{",
        "[" * 100_000,
        '{"lines": 301, "of": 300, "offset": 256}',
        '{"lines": -64, "of": 300, "offset": 256}',
        '{"lines": true, "of": 300, "offset": 256}',
        '{"lines": "64", "of": 300, "offset": 256}',
    ],
    ids=["cut", "deep", "too many", "negative", "a truth", "text"],
)
def test_a_note_that_cannot_be(broken: Path, note: str) -> None:
    """Whatever stands in the note, nothing unwritten gets the final name."""
    (broken / "scan.unfinished.json").write_text(note)
    assert "cannot be read; expected the note" in refused(planned(broken), resume=True)
    assert not (broken / "scan.tif").exists()


def test_whole_but_not_settled(tmp_path: Path) -> None:
    """Broken off while the whole file is measured, a run finds nothing to do when it goes on."""
    with growing_tiff(planned(tmp_path), resume=False) as file:
        file.put(0, IMAGE)
    before = (tmp_path / "scan.tif").stat()
    assert "broken off after 300 of 300 lines" in refused(planned(tmp_path), resume=False)
    with growing_tiff(planned(tmp_path), resume=True) as file:
        assert file.done == 300
    assert (tmp_path / "scan.tif").stat().st_ino == before.st_ino
    settle(tmp_path / "scan.tif")
    with growing_tiff(planned(tmp_path), resume=False) as file:
        assert file.done == 0
        file.put(0, IMAGE)


def test_a_link_is_replaced_and_not_followed(tmp_path: Path) -> None:
    """What links of its names lead to stays as it was, while it grows and when it is whole."""
    (tmp_path / "other").write_text("old")
    for name in ("scan.tif", "scan.unfinished.tif", "scan.unfinished.json"):
        (tmp_path / name).symlink_to(tmp_path / "other")
    with growing_tiff(planned(tmp_path), resume=True) as file:
        file.put(0, IMAGE)
    assert not (tmp_path / "scan.tif").is_symlink()
    assert (tmp_path / "scan.tif").stat().st_size > IMAGE.nbytes
    assert (tmp_path / "other").read_text() == "old"


def test_one_run_at_a_time(tmp_path: Path) -> None:
    """A second run into the same file is turned away, and the first one ends well."""
    pytest.importorskip("fcntl", reason="no locks on this system")
    with growing_tiff(planned(tmp_path), resume=False) as file:
        assert "being written to by another run" in refused(planned(tmp_path), resume=False)
        file.put(0, IMAGE)
    assert (tmp_path / "scan.tif").exists()


def test_a_disk_too_small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is told before the work is done; a disk that fills up on the way is a sentence too."""
    long = planned(tmp_path)
    huge = Planned(
        path=long.path, shape=(10**9, 10**5), kind=long.kind, full_scale_dn=4095, like=long.like
    )
    assert "1000000000 lines need 2e+05 GB, but the disk has" in refused(huge, resume=False)
    assert not list(tmp_path.iterdir())

    def full(*_: object, **__: object) -> Iterator[None]:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(growth, "lay_out_tiff", full)
    assert "No space left on device" in refused(long, resume=False)


def test_the_note_is_plain(broken: Path) -> None:
    """Neither a path nor a time stands in the note."""
    told = json.loads((broken / "scan.unfinished.json").read_text())
    assert told == {"lines": 128, "of": 300, "offset": told["offset"], "setup": "abc", "seed": 0}


def test_what_breaks_off_is_noted(tmp_path: Path) -> None:
    """The last lines that were done are noted, however soon a run ends."""

    def run() -> None:
        with (
            growing_tiff(planned(tmp_path), resume=False) as file,
            closing(file.recorded(iter((64, 128, 192)))) as noted,
        ):
            for done in noted:
                file.put(done - 64, IMAGE[done - 64 : done])
                if done == 128:
                    raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run()
    assert json.loads((tmp_path / "scan.unfinished.json").read_text())["lines"] == 128
