"""Verifying a set finds what was changed, and nothing in one that was not."""

import subprocess
from collections.abc import Callable
from pathlib import Path
from shutil import copytree, which

import imagecodecs
import numpy as np
import pytest

from linesim.dataset.layout import SET
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.verify import verify
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone


def first(folder: Path, pattern: str) -> Path:
    """Find the first file of a kind that has something to change."""
    return next(path for path in sorted(folder.glob(pattern)) if path.stat().st_size > 0)


def in_text(pattern: str, old: str, new: str) -> Callable[[Path], None]:
    """Change a text file."""

    def change(folder: Path) -> None:
        paths = [each for each in sorted(folder.glob(pattern)) if old in each.read_text("utf-8")]
        paths[0].write_text(paths[0].read_text("utf-8").replace(old, new, 1), "utf-8")

    return change


def in_samples(pattern: str) -> Callable[[Path], None]:
    """Change one sample of an image."""

    def change(folder: Path) -> None:
        path = first(folder, pattern)
        image = imagecodecs.png_decode(path.read_bytes())
        image[5, 5] += 1
        path.write_bytes(bytes(imagecodecs.png_encode(np.ascontiguousarray(image), level=1)))

    return change


def gone(pattern: str) -> Callable[[Path], None]:
    """Remove a file."""
    return lambda folder: first(folder, pattern).unlink()


def test_a_set_as_it_was_made_is_right(made: Path) -> None:
    """All labels looked at, some images made again."""
    found = verify(made, 5)
    assert found.faults == ()
    assert found.images == 12
    assert found.labels > 20
    assert len(found.made_again) == 5


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (in_samples("masks/*/*.png"), "the mask is not that of the labels"),
        (in_samples("images/*/*.png"), "is not what comes out when it is made again"),
        (in_text("records/*/*.json", '"area_px": ', '"area_px": 1'), "area is not that of"),
        (in_text("records/*/*.json", '"bbox": [\n        ', '"bbox": [\n        1'), "box is not"),
        (in_text("labels/*/0*.txt", "0.", "0.1"), "boxes is not that of the labels"),
        (in_text("annotations/*.json", '"iscrowd": 0', '"iscrowd": 1'), "annotations/"),
        (in_text("annotations/*.json", '{"id": 1, "image_id"', '{"id": 7, "image_id"'), "from 1"),
        (in_text("manifest.csv", "train", "val"), "manifest.csv is not what comes out"),
        (in_text("README.md", "Simulated", "Real"), "README.md"),
        (in_text("plan.toml", "48 klx", "49 klx"), "fingerprint differs"),
        (gone("images/*/*.png"), "is not there, or not whole"),
        (gone("faults.csv"), "faults.csv is not there"),
    ],
)
def test_a_change_is_found(
    change: Callable[[Path], None], told: str, made: Path, tmp_path: Path
) -> None:
    """Whichever file was touched, a sentence says so."""
    folder = tmp_path / "set"
    copytree(made, folder)
    change(folder)
    made_again = 12 if "made again" in told else 0
    assert any(told in fault for fault in verify(folder, made_again).faults)


def test_a_scene_in_two_splits_is_found(made: Path, tmp_path: Path) -> None:
    """Records that give one scene to two splits."""
    folder = tmp_path / "set"
    copytree(made, folder)
    for path in folder.glob("records/*/*.json"):
        text = path.read_text("utf-8")
        number = text.partition('"scene_number": ')[2].partition(",")[0]
        path.write_text(text.replace(f'"scene_number": {number}', '"scene_number": 0'), "utf-8")
    told = verify(folder, 0).faults
    assert "train and test share scene 0" in told
    assert "train and val share scene 0" in told


def test_an_unfinished_set_is_told(plan_file: Path, tmp_path: Path) -> None:
    """Images that are not there yet are named."""
    make_set(load_plan(plan_file, count=3), tmp_path / "set", Alone())
    for name in ("plan.toml", SET):
        path = tmp_path / "set" / name
        text = path.read_text("utf-8")
        path.write_text(
            text.replace("count = 3", "count = 4").replace('"count": 3', '"count": 4'), "utf-8"
        )
    told = verify(tmp_path / "set").faults
    assert "image 3 is not there, or not whole" in told
    assert any(each.startswith("files.sha256 does not list images/") for each in told)


def test_no_set_is_refused(tmp_path: Path) -> None:
    """Neither an empty folder nor a broken description passes for one."""
    with pytest.raises(InputError, match="holds no set"):
        verify(tmp_path)
    (tmp_path / SET).write_text("{", "utf-8")
    with pytest.raises(InputError, match="cannot be read"):
        verify(tmp_path)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"faults": 3}', "\xff"], ids=repr)
