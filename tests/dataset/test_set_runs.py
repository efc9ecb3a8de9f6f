"""However a set is made, its bytes are the same: workers, a cluster, kills and resumes."""

import signal
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from shutil import copy, copytree

import pytest

from linesim.dataset.layout import SET, leftovers
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.workers import cluster, images, processes
from linesim.dataset.write import write_images
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone

KILLED = """\
import os, signal, sys
from pathlib import Path
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import load_plan
from linesim.workers.tasks import Alone
from linesim.files import atomic

if __name__ == "__main__":
    plan, folder, last = sys.argv[1:]
    left, flush = [int(last)], atomic._flush_to_disk

    def flush_or_die(file):
        left[0] -= 1
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        flush(file)

    atomic._flush_to_disk = flush_or_die
    make_set(load_plan(plan), Path(folder), Alone(), resume=True)
"""
"""Makes a set and is killed when a number of files is written, the last one but for its name."""

WATCHED = """\
import sys, time
from pathlib import Path
from linesim.dataset.make import make_set
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.workers import processes

def tell(done, total):
    print("made", flush=True)
    time.sleep(1000)

if __name__ == "__main__":
    with processes(2) as runner:
        make_set(load_plan(sys.argv[1], count=4), Path(sys.argv[2]), runner, progress=tell)
"""
"""Stops for ever when its first images are made."""


def digests(folder: Path) -> dict[str, str]:
    """Hash every file of a set, hidden ones too."""
    return {
        path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def run(plan_file: Path, folder: Path, *options: str) -> None:
    """Make a set with the installed command, in a process of its own."""
    command = [str(Path(sys.executable).with_name("linesim")), "dataset", str(plan_file)]
    command += ["--out", str(folder), *options]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_two_workers_write_the_same_bytes(plan_file: Path, made: Path, tmp_path: Path) -> None:
    """One process, or two of one thread each: every file is the same."""
    run(plan_file, tmp_path / "set", "--workers", "2")
    assert digests(tmp_path / "set") == digests(made)


@pytest.mark.nightly
def test_a_cluster_writes_the_same_bytes(plan_file: Path, made: Path, tmp_path: Path) -> None:
    """A Dask scheduler on loopback with two workers: every file is the same."""
    run(plan_file, tmp_path / "set", "--cluster", "local:2")
    assert digests(tmp_path / "set") == digests(made)


@pytest.mark.nightly
def test_killed_three_times_it_is_the_same(plan_file: Path, made: Path, tmp_path: Path) -> None:
    """
    SIGKILL in the midst of writing, thrice, then resumed: every file is the same, none left over.

    Finished images are not written again: their files keep their time.
    """
    folder = tmp_path / "set"
    for last in (3 + 6, 3 + 14, 3 + 11):
        command = [sys.executable, "-c", KILLED, str(plan_file), str(folder), str(last)]
        done = subprocess.run(command, capture_output=True, check=False)
        assert done.returncode == -signal.SIGKILL
        assert list(leftovers(folder))
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("records/**/*.json")}
    assert 3 <= len(before) < 12
    run(plan_file, folder, "--workers", "1", "--resume")
    assert digests(folder) == digests(made)
    assert {path: path.stat().st_mtime_ns for path in before} == before


def test_resume_begins_where_there_is_nothing(plan: Plan, made: Path, tmp_path: Path) -> None:
    """In no folder, in an empty one; and a finished set stays as it is."""
    (tmp_path / "set").mkdir()
    for kept in (0, 12):
        assert make_set(plan, tmp_path / "set", Alone(), resume=True).kept == kept
        assert digests(tmp_path / "set") == digests(made)


def test_a_longer_set_begins_with_the_shorter(plan_file: Path, made: Path, tmp_path: Path) -> None:
    """Resumed with a larger count, images that are there stay; a smaller count is refused."""
    folder = tmp_path / "set"
    short, long = load_plan(plan_file, count=5), load_plan(plan_file)
    make_set(short, folder, Alone())
    assert make_set(long, folder, Alone(), resume=True).kept == 5
    assert digests(folder) == digests(made)
    with pytest.raises(InputError, match="holds a set of 12 images, and 5 are asked for"):
        make_set(short, folder, Alone(), resume=True)


def test_another_plan_is_refused(plan_file: Path, made: Path) -> None:
    """By seed here; nothing is written."""
    before = digests(made)
    with pytest.raises(InputError, match="another plan or seed"):
        make_set(load_plan(plan_file, seed=6), made, Alone(), resume=True)
    with pytest.raises(InputError, match="expected --resume to go on"):
        make_set(load_plan(plan_file), made, Alone())
    assert digests(made) == before