def test_a_damaged_record_is_told(made: Path, tmp_path: Path, text: str) -> None:
    """Whatever stands in a record, it is a fault of the set and no trace."""
    copytree(made, tmp_path / "set")
    record = min((tmp_path / "set" / "records").rglob("*.json"))
    record.write_bytes(text.encode("latin-1"))
    faults = verify(tmp_path / "set", 0).faults
    assert any(record.name in fault for fault in faults)
    # one sentence says what cannot be read, and none is of a copy made to compare
    assert sum("cannot be read" in fault for fault in faults) <= 1


def pair(pattern: str) -> Callable[[Path], None]:
    """Put two files of a kind in each other's place."""

    def change(folder: Path) -> None:
        one, two = sorted(folder.glob(pattern))[:2]
        held = one.read_bytes()
        one.write_bytes(two.read_bytes())
        two.write_bytes(held)

    return change


def cut(pattern: str, size: int) -> Callable[[Path], None]:
    """Leave the first bytes of a file alone."""

    def change(folder: Path) -> None:
        path = first(folder, pattern)
        path.write_bytes(path.read_bytes()[:size])

    return change


def byte(pattern: str) -> Callable[[Path], None]:
    """Change the last byte of a file."""

    def change(folder: Path) -> None:
        path = first(folder, pattern)
        held = bytearray(path.read_bytes())
        held[-1] ^= 1
        path.write_bytes(bytes(held))

    return change


def added(name: str) -> Callable[[Path], None]:
    """Lay another file into the set."""

    def change(folder: Path) -> None:
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(b"more")

    return change


HOLDS = "is not as it was written: it holds what "


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (cut("images/train/*.png", 100), "images/train/{} is not as it was written: other bytes"),
        (cut("masks/train/*.png", 0), "masks/train/{} is not as it was written: it is empty"),
        (cut("records/train/*.json", 0), "records/train/{} is not as it was written: it is empty"),
        (cut("records/train/*.json", 99), "records/train/{} is not as it was written: other"),
        (cut("annotations/*.json", 99), "annotations/{} is not as it was written: other bytes"),
        (cut("annotations/*.json", 0), "annotations/{} is not as it was written: it is empty"),
        (pair("samples/train/*.png"), "samples/train/{} " + HOLDS + "samples/train/"),
        (pair("records/train/*.json"), "records/train/{} " + HOLDS + "records/train/"),
        (byte("samples.png"), "{} is not as it was written: other bytes"),
        (byte("faults.csv"), "{} is not as it was written: other bytes"),
        (byte("labels/classes.txt"), "labels/{} is not as it was written: other bytes"),
        (byte("setup.toml"), "{} is not as it was written: other bytes"),
        (in_text("set.json", "Small", "Large"), "{} is not as it was written: other bytes"),
        (gone("masks/val/*.png"), "masks/val/{} is not there"),
        (gone("data.yaml"), "{} is not there"),
        (gone("annotations/val.json"), "annotations/{} is not there"),
        (gone("files.sha256"), "{} is not there: the set was not finished, or the file was remove"),
        (byte("files.sha256"), "files.sha256: 1 of its lines are no hash and name"),
        (added("images/train/999999.png"), "images/train/999999.png does not belong to the set"),
        (added("notes/mine.txt"), "notes/mine.txt does not belong to the set"),
    ],
)
def test_each_file_is_named(
    change: Callable[[Path], None], told: str, made: Path, tmp_path: Path
) -> None:
    """Cut, emptied, swapped, changed by a byte, missing or added: the sentence has its name."""
    folder = tmp_path / "set"
    copytree(made, folder)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    change(folder)
    touched = {path.name for path, data in before.items() if read(path) != data} | {""}
    faults = verify(folder, 0).faults
    assert any(fault.startswith(told.format(name)) for fault in faults for name in touched), faults


def read(path: Path) -> bytes | None:
    """Read a file that may be gone."""
    return path.read_bytes() if path.is_file() else None


def test_the_list_is_that_of_the_system(made: Path) -> None:
    """Every file but the list itself, by the hash that coreutils check."""
    done = subprocess.run(
        [str(which("sha256sum")), "--check", "--strict", "--quiet", "files.sha256"],
        cwd=made,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (0, "")
    listed = (made / "files.sha256").read_text("utf-8").splitlines()
    files = [path for path in made.rglob("*") if path.is_file()]
    assert len(listed) == len(files) - 1