def test_other_versions_are_told(plan: Plan, made: Path, tmp_path: Path) -> None:
    """A set begun with another numpy is refused, and the sentence names both."""
    copytree(made, tmp_path / "set")
    file = tmp_path / "set" / SET
    text = file.read_text("utf-8")
    number = text.partition('"numpy": "')[2].partition('"')[0]
    changed = text.replace(f'"numpy": "{number}"', '"numpy": "1.0"')
    file.write_text(changed.replace('"fingerprint": "', '"fingerprint": "0'), "utf-8")
    with pytest.raises(InputError, match=rf"numpy 1\.0 then and {number} now"):
        make_set(plan, tmp_path / "set", Alone(), resume=True)


def test_a_folder_with_other_files_is_left_alone(plan: Plan, tmp_path: Path) -> None:
    """Somebody's photographs are no place for a set, resumed or not."""
    (tmp_path / "holiday.jpg").write_bytes(b"x")
    for resume in (False, True):
        with pytest.raises(InputError, match=r"holds holiday\.jpg and no set"):
            make_set(plan, tmp_path, Alone(), resume=resume)
    assert [path.name for path in tmp_path.iterdir()] == ["holiday.jpg"]


@pytest.mark.parametrize("address", ["local", "local:0", "local:two"])
def test_a_cluster_that_is_none_is_refused(address: str) -> None:
    """With what an address looks like."""
    with pytest.raises(InputError, match="expected"), cluster(address):
        pass


def test_a_worker_with_other_versions_makes_nothing(made: Path, tmp_path: Path) -> None:
    """It would make other bytes: its own fingerprint of the plan differs from the set's."""
    copytree(made, tmp_path / "set")
    file = tmp_path / "set" / SET
    text = file.read_text("utf-8")
    file.write_text(text.replace('"fingerprint": "', '"fingerprint": "0'), "utf-8")
    with pytest.raises(InputError, match="a worker reads"):
        write_images(str(tmp_path / "set"), (0,))


@pytest.mark.nightly
def test_a_refusal_of_a_worker_comes_home_in_sentences(made: Path, tmp_path: Path) -> None:
    """Two faults in a worker are two sentences here, though the way is a pickled text."""
    copytree(made, tmp_path / "set")
    path = tmp_path / "set" / "plan.toml"
    path.write_text(path.read_text("utf-8") + "\n[bla]\n[blub]\n", "utf-8")
    with processes(2) as runner, pytest.raises(InputError) as told:
        list(images(runner, str(tmp_path / "set"), [0], 1))
    assert [each.partition(":")[0] for each in told.value.faults] == ["bla", "blub"]


@pytest.mark.nightly
def test_workers_end_with_the_process_that_started_them(plan_file: Path, tmp_path: Path) -> None:
    """
    After SIGKILL of the parent no worker is left.

    They share the parent's stdout; its end is read only when the last of them is gone.
    """
    command = [sys.executable, "-c", WATCHED, str(plan_file), str(tmp_path / "set")]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as parent:
        assert parent.stdout is not None
        assert parent.stdout.readline() == b"made\n"
        parent.kill()
        assert parent.stdout.read() == b""


@pytest.mark.parametrize("there", [False, True], ids=["no folder", "an empty folder"])
def test_a_plan_that_turns_out_impossible_leaves_nothing(
    plan_file: Path, tmp_path: Path, *, there: bool
) -> None:
    """One image of many is no valid station: the corrected plan then begins in the same folder."""
    text = plan_file.read_text("utf-8").replace("seed = 5", "seed = 42")
    copy(plan_file.parent / "station.toml", tmp_path)
    bad = tmp_path / "bad.toml"
    # image 2 is drawn over the limit of 2047.5 DN
    bad.write_text(text.replace("[vary]", '[vary]\ncamera.black_level = "0 DN:2060 DN"'), "utf-8")
    if there:
        (tmp_path / "set").mkdir()
    plan = load_plan(bad)
    with pytest.raises(InputError, match=r"image 2, drawn with camera.black_level = 20"):
        make_set(plan, tmp_path / "set", Alone())
    assert (tmp_path / "set").exists() == there
    made = make_set(load_plan(plan_file, count=1), tmp_path / "set", Alone())
    assert made.kept == 0
